//! Finds a free place for each word: tries the places around its mark and takes the emptiest.

use super::clip::{Frame, holds};
use super::label::width;
use super::svg::{Anchor, TEXT};

/// Distance that words keep from the frame: a tick and a little more.
const CLEAR: f64 = 8.0;

/// What already covers parts of the picture, with how much it would hurt to cover it.
#[derive(Debug, Default)]
pub(super) struct Taken {
    boxes: Vec<(Frame, f64)>,
}

/// Where a word goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    pub(super) place: [f64; 2],
    pub(super) anchor: Anchor,
}

impl Taken {
    /// Marks a box as taken; `weight` says how bad covering it would be.
    pub(super) fn add(&mut self, area: Frame, weight: f64) {
        self.boxes.push((area, weight));
    }

    /// Marks a line as taken by small boxes along it.
    pub(super) fn add_line(&mut self, points: &[[f64; 2]], weight: f64) {
        for pair in points.windows(2) {
            let (dx, dy) = (pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
            let steps = ((dx * dx + dy * dy).sqrt() / 8.0).ceil().clamp(1.0, 200.0) as usize;
            for step in 0..steps {
                let part = step as f64 / steps as f64;
                let (x, y) = (pair[0][0] + part * dx, pair[0][1] + part * dy);
                self.add([x - 1.0, y - 1.0, x + 1.0, y + 1.0], weight / 4.0);
            }
        }
    }

    fn cost(&self, area: Frame) -> f64 {
        let meets = |b: &Frame| b[0] < area[2] && b[2] > area[0] && b[1] < area[3] && b[3] > area[1];
        self.boxes.iter().filter(|(b, _)| meets(b)).map(|(_, weight)| weight).sum()
    }

    /// The emptiest of some places inside the frame and clear of its ticks; it is taken from then on. The first wins among
    /// equals. Where no place is clear of the ticks, one inside the frame does.
    pub(super) fn choose(&mut self, markup: &str, spots: &[Spot], frame: Frame) -> Option<Spot> {
        let [left, top, right, foot] = frame;
        let inner = [left + CLEAR, top + CLEAR, right - CLEAR, foot - CLEAR];
        self.emptiest(markup, spots, inner).or_else(|| self.emptiest(markup, spots, frame))
    }

    fn emptiest(&mut self, markup: &str, spots: &[Spot], frame: Frame) -> Option<Spot> {
        let mut best: Option<(f64, Spot, Frame)> = None;
        for spot in spots {
            let area = text_box(markup, *spot);
            if !holds(frame, [area[0], area[1]]) || !holds(frame, [area[2], area[3]]) {
                continue;
            }
            let cost = self.cost(area);
            if best.as_ref().is_none_or(|(least, ..)| cost < *least) {
                best = Some((cost, *spot, area));
            }
        }
        let (_, spot, area) = best?;
        self.add(area, 4.0);
        Some(spot)
    }
}

/// The box that a text covers.
pub(super) fn text_box(markup: &str, Spot { place: [x, y], anchor }: Spot) -> Frame {
    let wide = width(markup, TEXT);
    let left = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - 0.5 * wide,
        Anchor::End => x - wide,
    };
    [left, y - 0.8 * TEXT, left + wide, y + 0.25 * TEXT]
}

/// Places around a mark of some radius: right first, then left, above, below and the corners, near and far.
pub(super) fn around([x, y]: [f64; 2], radius: f64) -> Vec<Spot> {
    let middle = y + 0.35 * TEXT;
    let mut spots = Vec::new();
    for far in [radius, radius + 9.0, radius + 20.0] {
        let slant = 0.7 * far;
        let (above, below) = (y - far - 2.0, y + far + 0.8 * TEXT);
        spots.extend([
            Spot { place: [x + far, middle], anchor: Anchor::Start },
            Spot { place: [x - far, middle], anchor: Anchor::End },
            Spot { place: [x, above], anchor: Anchor::Middle },
            Spot { place: [x, below], anchor: Anchor::Middle },
            Spot { place: [x + slant, y - slant], anchor: Anchor::Start },
            Spot { place: [x + slant, y + slant + 0.7 * TEXT], anchor: Anchor::Start },
            Spot { place: [x - slant, y - slant], anchor: Anchor::End },
            Spot { place: [x - slant, y + slant + 0.7 * TEXT], anchor: Anchor::End },
        ]);
    }
    spots
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_steps_aside_for_what_is_taken() {
        let frame = [0.0, 0.0, 200.0, 100.0];
        let mut taken = Taken::default();
        let spots = around([100.0, 50.0], 6.0);
        assert_eq!(taken.choose("run 4", &spots, frame).unwrap(), spots[0]);
        assert_eq!(taken.choose("run 5", &spots, frame).unwrap(), spots[1]);
    }

    #[test]
    fn a_word_keeps_clear_of_the_frame_where_it_can() {
        let frame = [0.0, 0.0, 200.0, 100.0];
        let spot = Taken::default().choose("1.5 A", &around([195.0, 6.0], 8.0), frame).unwrap();
        let area = text_box("1.5 A", spot);
        assert!(area[1] >= CLEAR && area[2] <= 200.0 - CLEAR, "{area:?}");
        // a narrow frame leaves no such place, but one
        let narrow = [0.0, 0.0, 200.0, 26.0];
        assert!(Taken::default().choose("1.5 A", &around([100.0, 13.0], 8.0), narrow).is_some());
    }

    #[test]
    fn a_word_that_fits_nowhere_is_left_out() {
        let mut taken = Taken::default();
        let spots = around([10.0, 10.0], 6.0);
        assert_eq!(taken.choose("far too long for this", &spots, [0.0, 0.0, 20.0, 20.0]), None);
    }
}
