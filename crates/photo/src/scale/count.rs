//! Numbers for the marks of one row: from a run of equal steps outwards, across gaps that can be bridged safely.

use crate::scale::root::polynomial;

/// Steps of the first run agree this well, as a part of the step.
const EVEN: f64 = 0.14;
/// A mark this far from its predicted number is not on the scale (a numeral's stroke, a scratch).
const OFF: f64 = 0.22;
/// A gap is bridged only if the prediction beyond it is this certain, in marks (one standard uncertainty).
const SURE: f64 = 0.1;
/// A run of marks beyond a gap is a piece of the same scale if its steps agree with the scale's by this part.
const LIKE: f64 = 0.25;
/// Marks near an end that predict the next one.
const NEAR: usize = 40;
/// Uncertainty of a predicted number that a bent ruler or an unmodelled lens leaves, per mark of distance beyond the data.
const MODEL: f64 = 0.001;

/// Marks in order along the row with their numbers; those left out have none.
#[derive(Debug, Clone)]
pub(crate) struct Counted {
    pub(crate) numbers: Vec<Option<i32>>,
    /// Places where counting stopped although further marks follow.
    pub(crate) broken: usize,
}

/// Numbers the sorted places `s`.
pub(crate) fn count(s: &[f64]) -> Option<Counted> {
    let (from, to) = first_run(s)?;
    let mut numbers: Vec<Option<i32>> = vec![None; s.len()];
    for (n, slot) in numbers.iter_mut().skip(from).take(to - from + 1).enumerate() {
        *slot = Some(n as i32);
    }
    extend(s, &mut numbers, (to + 1..s.len()).collect());
    extend(s, &mut numbers, (0..from).rev().collect());
    weed(s, &mut numbers);
    drop_lonely_ends(&mut numbers);
    let broken = pieces_beyond(s, &numbers);
    Some(Counted { numbers, broken })
}

/// Marks beyond a gap at an end count only as a run.
const LONELY: usize = 2;
/// Missing marks that make a gap at an end.
const END_GAP: i32 = 3;

/// Takes back the number of one or two marks that stand alone beyond a gap at an end: edges of other things do.
fn drop_lonely_ends(numbers: &mut [Option<i32>]) {
    let places: Vec<usize> = (0..numbers.len()).collect();
    for order in [places.clone(), places.into_iter().rev().collect()] {
        let counted: Vec<(usize, i32)> =
            order.into_iter().filter_map(|k| Some((k, (*numbers.get(k)?)?))).collect();
        let is_gap = |pair: &[(usize, i32)]| (pair[1].1 - pair[0].1).abs() > END_GAP;
        let ends: Vec<bool> = counted.windows(2).take(LONELY).map(is_gap).collect();
        let lonely = ends.iter().rposition(|gap| *gap).map_or(0, |k| k + 1);
        for (k, _) in counted.into_iter().take(lonely) {
            if let Some(number) = numbers.get_mut(k) {
                *number = None;
            }
        }
    }
}

/// Pieces of the scale beyond the numbered marks: runs of even steps like those at that end. What else lies there, strokes of
/// numerals or lines of the background, is no piece.
fn pieces_beyond(s: &[f64], numbers: &[Option<i32>]) -> usize {
    let counted: Vec<usize> = (0..s.len()).filter(|k| numbers.get(*k).copied().flatten().is_some()).collect();
    let (Some(first), Some(last)) = (counted.first(), counted.last()) else { return 0 };
    let step = |ends: &[usize]| {
        let at = |k: Option<&usize>| k.and_then(|k| Some((*s.get(*k)?, f64::from((*numbers.get(*k)?)?))));
        let (Some(a), Some(b)) = (at(ends.first()), at(ends.last())) else { return f64::NAN };
        (b.0 - a.0) / (b.1 - a.1)
    };
    let near = counted.len().min(NEAR);
    let sides = [
        (s.get(..*first), step(counted.get(..near).unwrap_or(&[]))),
        (s.get(last + 1..), step(counted.get(counted.len() - near..).unwrap_or(&[]))),
    ];
    let is_piece = |part: &[f64], step: f64| {
        first_run(part).is_some_and(|(a, b)| {
            let (Some(p), Some(q)) = (part.get(a), part.get(b)) else { return false };
            ((q - p) / (b - a) as f64 / step - 1.0).abs() < LIKE
        })
    };
    sides.iter().filter(|(part, step)| part.is_some_and(|part| is_piece(part, *step))).count()
}

/// The longest run of marks with even steps, as (first, last) index; at least five marks.
fn first_run(s: &[f64]) -> Option<(usize, usize)> {
    let steps: Vec<f64> = s.windows(2).map(|w| w[1] - w[0]).collect();
    let (mut best, mut from) = ((0, 0), 0);
    for (k, pair) in steps.windows(2).enumerate() {
        if (pair[1] - pair[0]).abs() > EVEN * pair[0].min(pair[1]) {
            from = k + 1;
        } else if k + 2 - from > best.1 - best.0 {
            best = (from, k + 2);
        }
    }
    (best.1 - best.0 >= 4).then_some(best)
}

