//! Filled shapes with exact coverage of each pixel, and lines as thin shapes.

use crate::canvas::Canvas;

/// Share of each pixel that a shape covers, in a box of the picture.
pub(crate) struct Cover {
    left: usize,
    top: usize,
    width: usize,
    share: Vec<f32>,
}

impl Cover {
    /// Of closed outlines; one that runs the other way round cuts a hole. Nothing where it lies outside the picture.
    pub(crate) fn new(outlines: &[Vec<[f64; 2]>], width: usize, height: usize) -> Option<Self> {
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for [x, y] in outlines.iter().flatten() {
            bounds = [bounds[0].min(*x), bounds[1].min(*y), bounds[2].max(*x), bounds[3].max(*y)];
        }
        // corners count from the corner of the first pixel, places from its centre
        let [x0, y0, x1, y1] = bounds.map(|v| v + 0.5);
        if !(x1 > 0.0 && y1 > 0.0 && x0 < width as f64 && y0 < height as f64) {
            return None;
        }
        let (left, top) = (x0.max(0.0) as usize, y0.max(0.0) as usize);
        let right = (x1.ceil() as usize).min(width);
        let foot = (y1.ceil() as usize).min(height);
        let (wide, high) = (right - left, foot - top);
        let mut edges = Edges { width: wide, height: high, turned: vec![0.0; (wide + 2) * high] };
        for outline in outlines {
            let local = |p: [f64; 2]| [p[0] + 0.5 - left as f64, p[1] + 0.5 - top as f64];
            for (index, from) in outline.iter().enumerate() {
                edges.add(local(*from), local(outline[(index + 1) % outline.len()]));
            }
        }
        Some(Cover { left, top, width: wide, share: edges.shares() })
    }

    /// Goes over all pixels that are covered: place and share.
    pub(crate) fn each(&self, mut visit: impl FnMut(usize, usize, f32)) {
        if self.width == 0 {
            return;
        }
        for (row, shares) in self.share.chunks_exact(self.width).enumerate() {
            for (column, share) in shares.iter().enumerate() {
                if *share > 0.002 {
                    visit(self.left + column, self.top + row, *share);
                }
            }
        }
    }

    /// Lays a colour over the picture.
    pub(crate) fn paint(&self, canvas: &mut Canvas<3>, opacity: f32, colour: impl Fn(f64, f64) -> [f32; 3]) {
        self.each(|x, y, share| {
            let (cover, over) = (share * opacity, colour(x as f64, y as f64));
            for (value, over) in canvas.row_mut(y)[x].iter_mut().zip(over) {
                *value += (over - *value) * cover;
            }
        });
    }

    /// Adds light to the picture.
    pub(crate) fn shine(&self, canvas: &mut Canvas<3>, light: impl Fn(f64, f64) -> [f32; 3]) {
        self.each(|x, y, share| {
            let more = light(x as f64, y as f64);
            for (value, more) in canvas.row_mut(y)[x].iter_mut().zip(more) {
                *value += more * share;
            }
        });
    }
}

/// How the covered share changes from pixel to pixel along each row, summed over all edges.
struct Edges {
    width: usize,
    height: usize,
    turned: Vec<f32>,
}

impl Edges {
    fn add(&mut self, from: [f64; 2], to: [f64; 2]) {
        if from[1] == to[1] {
            return;
        }
        let (sign, upper, lower) = if from[1] < to[1] { (1.0, from, to) } else { (-1.0, to, from) };
        let slope = (lower[0] - upper[0]) / (lower[1] - upper[1]);
        let last = (lower[1].ceil().max(0.0) as usize).min(self.height);
        for row in upper[1].max(0.0) as usize..last {
            let top = upper[1].max(row as f64);
            let foot = lower[1].min(row as f64 + 1.0);
            if foot > top {
                let at = |y: f64| upper[0] + slope * (y - upper[1]);
                self.add_in_row(row, at(top), at(foot), sign * (foot - top));
            }
        }
    }

