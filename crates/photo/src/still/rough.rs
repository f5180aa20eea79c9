//! The rough turn, growth and shift between two photographs of one scene, by the directions of the light's slopes: these stay
//! where lamps, exposure and the sense of an edge do not.

use crate::picture::{LightPlane, Picture};

/// Longer sides in cells of the pictures that are compared, coarse to fine.
const SIDES: [usize; 3] = [160, 320, 640];
/// Light that changes over more cells than this to each side is glow and no edge.
const GLOW_CELLS: usize = 3;
/// A slope counts half at this many times the usual one.
const HALF_AT: f32 = 1.5;
/// Slopes below this part of full scale are rounding.
const ROUNDING: f32 = 5e-4;
/// A slope of the first picture that counts less than this is left out.
const STRONG: f32 = 0.5;
/// Most slopes compared; parts of the picture of so many cells a side keep so many each.
const MOST_SLOPES: usize = 900;
/// So many of them on the coarsest picture, where every place is tried.
const MOST_AT_FIRST: usize = 350;
/// Turns tried on each finer picture to either side, two cells apart at the lever.
const TURNED: i32 = 6;
const PART: usize = 8;
const KEPT_OF_PART: usize = 6;
/// How far pictures may have gone apart: shift in parts of the longer side, turn (radians), ln of growth; steps of the last two.
const FARTHEST: f64 = 0.16;
const TURNS: [f64; 2] = [0.14, 0.028];
const GROWTHS: [f64; 2] = [0.125, 0.025];
/// Best places of the coarse search that are looked at more finely, and how far apart they are (cells).
const FINALISTS: usize = 6;
/// What lies this part of the longer side from the middle tells turn and growth.
const LEVER: f64 = 0.3;
const APART: f64 = 4.0;
/// A match is one from so many standard deviations on of what unlike pictures give (those of a black room gave 5 to 7, of a bench
/// dimly lit 14 to 23); others that have this part of the best one's are tried as well, at most so many in all.
const SURE: f64 = 9.0;
const OTHERS: f64 = 0.85;
const TRIED: usize = 3;

/// How one photograph lies on another: about the picture's middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Similarity {
    pub(super) middle_px: [f64; 2],
    pub(super) shift_px: [f64; 2],
    /// From +x towards +y, radians.
    pub(super) turn: f64,
    pub(super) ln_growth: f64,
}

impl Similarity {
    /// Where a pixel of the first photograph lies on the second.
    pub(super) fn to(&self, px: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.turn.sin_cos();
        let g = self.ln_growth.exp();
        let [x, y] = [px[0] - self.middle_px[0], px[1] - self.middle_px[1]];
        [
            self.middle_px[0] + self.shift_px[0] + g * (c * x - s * y),
            self.middle_px[1] + self.shift_px[1] + g * (s * x + c * y),
        ]
    }
}

/// Directions of the slopes of light all over a reduced picture.
#[derive(Debug, Clone)]
struct Field {
    width: usize,
    height: usize,
    /// Pixels of the photograph in a cell.
    cell_px: f64,
    /// Cosine and sine of twice the slope's direction, times how much it counts, 0 to 1.
    values: Vec<[f32; 2]>,
}

/// A strong slope: its pixel on the photograph, cosine and sine of twice its direction.
#[derive(Debug, Clone, Copy)]
struct Slope {
    px: [f64; 2],
    double: [f64; 2],
}

/// What of the scale's photograph is compared: its strong slopes on each of the reduced pictures.
#[derive(Debug, Clone)]
pub(super) struct Sketch {
    levels: Vec<Vec<Slope>>,
    middle_px: [f64; 2],
    long_px: f64,
}

impl Sketch {
    pub(super) fn of(picture: &Picture) -> Self {
        let levels = fields(picture).iter().map(Field::strongest).collect();
        let long_px = picture.width().max(picture.height()) as f64;
        let middle_px = [picture.width(), picture.height()].map(|n| (n as f64 - 1.0) / 2.0);
        Self { levels, middle_px, long_px }
    }

