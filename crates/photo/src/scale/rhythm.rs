//! Which marks are long: the rhythm that tells millimetres from half millimetres and from binary inches.

/// How the lengths of the marks repeat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rhythm {
    /// Every tenth mark longest, every fifth between: millimetres (or centimetres, or tenths of an inch).
    Tens,
    /// Every twentieth longest, every tenth, every second: half millimetres.
    Twenties,
    /// Halves, quarters, eighths …: every `2^levels`-th mark is longest.
    Halvings {
        /// Powers of two between the longest and the shortest mark.
        levels: u32,
    },
    /// No pattern stands out.
    None,
}

impl Rhythm {
    /// Marks from one longest mark to the next.
    pub fn period(self) -> i32 {
        match self {
            Self::Tens => 10,
            Self::Twenties => 20,
            Self::Halvings { levels } => 1 << levels.min(8),
            Self::None => 1,
        }
    }

    /// Rank of a mark's length, 0 for the shortest, when mark 0 is a longest one.
    pub fn rank(self, number: i32) -> usize {
        match self {
            Self::Tens if number.rem_euclid(10) == 0 => 2,
            Self::Tens => usize::from(number.rem_euclid(5) == 0),
            Self::Twenties => {
                [20, 10, 2].iter().position(|m| number.rem_euclid(*m) == 0).map_or(0, |p| 3 - p)
            }
            Self::Halvings { levels } => number.trailing_zeros().min(levels) as usize,
            Self::None => 0,
        }
    }

    fn ranks(self) -> usize {
        match self {
            Self::Tens => 3,
            Self::Twenties => 4,
            Self::Halvings { levels } => levels as usize + 1,
            Self::None => 1,
        }
    }
}

/// A rhythm found: which one, where it starts, how well it describes the lengths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    pub(crate) rhythm: Rhythm,
    /// Number of a mark that is a longest one.
    pub(crate) phase: i32,
    /// Gain in `n ln(variance)` over the best different rhythm (or over none).
    pub(crate) margin: f64,
}

/// Penalty for one more class of lengths and for choosing among phases, in units of `n ln(variance)`.
const CLASS_PENALTY: f64 = 6.0;
/// Gain over no rhythm, and over the next best one, below which nothing is claimed.
const CLEAR: f64 = 12.0;
/// Mean lengths of neighbouring ranks must differ by this part of the shortest length.
const STEP: f64 = 0.06;

/// The rhythm of (number, length) pairs.
pub(crate) fn find_rhythm(marks: &[(i32, f64)]) -> Found {
    let flat = Found { rhythm: Rhythm::None, phase: 0, margin: 0.0 };
    if marks.len() < 8 {
        return flat;
    }
    let none = cost(marks, Rhythm::None, 0).unwrap_or(0.0);
    let mut patterns = vec![Rhythm::Tens, Rhythm::Twenties];
    patterns.extend((1..=6).map(|levels| Rhythm::Halvings { levels }));
    let mut best: Vec<(f64, Rhythm, i32)> = Vec::new();
    for rhythm in patterns {
        let by_phase = (0..rhythm.period()).filter_map(|p| Some((cost(marks, rhythm, p)?, rhythm, p)));
        best.extend(by_phase.min_by(|a, b| a.0.total_cmp(&b.0)));
    }
    best.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some((first, rhythm, phase)) = best.first().copied() else { return flat };
    let rival = best.iter().skip(1).find(|b| !nested(b.1, rhythm)).map_or(none, |b| b.0.min(none));
    let margin = rival - first;
    if margin < CLEAR { flat } else { Found { rhythm, phase, margin } }
}

/// Coarser and finer halvings describe the same ruler.
fn nested(a: Rhythm, b: Rhythm) -> bool {
    matches!((a, b), (Rhythm::Halvings { .. }, Rhythm::Halvings { .. }))
}