    /// An edge that crosses a row between two places and passes `height` of it.
    fn add_in_row(&mut self, row: usize, a: f64, b: f64, height: f64) {
        let most = self.width as f64;
        let (low, high) = (a.min(b).clamp(0.0, most), a.max(b).clamp(0.0, most));
        let start = row * (self.width + 2);
        let first = low as usize;
        let last = (high.ceil() as usize).max(first + 1);
        let mut before = 0.0;
        // area to the right of the edge up to each pixel's right side
        for pixel in first..=last.min(self.width + 1) {
            let area = right_of(low, high, pixel as f64 + 1.0) * height;
            self.turned[start + pixel] += (area - before) as f32;
            before = area;
        }
        let rest = (height - before) as f32;
        if let Some(value) = self.turned.get_mut(start + (last + 1).min(self.width + 1)) {
            *value += rest;
        }
    }

    fn shares(self) -> Vec<f32> {
        let mut shares = Vec::with_capacity(self.width * self.height);
        for row in self.turned.chunks_exact(self.width + 2) {
            let mut sum = 0.0;
            for turned in &row[..self.width] {
                sum += turned;
                shares.push(sum.abs().min(1.0));
            }
        }
        shares
    }
}

/// Mean over the edge's run from `low` to `high` of the part of the pixel ending at `side` that lies right of it.
fn right_of(low: f64, high: f64, side: f64) -> f64 {
    let part = |x: f64| {
        // integral over x of clamp(side - x, 0, 1)
        let t = (side - x).clamp(0.0, 1.0);
        let beyond = (side - 1.0 - x).max(0.0);
        0.5 * t * t + beyond
    };
    if high - low < 1e-9 { (side - low).clamp(0.0, 1.0) } else { (part(low) - part(high)) / (high - low) }
}

/// The outline of a line of some width (half of it at each point), open at its ends.
pub(crate) fn line(points: &[[f64; 2]], half_width: impl Fn(usize) -> f64) -> Vec<[f64; 2]> {
    let mut sides = [Vec::new(), Vec::new()];
    for (index, point) in points.iter().enumerate() {
        let before = points[index.saturating_sub(1)];
        let after = points[(index + 1).min(points.len() - 1)];
        let (dx, dy) = (after[0] - before[0], after[1] - before[1]);
        let long = (dx * dx + dy * dy).sqrt().max(1e-9);
        let half = half_width(index);
        let (ox, oy) = (-dy / long * half, dx / long * half);
        sides[0].push([point[0] + ox, point[1] + oy]);
        sides[1].push([point[0] - ox, point[1] - oy]);
    }
    let [mut outline, other] = sides;
    outline.extend(other.into_iter().rev());
    outline
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(outlines: &[Vec<[f64; 2]>]) -> f32 {
        Cover::new(outlines, 40, 30).map_or(0.0, |cover| cover.share.iter().sum())
    }

    #[test]
    fn coverage_adds_up_to_the_area_inside_the_picture() {
        let square = vec![[3.3, 4.1], [13.3, 4.1], [13.3, 9.6], [3.3, 9.6]];
        assert!((area(std::slice::from_ref(&square)) - 55.0).abs() < 1e-3);
        let triangle = vec![[2.0, 2.0], [22.0, 5.0], [7.0, 18.0]];
        assert!((area(&[triangle]) - 0.5 * (20.0 * 16.0 - 3.0 * 5.0)).abs() < 1e-2);
        let hole = vec![[5.3, 5.1], [5.3, 8.1], [9.3, 8.1], [9.3, 5.1]];
        assert!((area(&[square, hole]) - 43.0).abs() < 1e-3);
        let half_outside = vec![[-10.5, 4.5], [9.5, 4.5], [9.5, 14.5], [-10.5, 14.5]];
        assert!((area(&[half_outside]) - 100.0).abs() < 1e-3);
    }
}
