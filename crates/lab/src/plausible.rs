//! Values that may stand, but that a person should look at twice: beyond a rating, or of a size that no bench of this kind has.

use arcmass_notebook::{Bench, CoilShape};

/// Sizes of coils, m: from a coil in the hand to one a person stands in (common practice, no source).
const COIL_M: [f64; 2] = [0.02, 1.0];
/// Turns on one coil of a teaching bench (common practice, no source).
const TURNS: [u32; 2] = [5, 5000];
/// Separation over radius: beyond these the field over a ring is far from uniform.
const SEPARATION_BY_RADIUS: [f64; 2] = [0.5, 2.0];
/// Radius of a tube's bulb, m (common practice, no source).
const BULB_M: [f64; 2] = [0.02, 0.3];
/// Ratings of tube, V, and coils, A, in teaching (common practice, no source).
const TUBE_V: [f64; 2] = [50.0, 5000.0];
const COILS_A: [f64; 2] = [0.1, 20.0];
/// From the lens to the bulb, m: nearer it sees no whole ring, further it has no pixels for it.
const CAMERA_M: [f64; 2] = [0.1, 10.0];
/// A size known no better than this share of itself was meant otherwise.
const WIDEST: f64 = 0.1;

/// What is odd about one key of the bench file, as a clause that ends before "keep it?"; none where nothing is.
///
/// - **Takes** the bench as it would stand, and the key that was typed.
pub fn odd_key(bench: &Bench, table: &str, key: &str) -> Option<String> {
    let pair = bench.pair.as_ref();
    let sizes = pair.and_then(|pair| pair.geometry.as_ref());
    let gun = bench.gun.as_ref();
    let bulb = bench.bulb.as_ref().and_then(|bulb| bulb.outer_radius.as_ref());
    match (table, key) {
        ("coils", "mean_radius" | "mean_half_side") => {
            let radius = &sizes?.mean_radius;
            size("a coil", radius.value, COIL_M).or_else(|| wide(radius)).or_else(|| apart(bench))
        }
        ("coils", "separation") => {
            let separation = &sizes?.separation;
            size("the coils", separation.value, COIL_M).or_else(|| wide(separation)).or_else(|| apart(bench))
        }
        ("coils", "turns") => {
            let turns = sizes?.turns?;
            let [few, many] = TURNS;
            (turns < few || turns > many)
                .then(|| format!("coils of such benches have {few} to {many} turns each"))
        }
        ("coils", "current_limit") => {
            range(pair?.current_limit_a?, COILS_A, "coils of such benches bear", "A")
        }
        ("gun", "voltage_limit") => range(gun?.voltage_limit_v?, TUBE_V, "tubes of such benches bear", "V"),
        ("bulb", "outer_radius") => {
            let radius = bulb?;
            size("a bulb", radius.value, BULB_M).or_else(|| wide(radius))
        }
        ("camera", "distance") => {
            let distance = bench.camera.as_ref()?.distance.as_ref()?;
            range(distance.value, CAMERA_M, "the lens is usually at", "m").or_else(|| wide(distance))
        }
        _ => None,
    }
}

/// Separation against radius, once both are there.
fn apart(bench: &Bench) -> Option<String> {
    let sizes = bench.pair.as_ref()?.geometry.as_ref()?;
    let ratio = sizes.separation.value / sizes.mean_radius.value;
    let [near, far] = SEPARATION_BY_RADIUS;
    let what = if sizes.shape == CoilShape::Square { "half side" } else { "mean radius" };
    (ratio < near || ratio > far)
        .then(|| format!("the separation is {ratio:.2} times the {what}; most pairs have about 1"))
}

fn wide(stated: &arcmass_quantity::Stated) -> Option<String> {
    let share = stated.standard_uncertainty()? / stated.value.abs();
    (share > WIDEST).then(|| format!("its uncertainty is {:.0} % of it", 100.0 * share))
}

fn size(what: &str, metres: f64, [least, most]: [f64; 2]) -> Option<String> {
    let shown = |m: f64| format!("{:.0} mm", 1e3 * m);
    (metres < least || metres > most).then(|| {
        format!("{} is an odd size for {what}: {} to {} is usual", shown(metres), shown(least), shown(most))
    })
}