/// `n ln(variance within classes)` with penalty; none unless the ranks rise in length.
fn cost(marks: &[(i32, f64)], rhythm: Rhythm, phase: i32) -> Option<f64> {
    let ranks = rhythm.ranks();
    let mut classes: Vec<Vec<f64>> = vec![Vec::new(); ranks];
    for (n, length) in marks {
        classes.get_mut(rhythm.rank(n - phase))?.push(*length);
    }
    let medians: Vec<f64> = classes.iter_mut().map(|c| median(c)).collect::<Option<_>>()?;
    let shortest = &medians.first()?.abs().max(1e-9);
    // two neighbouring ranks may be drawn alike once, the whole range must not
    let rising = medians.windows(2).filter(|w| w[1] > w[0] * (1.0 + STEP)).count();
    let falling = medians.windows(2).any(|w| w[1] < w[0] * (1.0 - STEP));
    // a longest rank that is no longer than the one below belongs to a coarser pattern with more classes than it needs
    let top = medians.windows(2).next_back().is_none_or(|w| w[1] > w[0] * (1.0 + STEP));
    if matches!(rhythm, Rhythm::Halvings { .. }) && !top {
        return None;
    }
    // on some rulers the fifth mark is as short as the others: every tenth alone must then stand out
    let tens_alone = rhythm == Rhythm::Tens && top && !falling;
    if ranks > 1 && !tens_alone && (falling || rising + 1 < ranks.max(3) - usize::from(ranks > 3)) {
        return None;
    }
    if rhythm == Rhythm::Twenties && !every_rank_rises(&medians) {
        return None;
    }
    // the finest marks of half millimetres and of sixteenths of an inch are longer than they stand apart (2 to 4 mm: common
    // practice, no source); shorter ones are long marks whose fine ones were not seen
    let is_fine = match rhythm {
        Rhythm::Twenties => *shortest > 1.5,
        Rhythm::Halvings { levels } => levels < 3 || *shortest > 0.6,
        Rhythm::Tens | Rhythm::None => true,
    };
    if !is_fine {
        return None;
    }
    // a hidden mark has any length: no distance counts for more than a third of the shortest length
    let cap = (0.35 * *shortest).powi(2);
    let sum: f64 =
        classes.iter().zip(&medians).flat_map(|(c, m)| c.iter().map(move |l| (l - m).powi(2).min(cap))).sum();
    let floor = (0.01 * *shortest).powi(2);
    let n = marks.len() as f64;
    Some(n * (sum / n + floor).ln() + CLASS_PENALTY * ranks as f64)
}

/// Half millimetres show at least two of their three longer ranks apart, the millimetres' own among them: every second
/// mark longer is what tells them from millimetres.
fn every_rank_rises(medians: &[f64]) -> bool {
    let rises = |w: &[f64]| w[1] > w[0] * (1.0 + STEP);
    medians.get(..2).is_some_and(rises)
}

fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let half = values.len() / 2;
    Some(*values.select_nth_unstable_by(half, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lengths(rhythm: Rhythm, table: &[f64], from: i32, to: i32) -> Vec<(i32, f64)> {
        let jitter = |n: i32| 0.03 * f64::from((n * 7919).rem_euclid(13) - 6) / 6.0;
        (from..to).map(|n| (n, table[rhythm.rank(n)] * (1.0 + jitter(n)))).collect()
    }

    #[test]
    fn each_rhythm_is_told_from_the_others() {
        let tens = lengths(Rhythm::Tens, &[4.0, 5.5, 8.0], 3, 90);
        assert_eq!(find_rhythm(&tens).rhythm, Rhythm::Tens);
        assert_eq!(find_rhythm(&tens).phase, 0);
        let twenties = lengths(Rhythm::Twenties, &[3.0, 4.0, 5.5, 8.0], 3, 150);
        assert_eq!(find_rhythm(&twenties).rhythm, Rhythm::Twenties);
        let sixteenths = lengths(Rhythm::Halvings { levels: 4 }, &[3.0, 4.0, 5.0, 6.5, 9.0], 5, 100);
        assert_eq!(find_rhythm(&sixteenths).rhythm, Rhythm::Halvings { levels: 4 });
    }

    #[test]
    fn tens_without_fives_are_tens_and_never_half_millimetres() {
        let tens = lengths(Rhythm::Tens, &[4.0, 4.0, 7.0], 3, 120);
        assert_eq!((find_rhythm(&tens).rhythm, find_rhythm(&tens).phase), (Rhythm::Tens, 0));
        // every fifth longer alone is no ten: nothing is claimed of it
        let fives = lengths(Rhythm::Tens, &[4.0, 7.0, 7.0], 3, 120);
        assert_eq!(find_rhythm(&fives).rhythm, Rhythm::None);
    }

    #[test]
    fn equal_lengths_have_no_rhythm() {
        let flat = lengths(Rhythm::None, &[4.0], 0, 60);
        assert_eq!(find_rhythm(&flat).rhythm, Rhythm::None);
    }
}