    /// How the other photograph may lie on this one, likeliest first; none where they are not alike. Round coils look the same
    /// turned about their axis: several turns may be alike.
    pub(super) fn on(&self, other: &Picture) -> Vec<Similarity> {
        let fields = fields(other);
        let (Some(first), Some(slopes)) = (fields.first(), self.levels.first()) else { return Vec::new() };
        let mut best: Vec<(f64, Similarity)> = self
            .coarse(first, slopes)
            .into_iter()
            .map(|start| {
                let levels = fields.iter().zip(&self.levels);
                let (sum, at) = levels.fold((0.0, start), |(sum, at), (field, slopes)| {
                    let (score, at) = self.climbed(field, slopes, at);
                    (sum + score, at)
                });
                (sum / SIDES.len() as f64, at)
            })
            .collect();
        best.sort_by(|a, b| b.0.total_cmp(&a.0));
        let least = best.first().map_or(SURE, |(score, _)| SURE.max(OTHERS * score));
        let mut kept: Vec<Similarity> = Vec::new();
        for (score, at) in best {
            let is_new = kept.iter().all(|old| self.is_apart(old, &at, 2.0 * APART));
            if score > least && is_new && kept.len() < TRIED {
                kept.push(at);
            }
        }
        kept
    }

    /// The best places on a net of turns, growths and shifts.
    fn coarse(&self, field: &Field, slopes: &[Slope]) -> Vec<Similarity> {
        let reach = (FARTHEST * self.long_px / field.cell_px).round() as i32;
        let padded = Padded::of(field, reach);
        let net = |[most, step]: [f64; 2]| {
            let steps = (most / step).round() as i32;
            (-steps..=steps).map(move |k| f64::from(k) * step)
        };
        let mut best: Vec<(f32, Similarity)> = Vec::new();
        let side = (2 * reach + 1) as usize;
        let mut sums = vec![0.0_f32; side * side];
        for turn in net(TURNS) {
            for ln_growth in net(GROWTHS) {
                let similarity =
                    Similarity { middle_px: self.middle_px, shift_px: [0.0; 2], turn, ln_growth };
                sums.fill(0.0);
                padded.add_all(slopes, &similarity, field, &mut sums);
                let Some((k, &top)) = sums.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)) else {
                    continue;
                };
                let shift = [(k % side) as i32 - reach, (k / side) as i32 - reach];
                let shift_px = shift.map(|n| f64::from(n) * field.cell_px);
                best.push((top, Similarity { shift_px, ..similarity }));
            }
        }
        best.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut kept: Vec<Similarity> = Vec::new();
        for (_, new) in best {
            let far = APART * field.cell_px;
            if kept.len() < FINALISTS && kept.iter().all(|old| self.is_apart(old, &new, far)) {
                kept.push(new);
            }
        }
        kept
    }

    /// Whether two places put something in the picture further apart than so many pixels.
    fn is_apart(&self, a: &Similarity, b: &Similarity, far_px: f64) -> bool {
        let lever = LEVER * self.long_px;
        (0..2).any(|k| (a.shift_px[k] - b.shift_px[k]).abs() > far_px)
            || (a.turn - b.turn).abs() * lever > far_px
            || (a.ln_growth - b.ln_growth).abs() * lever > far_px
    }

    /// The nearest best place, and its score in standard deviations of unlike pictures.
    fn climbed(&self, field: &Field, slopes: &[Slope], start: Similarity) -> (f64, Similarity) {
        let score = |at: &Similarity| -> f64 {
            let (s, c) = (2.0 * at.turn).sin_cos();
            let one = |slope: &Slope| {
                let [a, b] = slope.double;
                let [x, y] = field.at(at.to(slope.px));
                (a * c - b * s) * x + (a * s + b * c) * y
            };
            slopes.iter().map(one).sum()
        };
        let lever = LEVER * self.long_px;
        let moved = |at: &Similarity, k: usize, by_px: f64| {
            let mut at = *at;
            match k {
                0 | 1 => at.shift_px[k] += by_px,
                2 => at.turn += by_px / lever,
                _ => at.ln_growth += by_px / lever,
            }
            at
        };
        // what is round tells the turn by little: looked for further away
        let step = 2.0 * field.cell_px;
        let turned = (-TURNED..=TURNED).map(|k| moved(&start, 2, f64::from(k) * step));
        let first = turned.map(|at| (score(&at), at)).max_by(|a, b| a.0.total_cmp(&b.0));
        let (mut best, mut at) = first.unwrap_or((0.0, start));
        let mut step = 1.5 * field.cell_px;
        while step > 0.2 * field.cell_px {
            let mut gained = false;
            for k in 0..4 {
                for by in [step, -step] {
                    let next = moved(&at, k, by);
                    let value = score(&next);
                    if value > best {
                        (at, best, gained) = (next, value, true);
                    }
                }
            }
            if !gained {
                step *= 0.5;
            }
        }
        let power = field.values.iter().map(|[x, y]| f64::from(x * x + y * y)).sum::<f64>();
        let usual = 0.5 * power / field.values.len().max(1) as f64;
        (best / (slopes.len() as f64 * usual).sqrt().max(1e-9), at)
    }
}