/// Walks outwards from the numbered marks as far as the numbers are sure.
fn extend(s: &[f64], numbers: &mut [Option<i32>], order: Vec<usize>) {
    let mut strays = 0;
    for k in order {
        let Some(place) = s.get(k) else { continue };
        let Some((n, u)) = predict(s, numbers, *place) else { return };
        if u > SURE {
            return;
        }
        let nearest = n.round();
        let taken = numbers.contains(&Some(nearest as i32));
        if (n - nearest).abs() < OFF && !taken {
            if let Some(slot) = numbers.get_mut(k) {
                *slot = Some(nearest as i32);
            }
            strays = 0;
        } else {
            strays += 1;
        }
        if strays > 25 {
            return;
        }
    }
}

/// Expected number at a place and its standard uncertainty, from the nearest numbered marks.
fn predict(s: &[f64], numbers: &[Option<i32>], place: f64) -> Option<(f64, f64)> {
    let known: Vec<(f64, f64)> =
        s.iter().zip(numbers).filter_map(|(s, n)| n.map(|n| (*s, f64::from(n)))).collect();
    let after = known.partition_point(|k| k.0 < place);
    let near = if after == 0 {
        known.get(..known.len().min(NEAR))
    } else {
        known.get(after.saturating_sub(NEAR)..after)
    }?;
    let (first, last) = (near.first()?, near.last()?);
    let local = (last.0 - first.0) / (last.1 - first.1).abs().max(1.0);
    let edge = if after == 0 { first.0 } else { last.0 };
    let away = (place - edge).abs() / local.abs().max(1e-9);
    // a short piece has no measurable change of step; a long gap needs one
    let degree = if near.len() >= 14 { 2 } else { 1 };
    let x = |p: f64| (p - edge) / local / NEAR as f64;
    let (c, covariance) = polynomial(near.iter().map(|k| (x(k.0), k.1, 1.0)), degree)?;
    let row = nalgebra::DVector::from_fn(degree + 1, |k, _| x(place).powi(k as i32));
    let value = |p: f64| c.iter().rev().fold(0.0, |sum, k| sum * x(p) + k);
    let left: f64 = near.iter().map(|k| (k.1 - value(k.0)).powi(2)).sum();
    let variance = left / (near.len() as f64 - c.len() as f64).max(1.0) + 0.01_f64.powi(2);
    let u = (variance * (row.transpose() * covariance * &row).x).sqrt();
    // a straight continuation of a short piece ignores perspective: its step changes by up to 0.1 % a mark
    let bend = if degree == 1 { 0.0005 * away * (away + near.len() as f64) } else { MODEL * away };
    Some((value(place), u.hypot(bend)))
}

/// Takes back numbers that do not lie on the smooth whole.
fn weed(s: &[f64], numbers: &mut [Option<i32>]) {
    for _ in 0..2 {
        let known: Vec<(f64, f64)> =
            s.iter().zip(numbers.iter()).filter_map(|(s, n)| n.map(|n| (*s, f64::from(n)))).collect();
        let (Some(first), Some(last)) = (known.first(), known.last()) else { return };
        let half = ((last.0 - first.0) / 2.0).max(1e-9);
        let x = |p: f64| (p - first.0) / half - 1.0;
        let degree = if known.len() > 30 { 4 } else { 2 };
        let Some((c, _)) = polynomial(known.iter().map(|k| (x(k.0), k.1, 1.0)), degree) else { return };
        let value = |p: f64| c.iter().rev().fold(0.0, |sum, k| sum * x(p) + k);
        for (place, n) in s.iter().zip(numbers.iter_mut()) {
            if n.is_some_and(|n| (f64::from(n) - value(*place)).abs() > OFF) {
                *n = None;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(n: i32) -> f64 {
        // a step that shrinks from 10 to 8 pixels over 200 marks
        let n = f64::from(n);
        10.0 * n - 0.005 * n * n
    }

    #[test]
    fn a_gap_of_thirty_marks_is_bridged() {
        let kept: Vec<i32> = (0..200).filter(|n| !(80..110).contains(n)).collect();
        let s: Vec<f64> = kept.iter().map(|n| seen(*n)).collect();
        let counted = count(&s).expect("even marks");
        let offset = counted.numbers[0].expect("first mark") - kept[0];
        for (n, k) in counted.numbers.iter().zip(&kept) {
            assert_eq!(n.map(|n| n - offset), Some(*k));
        }
    }

    #[test]
    fn strokes_between_marks_get_no_number() {
        let mut s: Vec<f64> = (0..100).map(seen).collect();
        s.push(seen(40) + 4.0);
        s.push(seen(60) + 5.0);
        s.sort_by(f64::total_cmp);
        let counted = count(&s).expect("even marks");
        assert_eq!(counted.numbers.iter().flatten().count(), 100);
    }

    #[test]
    fn an_edge_beyond_the_end_gets_no_number() {
        let s: Vec<f64> = (0..40).chain([45]).map(seen).collect();
        let counted = count(&s).expect("even marks");
        assert_eq!((counted.numbers.iter().flatten().count(), counted.numbers.last()), (40, Some(&None)));
    }

    #[test]
    fn a_short_piece_far_away_is_not_joined() {
        let s: Vec<f64> = (0..6).chain(180..190).map(seen).collect();
        let counted = count(&s).expect("even marks");
        assert_eq!(counted.broken, 1);
    }
}
