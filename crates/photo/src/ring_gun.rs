//! Where the gun cuts the ring, and from which side of it the beam starts.

use crate::picture::Picture;
use crate::ring_curve::median;

/// Evidence from which a side is named.
const ENOUGH: f64 = 1.0;
/// Logarithm of the ratio of light, and of widths, that counts as one unit of evidence: collisions take light and spread
/// the beam, and a tenth is clearly more than the scatter of a dozen cross-sections.
const LIGHT_STEP: f64 = 0.1;
const WIDTH_STEP: f64 = 0.15;
/// Widest gap, as a part of the turn, over which widths are compared: the beam is widest half a turn from the muzzle and
/// narrow again after a whole one.
const WIDTHS_COMPARE: f64 = 0.17;
/// Weight of the lamp: both tangents from one point touch a circle at equal lengths, so it may lie behind either side.
const LAMP: f64 = 0.8;

/// One station as the search for the gun needs it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lit {
    pub(crate) x: f64,
    pub(crate) y: f64,
    /// Height and width of the beam where it was believed.
    pub(crate) beam: Option<[f64; 2]>,
    /// Whether no line of the beam's height stands here, as in front of the gun; a patch of stray light is not dark.
    pub(crate) dark: bool,
}

/// The gap in which the gun stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GunGap {
    /// First believed station after the gap.
    pub(crate) after: usize,
    /// Last believed station before the gap.
    pub(crate) before: usize,
    /// Whether electrons run with growing station numbers: the muzzle is then at `after`, else at `before`.
    pub(crate) forward: bool,
}

/// Finds the gap whose two sides differ as the start and the end of a beam do: bright and narrow at the muzzle, dimmer
/// and wider after a turn, the gun's lamp straight behind the muzzle.
pub(crate) fn gun_gap(picture: &Picture, stations: &[Lit], least_gap: usize) -> Option<GunGap> {
    let judged = gaps(stations, least_gap).into_iter().map(|(before, after)| {
        let evidence = evidence(picture, stations, before, after);
        (evidence, GunGap { after, before, forward: evidence > 0.0 })
    });
    let best = judged.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    (best.0.abs() >= ENOUGH).then_some(best.1)
}

/// Runs of more than `least` stations without the beam, most of them dark: last station before, first station after, round the turn.
fn gaps(stations: &[Lit], least: usize) -> Vec<(usize, usize)> {
    let n = stations.len();
    let seen: Vec<usize> = (0..n).filter(|&i| stations.get(i).is_some_and(|s| s.beam.is_some())).collect();
    let next = seen.iter().cycle().skip(1);
    let apart = |a: usize, b: usize| (b + n - a) % n;
    let dark = |a: usize, b: usize| {
        (1..apart(a, b)).filter(|k| stations.get((a + k) % n).is_some_and(|s| s.dark)).count()
    };
    let pairs = seen.iter().zip(next).map(|(&a, &b)| (a, b));
    pairs.filter(|&(a, b)| apart(a, b) > least && 2 * dark(a, b) > apart(a, b)).collect()
}

/// Positive when the beam starts at `after`, negative when it starts at `before`.
fn evidence(picture: &Picture, stations: &[Lit], before: usize, after: usize) -> f64 {
    let (Some(a), Some(b)) = (side(stations, after, true), side(stations, before, false)) else { return 0.0 };
    let light = ((a[0] * a[1] / (b[0] * b[1])).ln() / LIGHT_STEP).clamp(-2.0, 2.0);
    let n = stations.len();
    let narrow = ((after + n - before) % n) as f64 <= WIDTHS_COMPARE * n as f64;
    let width = if narrow { ((b[1] / a[1]).ln() / WIDTH_STEP).clamp(-1.0, 1.0) } else { 0.0 };
    let lamp = |end: usize, forward: bool| f64::from(u8::from(lamp_behind(picture, stations, end, forward)));
    light + width + LAMP * (lamp(after, true) - lamp(before, false))
}

/// Median height and width over some fifteen degrees from an end inwards.
fn side(stations: &[Lit], end: usize, forward: bool) -> Option<[f64; 2]> {
    let n = stations.len();
    let reach = (n / 24).max(5);
    let near = (0..reach).filter_map(|k| stations.get(if forward { end + k } else { end + n - k } % n)?.beam);
    let beams: Vec<[f64; 2]> = near.collect();
    let middle = [0, 1].map(|i| median(beams.iter().map(|b| b[i]).collect()));
    (beams.len() >= 3 && middle.iter().all(|&m| m > 0.0)).then_some(middle)
}

/// Whether a light at least as bright as the beam stands straight behind an end, off the beam itself.
fn lamp_behind(picture: &Picture, stations: &[Lit], end: usize, forward: bool) -> bool {
    let n = stations.len();
    let inward = if forward { end + 6 } else { end + n - 6 } % n;
    let (Some(e), Some(i)) = (stations.get(end), stations.get(inward)) else { return false };
    let length = (e.x - i.x).hypot(e.y - i.y).max(1e-9);
    let (ux, uy) = ((e.x - i.x) / length, (e.y - i.y) / length);
    let Some([_, width]) = e.beam else { return false };
    let light = |x: f64, y: f64| (0..picture.channels()).map(|c| picture.sample(x, y, c)).sum::<f32>();
    let beam = light(e.x, e.y);
    let radius = 0.5 * stations.iter().map(|s| (s.x - e.x).hypot(s.y - e.y)).fold(0.0, f64::max);
    let off_beam = |x: f64, y: f64| {
        stations.iter().filter(|s| s.beam.is_some()).all(|s| (s.x - x).hypot(s.y - y) > 1.5 * width)
    };
    // the beam bends away from its tangent; the muzzle's own bend over the blind piece is at most a width
    (2..200)
        .map(|k| 0.5 * width * f64::from(k))
        .take_while(|&d| d < 0.9 * radius)
        .map(|d| (e.x + d * ux, e.y + d * uy))
        .any(|(x, y)| {
            (-2..=2).map(|k| 0.5 * width * f64::from(k)).any(|o| light(x - o * uy, y + o * ux) > beam)
                && off_beam(x, y)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(height: impl Fn(usize) -> Option<f64>) -> Vec<Lit> {
        let place = |i: usize| (i as f64 * std::f64::consts::TAU / 360.0).sin_cos();
        let one = |i: usize| {
            let (s, c) = place(i);
            Lit {
                x: 100.0 + 60.0 * c,
                y: 100.0 + 60.0 * s,
                beam: height(i).map(|h| [h, 4.0]),
                dark: height(i).is_none(),
            }
        };
        (0..360).map(one).collect()
    }

    #[test]
    fn the_beam_starts_on_the_brighter_side_of_the_gun_not_at_a_covered_piece() {
        let Some(dark) = Picture::from_rgb8(200, 200, vec![0; 200 * 200 * 3]) else {
            unreachable!("200 × 200 × 3")
        };
        let fading = |i: usize| {
            let along = (i + 360 - 50) % 360;
            let hidden = along < 10 || (150..180).contains(&along);
            (!hidden).then(|| (-(along as f64) / 500.0).exp())
        };
        let found = gun_gap(&dark, &ring(fading), 3);
        assert_eq!(found, Some(GunGap { before: 49, after: 60, forward: true }));
    }

    #[test]
    fn equal_sides_name_no_start() {
        let Some(dark) = Picture::from_rgb8(200, 200, vec![0; 200 * 200 * 3]) else {
            unreachable!("200 × 200 × 3")
        };
        let found = gun_gap(&dark, &ring(|i| (i > 20).then_some(1.0)), 3);
        assert_eq!(found, None);
    }
}
