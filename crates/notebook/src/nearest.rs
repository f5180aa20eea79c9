//! Which known name a person most likely meant.

/// Longest name that is compared letter by letter, characters.
const LONGEST: usize = 48;

/// Endings that name a unit, lower case.
const UNITS: [&str; 24] = [
    "v", "kv", "mv", "a", "ma", "ua", "m", "cm", "mm", "um", "in", "t", "mt", "ut", "g", "kg", "mg", "n",
    "mn", "deg", "rad", "px", "volt", "amp",
];

/// The known name that `found` looks like, if any: other case or blanks, another unit, or a slip of one or two letters.
pub(crate) fn nearest<'k>(found: &str, known: &[&'k str]) -> Option<&'k str> {
    let found = found.trim();
    if found.chars().count() > LONGEST {
        return None;
    }
    let same = |name: &&&str| squeezed(name) == squeezed(found);
    let same_stem = |name: &&&str| stem(name) == stem(found) && !stem(found).is_empty();
    known.iter().find(same).or_else(|| known.iter().find(same_stem)).copied().or_else(|| {
        let slips = |name: &&'k str| (distance(&found.to_lowercase(), &name.to_lowercase()), *name);
        let (count, name) = known.iter().map(slips).min_by_key(|(count, _)| *count)?;
        (count <= allowed_slips(name)).then_some(name)
    })
}

/// Two slips in a long name, one in a short one, none in a name of one or two letters.
fn allowed_slips(name: &str) -> usize {
    match name.chars().count() {
        0..=2 => 0,
        3..=5 => 1,
        _ => 2,
    }
}

fn squeezed(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// The name without its unit: `voltage_kV`, `Voltage (V)` and `voltage` have the same stem.
fn stem(name: &str) -> String {
    let lower = name.to_lowercase().replace(['(', '[', ')', ']', '/', '-', ' '], "_");
    let trimmed = lower.trim_matches('_');
    let head = match trimmed.rsplit_once('_') {
        Some((head, unit)) if UNITS.contains(&unit) => head,
        _ => trimmed,
    };
    squeezed(head)
}

/// Fewest insertions, deletions, changes and swaps of neighbours that turn one text into the other.
fn distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().collect();
    let b: Vec<char> = b.chars().collect();
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let of = |row: &[usize], at: usize| row.get(at).copied().unwrap_or(usize::MAX / 2);
            let changed = of(&last, j) + usize::from(x != y);
            let mut best = changed.min(of(&last, j + 1) + 1).min(of(&row, j) + 1);
            let swapped = i > 0 && j > 0 && a.get(i - 1) == Some(y) && b.get(j - 1) == Some(x);
            if swapped {
                best = best.min(of(&before_last, j - 1) + 1);
            }
            row.push(best);
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: [&str; 6] = ["run", "voltage_V", "current_A", "diameter_mm", "view", "x_mm"];

    #[test]
    fn slips_of_case_letters_and_units_find_their_name() {
        for (found, meant) in [
            ("voltage_v", "voltage_V"),
            ("curent_A", "current_A"),
            ("curretn_A", "current_A"),
            ("Voltage (V)", "voltage_V"),
            ("voltage", "voltage_V"),
            ("current_mA", "current_A"),
            ("diameter_cm", "diameter_mm"),
            ("diameter", "diameter_mm"),
            ("Run", "run"),
            ("veiw", "view"),
            ("runs", "run"),
        ] {
            assert_eq!(nearest(found, &KNOWN), Some(meant), "{found}");
        }
    }

    #[test]
    fn names_of_their_own_are_left_alone() {
        for found in ["heater_voltage_V", "room_temperature", "reader", "date", "", "coil_diameter_mm"] {
            assert_eq!(nearest(found, &KNOWN), None, "{found}");
        }
        assert_eq!(nearest(&"voltage_V".repeat(1000), &KNOWN), None);
    }

    #[test]
    fn the_distance_counts_slips() {
        for (a, b, slips) in [("", "abc", 3), ("abc", "abc", 0), ("abc", "acb", 1), ("kitten", "sitting", 3)]
        {
            assert_eq!(distance(a, b), slips, "{a} {b}");
            assert_eq!(distance(b, a), slips, "{b} {a}");
        }
    }
}
