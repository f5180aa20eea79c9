//! A small stroke font: digits and the few letters that scales and labels need.

/// Half the width of a stroke, in glyph heights.
const HALF_STROKE: f64 = 0.065;
/// From the left of one glyph to the left of the next, in glyph heights.
pub(crate) const ADVANCE: f64 = 0.76;

/// The strokes of a glyph as polylines, x from 0 to 0.56, y from 0 (foot) to 1 (head of digits), in hundredths.
pub(crate) fn strokes(letter: char) -> &'static [&'static [(i16, i16)]] {
    match letter {
        '0' => &[&[
            (28, 100),
            (10, 92),
            (0, 70),
            (0, 30),
            (10, 8),
            (28, 0),
            (46, 8),
            (56, 30),
            (56, 70),
            (46, 92),
            (28, 100),
        ]],
        '1' => &[&[(10, 80), (30, 100), (30, 0)]],
        '2' => &[&[(2, 78), (10, 93), (28, 100), (46, 93), (54, 76), (50, 58), (0, 0), (56, 0)]],
        '3' => &[&[
            (3, 86),
            (16, 98),
            (32, 100),
            (48, 92),
            (52, 76),
            (46, 60),
            (26, 53),
            (48, 45),
            (56, 28),
            (50, 10),
            (32, 0),
            (14, 2),
            (0, 14),
        ]],
        '4' => &[&[(42, 0), (42, 100), (0, 32), (56, 32)]],
        '5' => &[&[
            (52, 100),
            (10, 100),
            (5, 55),
            (20, 63),
            (36, 62),
            (50, 52),
            (56, 33),
            (50, 12),
            (34, 0),
            (14, 2),
            (0, 14),
        ]],
        '6' => &[&[
            (50, 90),
            (36, 100),
            (18, 95),
            (5, 76),
            (0, 42),
            (4, 16),
            (16, 2),
            (34, 0),
            (50, 10),
            (56, 30),
            (50, 50),
            (36, 60),
            (18, 58),
            (4, 42),
        ]],
        '7' => &[&[(0, 100), (56, 100), (20, 0)]],
        '8' => &[&[
            (28, 53),
            (10, 62),
            (4, 78),
            (12, 94),
            (28, 100),
            (44, 94),
            (52, 78),
            (46, 62),
            (28, 53),
            (8, 44),
            (0, 26),
            (8, 7),
            (28, 0),
            (48, 7),
            (56, 26),
            (48, 44),
            (28, 53),
        ]],
        '9' => &[&[
            (6, 10),
            (20, 0),
            (38, 5),
            (51, 24),
            (56, 58),
            (52, 84),
            (40, 98),
            (22, 100),
            (6, 90),
            (0, 70),
            (6, 50),
            (20, 40),
            (38, 42),
            (52, 58),
        ]],
        'a' => &[
            &[(4, 58), (16, 67), (34, 66), (44, 54), (44, 0)],
            &[(44, 36), (16, 32), (2, 20), (6, 4), (22, 0), (36, 6), (44, 18)],
        ],
        'c' => &[&[(46, 54), (34, 66), (18, 66), (4, 52), (0, 33), (6, 12), (20, 0), (36, 2), (47, 14)]],
        'd' => &[
            &[(46, 100), (46, 0)],
            &[(46, 48), (34, 64), (18, 66), (4, 52), (0, 33), (4, 12), (18, 0), (34, 2), (46, 18)],
        ],
        'e' => &[&[
            (2, 36),
            (48, 36),
            (44, 56),
            (32, 66),
            (16, 65),
            (4, 52),
            (0, 33),
            (6, 11),
            (20, 0),
            (36, 2),
            (46, 13),
        ]],
        'h' => &[&[(4, 100), (4, 0)], &[(4, 46), (16, 62), (32, 66), (43, 56), (44, 40), (44, 0)]],
        'i' => &[&[(24, 66), (24, 0)], &[(24, 88), (24, 91)]],
        'm' => &[
            &[(0, 66), (0, 0)],
            &[(0, 50), (9, 64), (20, 64), (27, 50), (27, 0)],
            &[(27, 50), (36, 64), (48, 64), (54, 50), (54, 0)],
        ],
        'n' => &[&[(4, 66), (4, 0)], &[(4, 46), (16, 62), (32, 66), (43, 56), (44, 40), (44, 0)]],
        'p' => &[
            &[(4, 66), (4, -30)],
            &[(4, 48), (16, 64), (32, 66), (46, 52), (50, 33), (46, 12), (32, 0), (16, 2), (4, 18)],
        ],
        'r' => &[&[(8, 66), (8, 0)], &[(8, 40), (20, 60), (40, 66)]],
        't' => &[&[(20, 92), (20, 14), (28, 1), (42, 3)], &[(4, 66), (40, 66)]],
        'u' => &[&[(4, 66), (4, 22), (12, 3), (26, 0), (38, 8), (44, 22)], &[(44, 66), (44, 0)]],
        'w' => &[&[(0, 66), (13, 0), (28, 52), (43, 0), (56, 66)]],
        _ => &[],
    }
}

