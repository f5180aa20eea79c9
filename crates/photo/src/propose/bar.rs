//! The scale from its map: the longest straight run of patches.

use super::Maps;
use super::blob::patches;

/// A straight thing in full-resolution pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Both ends of its middle line, the left one first.
    pub ends_px: [[f64; 2]; 2],
    /// Its width.
    pub width_px: f64,
}

/// Fewest cells of a patch, and of all patches of a scale together.
const LEAST_PATCH: usize = 6;
const LEAST_CELLS: usize = 30;
/// A scale is so many times as long as it is wide.
const LEAST_ASPECT: f64 = 3.0;
/// A patch belongs to the line of another one if its middle lies within so many of its widths.
const ASIDE: f64 = 0.8;

/// A line through cells: middle, direction, standard deviations along and across.
struct Line {
    middle: [f64; 2],
    along: [f64; 2],
    spread: [f64; 2],
}

impl Line {
    fn through(cells: &[[usize; 2]]) -> Self {
        let n = cells.len().max(1) as f64;
        let middle = [0, 1].map(|k| cells.iter().map(|c| c[k] as f64).sum::<f64>() / n);
        let moment = |i: usize, j: usize| {
            cells.iter().map(|c| (c[i] as f64 - middle[i]) * (c[j] as f64 - middle[j])).sum::<f64>() / n
        };
        let (xx, yy, xy) = (moment(0, 0), moment(1, 1), moment(0, 1));
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let (half, apart) = (0.5 * (xx + yy), (0.5 * (xx - yy)).hypot(xy));
        Self {
            middle,
            along: [angle.cos(), angle.sin()],
            spread: [(half + apart).sqrt(), (half - apart).max(1.0 / 12.0).sqrt()],
        }
    }

    /// Along and across of a cell.
    fn place(&self, cell: [f64; 2]) -> [f64; 2] {
        let [x, y] = [cell[0] - self.middle[0], cell[1] - self.middle[1]];
        [x * self.along[0] + y * self.along[1], y * self.along[0] - x * self.along[1]]
    }
}

/// The scale: the patch with the longest run, and all others on its line.
pub(super) fn scale(maps: &Maps) -> Option<Bar> {
    let patches: Vec<Vec<[usize; 2]>> =
        patches(&maps.scale).into_iter().filter(|patch| patch.len() >= LEAST_PATCH).collect();
    let longest =
        patches.iter().max_by(|a, b| Line::through(a).spread[0].total_cmp(&Line::through(b).spread[0]))?;
    let first = Line::through(longest);
    // a uniform band is so much wider than its standard deviation
    let wide = 12.0_f64.sqrt();
    let on_line = |patch: &&Vec<[usize; 2]>| {
        first.place(Line::through(patch).middle)[1].abs() < ASIDE * wide * first.spread[1]
    };
    let cells: Vec<[usize; 2]> = patches.iter().filter(on_line).flatten().copied().collect();
    let line = Line::through(&cells);
    if cells.len() < LEAST_CELLS || line.spread[0] < LEAST_ASPECT * line.spread[1] {
        return None;
    }
    let along = || cells.iter().map(|cell| line.place(cell.map(|v| v as f64))[0]);
    let (from, to) = along().fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
    let at = |t: f64| [0, 1].map(|k| maps.origin_px[k] + maps.cell_px * (line.middle[k] + t * line.along[k]));
    let mut ends_px = [at(from), at(to)];
    if ends_px[0][0] > ends_px[1][0] {
        ends_px.reverse();
    }
    Some(Bar { ends_px, width_px: maps.cell_px * wide * line.spread[1] })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::LightPlane;

    #[test]
    fn a_slanting_scale_cut_by_the_beam_is_one_bar() {
        let (width, height) = (120, 80);
        let inside = |x: usize, y: usize| {
            let (x, y) = (x as f64, y as f64);
            let off = (y - 40.0 - 0.1 * (x - 60.0)).abs();
            off < 2.6 && (10.0..110.0).contains(&x) && !(50.0..54.0).contains(&x)
        };
        let values = (0..width * height).map(|k| f32::from(u8::from(inside(k % width, k / width)))).collect();
        let none = LightPlane { width, height, values: vec![0.0; width * height] };
        let scale_map = LightPlane { width, height, values };
        let maps = Maps {
            beam: none.clone(),
            bulb: none.clone(),
            gun: none,
            scale: scale_map,
            origin_px: [1.0; 2],
            cell_px: 4.0,
        };
        let bar = scale(&maps).expect("a bar");
        let [a, b] = bar.ends_px;
        assert!((a[0] - 41.0).abs() < 6.0 && (b[0] - 437.0).abs() < 6.0, "{bar:?}");
        assert!(
            ((b[1] - a[1]) / (b[0] - a[0]) - 0.1).abs() < 0.01 && (bar.width_px - 21.0).abs() < 4.0,
            "{bar:?}"
        );
        assert_eq!(scale(&Maps { scale: maps.beam.clone(), ..maps }), None);
    }
}
