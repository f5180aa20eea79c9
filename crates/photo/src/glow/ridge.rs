//! Thin bright lines on one plane of light: its noise, its smoothing, and the crests that stand above both their sides.

use crate::picture::LightPlane;

/// A point on a bright line, in reduced pixels, with its unit normal and the height above its higher side.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RidgePoint {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) nx: f64,
    pub(crate) ny: f64,
    pub(crate) contrast: f32,
}

/// Standard deviation of the noise, from the median of second differences along rows.
pub(super) fn noise_of(plane: &LightPlane) -> f32 {
    let mut differences: Vec<f32> = plane
        .values
        .chunks(plane.width.max(1))
        .step_by(3)
        .flat_map(|row| row.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()))
        .collect();
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    let (_, median, _) = differences.select_nth_unstable_by(middle, f32::total_cmp);
    // 0.6745: median of |normal|; √6: second difference of three independent values
    *median / (0.6745 * 6f32.sqrt())
}

/// Gaussian smoothing, the edge's value continued.
pub(super) fn blurred(plane: &LightPlane, sigma: f32) -> LightPlane {
    let half = (3.0 * sigma).ceil() as usize;
    let kernel: Vec<f32> =
        (0..=2 * half).map(|i| (i as f32 - half as f32) / sigma).map(|u| (-0.5 * u * u).exp()).collect();
    let total: f32 = kernel.iter().sum();
    let kernel: Vec<f32> = kernel.into_iter().map(|weight| weight / total).collect();
    let (w, h) = (plane.width, plane.height);
    if w == 0 || h == 0 {
        return plane.clone();
    }
    // whole rows added with a weight: plain loops over slices, which the compiler turns into vector code
    let add = |sums: &mut [f32], row: &[f32], weight: f32| {
        sums.iter_mut().zip(row).for_each(|(sum, &value)| *sum += value * weight);
    };
    let mut across = vec![0.0_f32; w * h];
    let mut padded = vec![0.0_f32; w + 2 * half];
    for (row, out) in plane.values.chunks_exact(w).zip(across.chunks_exact_mut(w)) {
        padded[..half].fill(row[0]);
        padded[half..half + w].copy_from_slice(row);
        padded[half + w..].fill(row[w - 1]);
        kernel.iter().enumerate().for_each(|(k, &weight)| add(out, &padded[k..k + w], weight));
    }
    let mut values = vec![0.0_f32; w * h];
    for (y, out) in values.chunks_exact_mut(w).enumerate() {
        for (k, &weight) in kernel.iter().enumerate() {
            let from = (y + k).saturating_sub(half).min(h - 1) * w;
            add(out, &across[from..from + w], weight);
        }
    }
    LightPlane { width: w, height: h, values }
}

/// Adds the crests of the smoothed picture whose height above both sides exceeds `least`.
pub(super) fn collect_ridges(plane: &LightPlane, scale: f32, least: f32, ridges: &mut Vec<RidgePoint>) {
    let (w, h) = (plane.width, plane.height);
    let v = &plane.values;
    if w < 5 || h < 5 {
        return;
    }
    // a crest of this height and width curves at least this much
    let bend = 0.25 * least / (scale * scale);
    // what bends down enough is marked row by row in plain loops, which the compiler turns into vector code
    let mut bends = vec![0.0_f32; w];
    for y in 2..h - 2 {
        let row = |y: usize| &v[y * w..(y + 1) * w];
        let (up, here, down) = (row(y - 1), row(y), row(y + 1));
        let beside = here.iter().zip(&here[2..]).zip(up[1..].iter().zip(&down[1..]));
        for ((bend, middle), ((left, right), (above, below))) in
            bends[1..].iter_mut().zip(&here[1..]).zip(beside)
        {
            *bend = left + right + above + below - 4.0 * middle;
        }
        for (x, _) in bends.iter().enumerate().take(w - 2).skip(2).filter(|(_, b)| **b < -bend) {
            let fxx = here[x - 1] - 2.0 * here[x] + here[x + 1];
            let fyy = up[x] - 2.0 * here[x] + down[x];
            let fxy = 0.25 * (down[x + 1] - up[x + 1] - down[x - 1] + up[x - 1]);
            let rise = [0.5 * (here[x + 1] - here[x - 1]), 0.5 * (down[x] - up[x])];
            let point = crest(plane, (x, y), rise, [fxx, fxy, fyy], scale, least);
            ridges.extend(point);
        }
    }
}

/// The crest through one pixel with its first and second derivatives, if its top lies within it and stands more than `least` above both
/// sides.
fn crest(
    plane: &LightPlane,
    (x, y): (usize, usize),
    [gx, gy]: [f32; 2],
    [fxx, fxy, fyy]: [f32; 3],
    scale: f32,
    least: f32,
) -> Option<RidgePoint> {
    let (mean, half) = (0.5 * (fxx + fyy), 0.5 * (fxx - fyy));
    let square = half * half + fxy * fxy;
    // the steepest bend, mean − root, must be 1.5 times the other, mean + root
    if mean >= 0.0 || square < 0.04 * mean * mean || square > 25.0 * mean * mean {
        return None;
    }
    let root = square.sqrt();
    let steepest = mean - root;
    // the eigenvector of the steepest bend, from the row of the matrix that is not lost in rounding
    let (ex, ey) = if half < 0.0 { (half - root, fxy) } else { (fxy, -half - root) };
    let length = (ex * ex + ey * ey).sqrt();
    let (nx, ny) = if length > 0.0 { (ex / length, ey / length) } else { (1.0, 0.0) };
    let shift = -(gx * nx + gy * ny) / steepest;
    if (shift * nx).abs() > 0.6 || (shift * ny).abs() > 0.6 {
        return None;
    }
    let (cx, cy) = (f64::from(x as f32 + shift * nx), f64::from(y as f32 + shift * ny));
    let side = f64::from(2.5 * scale.max(1.2));
    let (dx, dy) = (side * f64::from(nx), side * f64::from(ny));
    let top = plane.sample(cx, cy);
    let clear = |side: f64| Some(top - plane.sample(cx + side * dx, cy + side * dy)).filter(|c| *c > least);
    let contrast = clear(1.0)?.min(clear(-1.0)?);
    Some(RidgePoint { x: cx, y: cy, nx: f64::from(nx), ny: f64::from(ny), contrast })
}

/// Local maxima of a plane, highest first.
pub(super) fn local_maxima(plane: &LightPlane) -> Vec<(usize, usize)> {
    let mut peaks = Vec::new();
    for y in 0..plane.height as isize {
        for x in 0..plane.width as isize {
            let here = plane.at(x, y);
            let higher = |&(dx, dy): &(isize, isize)| plane.at(x + dx, y + dy) > here;
            let around = [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];
            if here > 0.0 && !around.iter().any(higher) {
                peaks.push((here, (x as usize, y as usize)));
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.into_iter().map(|(_, place)| place).collect()
}
