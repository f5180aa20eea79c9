//! A piece of a picture laid out twice as fine, for marks that have few pixels each.
//!
//! Everything that looks for marks compares neighbouring pixels, smooths over some, and follows lines to a part of one. Marks
//! four or five pixels apart leave it too little; their light, which a picture holds down to two pixels a mark, does not.

use crate::picture::LightPlane;

/// Pixels of the finer picture for one of the photograph.
pub(super) const ZOOM: usize = 2;
/// Most pixels of the photograph that are laid out finer at once: four bytes for each of `ZOOM²` times as many.
const MOST_PX: usize = 6_000_000;

/// The finer picture and where it lies on the photograph.
pub(super) struct Zoomed {
    pub(super) plane: LightPlane,
    /// The photograph's pixel that is the piece's first.
    from: [usize; 2],
}

impl Zoomed {
    /// Lays out a piece, its corners (least and largest x, y) in the photograph's pixels; `None` where that is too much.
    pub(super) fn piece(plane: &LightPlane, low: [f64; 2], high: [f64; 2]) -> Option<Self> {
        let within = |value: f64, end: usize| value.clamp(0.0, end as f64) as usize;
        let from = [within(low[0], plane.width), within(low[1], plane.height)];
        let to = [within(high[0] + 1.0, plane.width), within(high[1] + 1.0, plane.height)];
        let (wide, high) = (to[0].checked_sub(from[0])?, to[1].checked_sub(from[1])?);
        if wide < 16 || high < 16 || wide * high > MOST_PX {
            return None;
        }
        Some(Self { plane: twice(plane, from, [wide, high]), from })
    }

    /// From the finer picture's pixels to the photograph's.
    pub(super) fn on_photo(&self, p: [f64; 2]) -> [f64; 2] {
        let z = ZOOM as f64;
        [0, 1].map(|k| (p[k] + 0.5) / z - 0.5 + self.from[k] as f64)
    }
}

/// The piece with two pixels for one each way, by a windowed sinc over three pixels to each side (Lanczos): C. Duchon,
/// *Lanczos filtering in one and two dimensions*, J. Appl. Meteorol. 18 (1979) 1016 (from memory).
fn twice(plane: &LightPlane, [left, top]: [usize; 2], [wide, high]: [usize; 2]) -> LightPlane {
    // the finer pixels lie a quarter before and behind the middle of each
    let [before, behind] = [-0.25, 0.25].map(weights);
    let reach = weights(0.0).len() / 2;
    let mut across = vec![0.0_f32; 2 * wide * high];
    let mut line = vec![0.0_f32; wide + 2 * reach];
    for (j, out) in across.chunks_exact_mut(2 * wide).enumerate() {
        for (i, value) in line.iter_mut().enumerate() {
            *value = plane.at((left + i) as isize - reach as isize, (top + j) as isize);
        }
        for (pixel, around) in out.chunks_exact_mut(2).zip(line.windows(2 * reach + 1)) {
            let sum = |weights: &[f32]| around.iter().zip(weights).map(|(v, w)| v * w).sum::<f32>();
            pixel.copy_from_slice(&[sum(&before), sum(&behind)]);
        }
    }
    let mut values = vec![0.0_f32; 4 * wide * high];
    for (k, out) in values.chunks_exact_mut(2 * wide).enumerate() {
        let weights = if k.is_multiple_of(2) { &before } else { &behind };
        for (d, weight) in weights.iter().enumerate() {
            let row = (k / 2 + d).saturating_sub(reach).min(high - 1);
            let from = across.get(row * 2 * wide..(row + 1) * 2 * wide).unwrap_or(&[]);
            out.iter_mut().zip(from).for_each(|(sum, value)| *sum += weight * value);
        }
    }
    LightPlane { width: 2 * wide, height: 2 * high, values }
}

/// Weights of a pixel and the three before and behind it for the light `shift` beside it.
fn weights(shift: f64) -> [f32; 7] {
    let sinc = |x: f64| {
        let x = std::f64::consts::PI * x;
        if x.abs() < 1e-9 { 1.0 } else { x.sin() / x }
    };
    let weights: [f64; 7] = std::array::from_fn(|k| {
        let x = k as f64 - 3.0 - shift;
        if x.abs() < 3.0 { sinc(x) * sinc(x / 3.0) } else { 0.0 }
    });
    let sum: f64 = weights.iter().sum();
    weights.map(|w| (w / sum) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waves_of_three_pixels_lie_where_they_were_on_the_finer_picture() {
        let light = |x: f64, y: f64| 0.5 + 0.3 * (x * std::f64::consts::TAU / 3.1).cos() + 0.002 * y;
        let (width, height) = (90, 60);
        let values =
            (0..width * height).map(|k| light((k % width) as f64, (k / width) as f64) as f32).collect();
        let plane = LightPlane { width, height, values };
        let Some(zoomed) = Zoomed::piece(&plane, [20.0, 10.0], [69.0, 49.0]) else {
            unreachable!("the piece lies on the picture")
        };
        assert_eq!((zoomed.plane.width, zoomed.plane.height), (100, 80));
        for y in 8..72 {
            for x in 8..92 {
                let [px, py] = zoomed.on_photo([x as f64, y as f64]);
                let there = f64::from(zoomed.plane.at(x, y));
                assert!((there - light(px, py)).abs() < 0.02, "{x}, {y}: {there} for {}", light(px, py));
            }
        }
        assert!(Zoomed::piece(&plane, [85.0, 0.0], [400.0, 59.0]).is_none(), "too narrow a piece");
    }
}
