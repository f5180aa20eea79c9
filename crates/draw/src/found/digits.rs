//! Numbers on the bench: seven-segment digits of the supplies, and numerals printed on the scale.

use crate::glyphs;

/// Which of the seven bars of a digit glow: top, upper right, lower right, foot, lower left, upper left, middle.
const BARS: [u8; 10] = [0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F];

/// The bars of a digit as four-sided shapes in a cell 1 high and 0.55 wide, x right, y down, leaning a little.
pub(crate) fn bars(digit: usize) -> Vec<[[f64; 2]; 4]> {
    const LONG: f64 = 0.42;
    const HALF: f64 = 0.055;
    let level = |y: f64| {
        let (a, b) = (0.5 * (0.55 - LONG) + 0.03, 0.5 * (0.55 + LONG) - 0.03);
        [[a, y - HALF], [b, y - HALF], [b, y + HALF], [a, y + HALF]]
    };
    let upright = |x: f64, y: f64| {
        [[x - HALF, y + 0.05], [x + HALF, y + 0.05], [x + HALF, y + 0.40], [x - HALF, y + 0.40]]
    };
    let all = [
        level(0.05),
        upright(0.49, 0.04),
        upright(0.49, 0.50),
        level(0.95),
        upright(0.06, 0.50),
        upright(0.06, 0.04),
        level(0.5),
    ];
    let lit = BARS.get(digit).copied().unwrap_or(0);
    let leaning = |[x, y]: [f64; 2]| [x + 0.10 * (1.0 - y), y];
    all.into_iter()
        .enumerate()
        .filter(|(bar, _)| lit >> bar & 1 == 1)
        .map(|(_, bar)| bar.map(leaning))
        .collect()
}

/// The strokes of a printed number, centred on 0 across, foot at 0, in units of its height (y up).
pub(crate) fn numeral(number: u32) -> Vec<Vec<[f64; 2]>> {
    word(&number.to_string())
}

/// The strokes of a printed word, laid out in the same way.
pub(crate) fn word(text: &str) -> Vec<Vec<[f64; 2]>> {
    let middle = 0.5 * glyphs::width(text, 1.0);
    let place = |index: usize, (x, y): &(i16, i16)| {
        [f64::from(*x) / 100.0 + index as f64 * glyphs::ADVANCE - middle, f64::from(*y) / 100.0]
    };
    text.chars()
        .enumerate()
        .flat_map(|(index, letter)| {
            let strokes = glyphs::strokes(letter).iter();
            strokes.map(move |stroke| stroke.iter().map(|point| place(index, point)).collect())
        })
        .collect()
}