/// The directions on reduced pictures, coarse to fine.
fn fields(picture: &Picture) -> Vec<Field> {
    let long = picture.width().max(picture.height());
    let finest = SIDES.iter().copied().max().unwrap_or(1);
    let factor = (long / finest).max(1);
    let fine = picture.reduced_mean(factor);
    let of = |side: usize| {
        let more = (long / (side * factor)).max(1);
        Field::of(&blocks(&fine, more), (factor * more) as f64)
    };
    SIDES.map(of).into()
}

/// Means of blocks of cells.
fn blocks(light: &LightPlane, factor: usize) -> LightPlane {
    if factor == 1 {
        return light.clone();
    }
    let (width, height) = (light.width / factor, light.height / factor);
    let mut values = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let rows = light.values.chunks_exact(light.width.max(1)).skip(y * factor).take(factor);
            let sum: f32 = rows.flat_map(|row| row.iter().skip(x * factor).take(factor)).sum();
            values.push(sum / (factor * factor) as f32);
        }
    }
    LightPlane { width, height, values }
}

impl Field {
    fn of(light: &LightPlane, cell_px: f64) -> Self {
        let wide = boxed(light, GLOW_CELLS);
        let narrow = boxed(light, 1);
        let edges: Vec<f32> = narrow.values.iter().zip(&wide.values).map(|(a, b)| a - b).collect();
        let edges = LightPlane { values: edges, ..narrow };
        let (width, height) = (light.width, light.height);
        let mut slopes = Vec::with_capacity(width * height);
        for y in 0..height as isize {
            for x in 0..width as isize {
                slopes
                    .push([edges.at(x + 1, y) - edges.at(x - 1, y), edges.at(x, y + 1) - edges.at(x, y - 1)]);
            }
        }
        let mut sizes: Vec<f32> = slopes.iter().map(|[x, y]| x * x + y * y).collect();
        let half = sizes.len() / 2;
        let usual =
            if sizes.is_empty() { 0.0 } else { *sizes.select_nth_unstable_by(half, f32::total_cmp).1 };
        let floor = HALF_AT * HALF_AT * usual.max(ROUNDING * ROUNDING);
        let one = |[x, y]: &[f32; 2]| {
            let size = x * x + y * y;
            // how much it counts, squared: noise is all over the picture
            let by = size / (size + floor).powi(2);
            [(x * x - y * y) * by, 2.0 * x * y * by]
        };
        Self { width, height, cell_px, values: slopes.iter().map(one).collect() }
    }

    /// Cell of a pixel: its centre lies at whole numbers.
    fn cell(&self, px: f64) -> f64 {
        (px - 0.5 * (self.cell_px - 1.0)) / self.cell_px
    }

    /// Between cells at a pixel of the photograph; nothing outside.
    fn at(&self, px: [f64; 2]) -> [f64; 2] {
        let [x, y] = px.map(|v| self.cell(v));
        if !(x >= 0.0 && y >= 0.0) {
            return [0.0; 2];
        }
        let (i, j) = (x as usize, y as usize);
        if i + 1 >= self.width || j + 1 >= self.height {
            return [0.0; 2];
        }
        let (fx, fy) = (x - i as f64, y - j as f64);
        let value = |k: usize| self.values.get(k).map_or([0.0; 2], |v| v.map(f64::from));
        let k = j * self.width + i;
        let (a, b, c, d) = (value(k), value(k + 1), value(k + self.width), value(k + self.width + 1));
        [0, 1].map(|n| (a[n] * (1.0 - fx) + b[n] * fx) * (1.0 - fy) + (c[n] * (1.0 - fx) + d[n] * fx) * fy)
    }