fn range(value: f64, [least, most]: [f64; 2], usual: &str, unit: &str) -> Option<String> {
    (value < least || value > most).then(|| format!("{usual} {least} to {most} {unit}"))
}

/// What is odd about the numbers of one reading; none where nothing is.
///
/// - **Takes** voltage, current and diameter as read, V, A, mm, where they were typed.
pub fn odd_reading(
    bench: &Bench,
    voltage_v: Option<f64>,
    current_a: Option<f64>,
    diameter_mm: Option<f64>,
) -> Option<String> {
    let tube = bench.gun.as_ref().and_then(|gun| gun.voltage_limit_v);
    let coils = bench.pair.as_ref().and_then(|pair| pair.current_limit_a);
    let glass =
        bench.bulb.as_ref().and_then(|bulb| bulb.outer_radius.as_ref()).map(|radius| 2e3 * radius.value);
    let beyond = |value: Option<f64>, rating: Option<f64>, usual: f64, unit: &str, whose: &str| {
        let value = value?;
        match rating {
            Some(rating) if value > rating => {
                Some(format!("{value} {unit} is beyond the rating of {rating} {unit} of the {whose}"))
            }
            None if value > usual => {
                Some(format!("{value} {unit} is beyond what the {whose} of such a bench can bear"))
            }
            _ => None,
        }
    };
    beyond(voltage_v, tube, TUBE_V[1], "V", "tube")
        .or_else(|| beyond(current_a, coils, COILS_A[1], "A", "coils"))
        .or_else(|| {
            let (diameter, glass) = (diameter_mm?, glass?);
            (diameter > glass)
                .then(|| format!("a ring of {diameter} mm does not fit into the bulb of {glass:.0} mm"))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use arcmass_notebook::edit::bench_of;

    fn bench(more: &str) -> Bench {
        bench_of(&format!("[bench]\nformat = 1\n{more}")).unwrap()
    }

    #[test]
    fn sizes_and_ratings_of_another_order_are_asked_about() {
        let coils = |radius: &str, separation: &str| {
            bench(&format!(
                "[coils]\nmean_radius = \"{radius}\"\nseparation = \"{separation}\"\nturns = 130\n"
            ))
        };
        assert_eq!(odd_key(&coils("150 mm", "150 mm"), "coils", "mean_radius"), None);
        for (radius, separation, words) in [
            ("15 m", "15 m", "odd size"),
            ("155 mm ± 20 cm", "155 mm", "129 % of it"),
            ("150 mm", "15 cm ± 1 mm", ""),
            ("150 mm", "400 mm", "2.67 times the mean radius"),
        ] {
            let said = odd_key(&coils(radius, separation), "coils", "mean_radius").unwrap_or_default();
            assert!(
                said.contains(words) && said.is_empty() == words.is_empty(),
                "{radius}, {separation}: {said}"
            );
        }
        let tube = bench("[gun]\nvoltage_limit = \"1e9 V\"\n");
        assert!(odd_key(&tube, "gun", "voltage_limit").unwrap().contains("5000 V"));
    }

    #[test]
    fn a_reading_beyond_a_rating_is_asked_about() {
        let rated = bench(
            "[gun]\nvoltage_limit = \"320 V\"\n[coils]\ncurrent_limit = \"2 A\"\n[bulb]\nouter_radius = \"80 mm\"\n",
        );
        assert_eq!(odd_reading(&rated, Some(320.0), Some(2.0), Some(160.0)), None);
        let said = odd_reading(&rated, Some(450.0), Some(1.0), None).unwrap();
        assert_eq!(said, "450 V is beyond the rating of 320 V of the tube");
        assert!(odd_reading(&rated, None, Some(20.0), None).unwrap().contains("rating of 2 A of the coils"));
        assert!(odd_reading(&rated, None, None, Some(170.0)).unwrap().contains("does not fit"));
        let bare = bench("");
        assert!(
            odd_reading(&bare, Some(1e9), None, None).is_some()
                && odd_reading(&bare, Some(300.0), None, None).is_none()
        );
        assert_eq!(
            odd_reading(&bare, None, Some(25.0), None).unwrap(),
            "25 A is beyond what the coils of such a bench can bear"
        );
    }
}