/// Width of a word in the unit of `height`.
pub(crate) fn width(word: &str, height: f64) -> f64 {
    (word.chars().count() as f64 * ADVANCE - (ADVANCE - 0.56)).max(0.0) * height
}

/// Share of ink at a place, for a word whose first foot is at (0, 0), x along and y up.
///
/// `pixel` is the size of a pixel in the same unit; strokes fade over one of them.
pub(crate) fn ink(word: &str, height: f64, x: f64, y: f64, pixel: f64) -> f64 {
    let margin = HALF_STROKE * height + pixel;
    if y < -0.3 * height - margin || y > height + margin || x < -margin {
        return 0.0;
    }
    let (x, y, pixel) = (x / height, y / height, pixel / height);
    // A stroke may spill over into the neighbouring cell, so both neighbours are asked.
    let cell = (x / ADVANCE).floor();
    let mut nearest = f64::INFINITY;
    for (index, letter) in word.chars().enumerate() {
        if (index as f64 - cell).abs() <= 1.0 {
            nearest = nearest.min(distance(letter, x - index as f64 * ADVANCE, y));
        }
    }
    (0.5 + (HALF_STROKE - nearest) / pixel).clamp(0.0, 1.0)
}

/// Distance from the nearest stroke of a letter, in glyph heights.
fn distance(letter: char, x: f64, y: f64) -> f64 {
    let mut nearest = f64::INFINITY;
    for stroke in strokes(letter) {
        for ends in stroke.windows(2) {
            let [from, to] = [ends[0], ends[1]].map(|(x, y)| (f64::from(x) / 100.0, f64::from(y) / 100.0));
            let (dx, dy) = (to.0 - from.0, to.1 - from.1);
            let along = ((x - from.0) * dx + (y - from.1) * dy) / (dx * dx + dy * dy);
            let along = along.clamp(0.0, 1.0);
            let (ex, ey) = (x - from.0 - along * dx, y - from.1 - along * dy);
            nearest = nearest.min(ex * ex + ey * ey);
        }
    }
    nearest.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_that_is_written_has_strokes() {
        for letter in "0123456789 drawn picture mm inch".chars().filter(|c| *c != ' ') {
            assert!(!strokes(letter).is_empty(), "{letter}");
        }
    }

    #[test]
    fn ink_lies_on_the_stroke_and_nowhere_else() {
        assert_eq!(ink("1", 10.0, 3.0, 5.0, 0.1), 1.0);
        assert_eq!(ink("1", 10.0, 5.0, 5.0, 0.1), 0.0);
        assert_eq!(ink("11", 10.0, 3.0 + 7.6, 5.0, 0.1), 1.0);
    }
}