    /// The strong slopes, the strongest few of each part of the picture.
    fn strongest(&self) -> Vec<Slope> {
        let mut all = Vec::new();
        for top in (2..self.height.saturating_sub(2)).step_by(PART) {
            for left in (2..self.width.saturating_sub(2)).step_by(PART) {
                let mut here: Vec<(f32, usize, usize, [f32; 2])> = Vec::new();
                for y in top..(top + PART).min(self.height - 2) {
                    for x in left..(left + PART).min(self.width - 2) {
                        let Some(&v) = self.values.get(y * self.width + x) else { continue };
                        let size = v[0].hypot(v[1]);
                        if size > STRONG {
                            here.push((size, x, y, v));
                        }
                    }
                }
                here.sort_by(|a, b| b.0.total_cmp(&a.0));
                for (size, x, y, v) in here.into_iter().take(KEPT_OF_PART) {
                    let px = [x, y].map(|n| self.cell_px * n as f64 + 0.5 * (self.cell_px - 1.0));
                    all.push(Slope { px, double: v.map(|c| f64::from(c / size)) });
                }
            }
        }
        let every = all.len().div_ceil(MOST_SLOPES).max(1);
        all.into_iter().step_by(every).collect()
    }
}

/// Mean over a square of `2 reach + 1` cells; beyond the edge the edge's own light.
fn boxed(light: &LightPlane, reach: usize) -> LightPlane {
    let reach = reach as isize;
    let share = 1.0 / (2 * reach + 1) as f32;
    let pass = |from: &LightPlane, across: bool| {
        let mut values = Vec::with_capacity(from.values.len());
        for y in 0..from.height as isize {
            for x in 0..from.width as isize {
                let sum: f32 = (-reach..=reach)
                    .map(|d| if across { from.at(x + d, y) } else { from.at(x, y + d) })
                    .sum();
                values.push(sum * share);
            }
        }
        LightPlane { width: from.width, height: from.height, values }
    };
    pass(&pass(light, true), false)
}

/// A field with empty cells all round, so that shifts need no look at its sides.
struct Padded {
    width: usize,
    height: usize,
    reach: i32,
    pad: i32,
    values: Vec<[f32; 2]>,
}

impl Padded {
    fn of(field: &Field, reach: i32) -> Self {
        // growth and turn carry the corners further out
        let pad = reach + (field.width.max(field.height) / 4) as i32;
        let (width, height) = (field.width + 2 * pad as usize, field.height + 2 * pad as usize);
        let mut values = vec![[0.0; 2]; width * height];
        for (y, row) in field.values.chunks_exact(field.width.max(1)).enumerate() {
            let start = (y + pad as usize) * width + pad as usize;
            if let Some(to) = values.get_mut(start..start + field.width) {
                to.copy_from_slice(row);
            }
        }
        Self { width, height, reach, pad, values }
    }

    /// Adds to `sums`, row by row of the shifts, how alike each slope is to the light there.
    fn add_all(&self, slopes: &[Slope], similarity: &Similarity, field: &Field, sums: &mut [f32]) {
        let side = (2 * self.reach + 1) as usize;
        let (s, c) = (2.0 * similarity.turn).sin_cos();
        for slope in slopes.iter().step_by(slopes.len().div_ceil(MOST_AT_FIRST).max(1)) {
            let [a, b] = slope.double;
            let [u, v] = [(a * c - b * s) as f32, (a * s + b * c) as f32];
            let cell =
                similarity.to(slope.px).map(|px| field.cell(px).round() as i32 + self.pad - self.reach);
            let fits = |k: usize, n: usize| cell[k] >= 0 && cell[k] as usize + side <= n;
            if !fits(0, self.width) || !fits(1, self.height) {
                continue;
            }
            let [x, y] = cell.map(|n| n as usize);
            for (j, to) in sums.chunks_exact_mut(side).enumerate() {
                let start = (y + j) * self.width + x;
                let row = self.values.get(start..start + side).unwrap_or_default();
                for (sum, [p, q]) in to.iter_mut().zip(row) {
                    *sum += u * p + v * q;
                }
            }
        }
    }
}
