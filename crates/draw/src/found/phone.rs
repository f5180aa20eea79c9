//! What a phone makes of the light: noise, smearing, tone, sharpening, rescaling, JPEG once or twice.

use image::RgbImage;
use image::imageops::{self, FilterType};
use rand_pcg::Pcg64;

use super::lens;
use super::scene::Phone;
use crate::camera::View;
use crate::canvas::Canvas;
use crate::develop;
use crate::error::DrawError;
use crate::noise::NormalTable;

/// Share of what a channel cannot hold that spills into the others.
const SPILL: f32 = 0.10;
/// The raster on which the tone of surroundings is judged is this many times coarser.
const COARSE: usize = 8;
/// Parts of red, green and blue in brightness (ITU-R BT.601).
const LUMA: [f32; 3] = [0.299, 0.587, 0.114];
const CURVE_STEPS: usize = 1 << 14;

/// Width and height of the picture that is kept.
pub(crate) fn kept_size(view: &View, phone: &Phone) -> [u32; 2] {
    [view.width, view.height].map(|side| ((side as f64 * phone.rescale).round() as u32).max(16))
}

pub(crate) fn develop(
    mut canvas: Canvas<3>,
    view: &View,
    phone: &Phone,
    seed: u64,
) -> Result<Vec<u8>, DrawError> {
    lens::pass(&mut canvas, phone);
    develop::label(&mut canvas);
    expose(&mut canvas, phone, seed);
    lift_shadows(&mut canvas, phone.tone);
    encode_tone(&mut canvas);
    smear(&mut canvas, phone.smear);
    sharpen(&mut canvas, phone.sharpen);
    saturate(&mut canvas, phone.saturation);
    let [width, height] = kept_size(view, phone);
    let mut picture = whole_levels(&canvas);
    if picture.dimensions() != (width, height) {
        picture = imageops::resize(&picture, width, height, FilterType::Triangle);
    }
    save(picture, phone)
}

/// Exposure, white balance, noise, and what bright channels spill into the others.
fn expose(canvas: &mut Canvas<3>, phone: &Phone, seed: u64) {
    let normal = NormalTable::new();
    let mut random = Pcg64::new(u128::from(seed), 0x51_7A_11);
    let gain = phone.white_balance.map(|balance| balance * phone.exposure as f32);
    let (read, shot) =
        ((phone.read_noise * phone.read_noise) as f32, (phone.shot_noise * phone.shot_noise) as f32);
    for value in &mut canvas.light {
        let deviates = normal.four(&mut random);
        let mut light: [f32; 3] = std::array::from_fn(|k| value[k] * gain[k]);
        let over: f32 = light.iter().map(|v| (v - 1.0).clamp(0.0, 4.0)).sum();
        for (k, channel) in light.iter_mut().enumerate() {
            *channel += SPILL * (over - (*channel - 1.0).clamp(0.0, 4.0));
            let noise = 0.8 * deviates[k] + 0.6 * deviates[3];
            *channel += noise * (read + shot * channel.clamp(0.0, 1.0)).sqrt();
        }
        *value = light;
    }
}

/// Lifts what lies in dark surroundings, as phones do by local tone mapping.
fn lift_shadows(canvas: &mut Canvas<3>, strength: f64) {
    if strength <= 0.0 {
        return;
    }
    let mut around = Canvas::<1>::coarser(canvas.width, canvas.height, COARSE);
    let share = 1.0 / (COARSE * COARSE) as f32;
    for y in 0..canvas.height {
        for x in 0..canvas.width {
            let light = canvas.row(y)[x];
            let luma: f32 = (0..3).map(|k| LUMA[k] * light[k].clamp(0.0, 1.0)).sum();
            around.row_mut(y / COARSE)[x / COARSE][0] += share * luma;
        }
    }
    around.blur(0.02 * around.width.max(around.height) as f64);
    let mut row = vec![[0.0_f32; 1]; canvas.width];
    for y in 0..canvas.height {
        around.enlarged_row(y, COARSE, &mut row);
        for (value, around) in canvas.row_mut(y).iter_mut().zip(&row) {
            let dark = f64::from(around[0].max(0.0)) + 0.02;
            let gain = libm::pow(0.3 / dark, 0.5 * strength).clamp(1.0, 3.5) as f32;
            for channel in value.iter_mut() {
                *channel *= gain;
            }
        }
    }
}

/// A shoulder for highlights, then the sRGB curve (IEC 61966-2-1).
fn encode_tone(canvas: &mut Canvas<3>) {
    const SHOULDER: f64 = 0.75;
    const MOST: f64 = 2.5;
    let curve: Vec<f32> = (0..=CURVE_STEPS)
        .map(|step| {
            let light = MOST * (step as f64 + 0.5) / CURVE_STEPS as f64;
            let room = 1.0 - SHOULDER;
            let over = (light - SHOULDER).max(0.0);
            let held = light.min(SHOULDER) + room * (1.0 - libm::exp(-1.6 * over / room));
            let coded =
                if held <= 0.003_130_8 { 12.92 * held } else { 1.055 * libm::pow(held, 1.0 / 2.4) - 0.055 };
            coded as f32
        })
        .collect();
    for value in canvas.light.iter_mut().flatten() {
        let step = (value.clamp(0.0, MOST as f32) * (CURVE_STEPS as f32 / MOST as f32)) as usize;
        *value = curve[step.min(CURVE_STEPS)];
    }
}

/// Takes noise away and fine detail with it, but keeps strong edges: a guided filter, each channel its own guide.
///
/// Source: K. He, J. Sun, X. Tang, *Guided Image Filtering*, IEEE TPAMI 35, 1397 (2013).
fn smear(canvas: &mut Canvas<3>, strength: f64) {
    if strength <= 0.0 {
        return;
    }
    let (width, height) = (canvas.width, canvas.height);
    let reach = if strength > 0.5 { 4 } else { 2 };
    let even = (0.015 + 0.05 * strength).powi(2) as f32;
    let strength = strength.min(1.0).sqrt() as f32;
    for channel in 0..3 {
        let plane: Vec<f32> = canvas.light.iter().map(|v| v[channel]).collect();
        let mean = boxed(&plane, width, height, reach);
        let square: Vec<f32> = plane.iter().map(|v| v * v).collect();
        let square = boxed(&square, width, height, reach);
        let slope: Vec<f32> = mean
            .iter()
            .zip(&square)
            .map(|(mean, square)| {
                let variance = (square - mean * mean).max(0.0);
                variance / (variance + even)
            })
            .collect();
        let base: Vec<f32> = mean.iter().zip(&slope).map(|(mean, slope)| mean * (1.0 - slope)).collect();
        let (slope, base) = (boxed(&slope, width, height, reach), boxed(&base, width, height, reach));
        let smooth = slope.iter().zip(&base).zip(&plane).map(|((slope, base), v)| slope * v + base);
        for (value, smooth) in canvas.light.iter_mut().zip(smooth) {
            value[channel] += strength * (smooth - value[channel]);
        }
    }
}

/// Means over squares of `2 reach + 1` pixels, fewer at the border.
fn boxed(plane: &[f32], width: usize, height: usize, reach: usize) -> Vec<f32> {
    let mut level = vec![0.0_f32; plane.len()];
    for (row, out) in plane.chunks_exact(width).zip(level.chunks_exact_mut(width)) {
        let mut sum: f32 = row[..reach.min(width)].iter().sum();
        for (x, value) in out.iter_mut().enumerate() {
            if x + reach < width {
                sum += row[x + reach];
            }
            if x > reach {
                sum -= row[x - reach - 1];
            }
            let count = (x + reach).min(width - 1) - x.saturating_sub(reach) + 1;
            *value = sum / count as f32;
        }
    }
    let mut out = vec![0.0_f32; plane.len()];
    let mut sums = vec![0.0_f32; width];
    let add = |sums: &mut [f32], row: usize, sign: f32| {
        for (sum, value) in sums.iter_mut().zip(&level[row * width..(row + 1) * width]) {
            *sum += sign * value;
        }
    };
    (0..reach.min(height)).for_each(|row| add(&mut sums, row, 1.0));
    for y in 0..height {
        if y + reach < height {
            add(&mut sums, y + reach, 1.0);
        }
        if y > reach {
            add(&mut sums, y - reach - 1, -1.0);
        }
        let count = ((y + reach).min(height - 1) - y.saturating_sub(reach) + 1) as f32;
        for (value, sum) in out[y * width..(y + 1) * width].iter_mut().zip(&sums) {
            *value = sum / count;
        }
    }
    out
}

/// Adds what brightness differs from its blurred self: halos along edges.
fn sharpen(canvas: &mut Canvas<3>, strength: f64) {
    if strength <= 0.0 {
        return;
    }
    let mut luma = Canvas::<1>::new(canvas.width, canvas.height);
    let of = |value: &[f32; 3]| LUMA.iter().zip(value).map(|(l, v)| l * v).sum::<f32>();
    for (luma, value) in luma.light.iter_mut().zip(&canvas.light) {
        luma[0] = of(value);
    }
    luma.blur(1.4);
    for (luma, value) in luma.light.iter().zip(&mut canvas.light) {
        let more = (strength as f32 * (of(value) - luma[0])).clamp(-0.3, 0.3);
        for channel in value.iter_mut() {
            *channel += more;
        }
    }
}

fn saturate(canvas: &mut Canvas<3>, factor: f64) {
    let factor = factor as f32;
    for value in &mut canvas.light {
        let grey: f32 = LUMA.iter().zip(value.iter()).map(|(l, v)| l * v).sum();
        for channel in value.iter_mut() {
            *channel = grey + factor * (*channel - grey);
        }
    }
}

fn whole_levels(canvas: &Canvas<3>) -> RgbImage {
    let bytes = canvas.light.iter().flatten().map(|v| (v.clamp(0.0, 1.0) * 255.0 + 0.5) as u8).collect();
    RgbImage::from_raw(canvas.width as u32, canvas.height as u32, bytes).unwrap_or_default()
}

/// Writes the picture, and reads and writes it once more for everybody who saved it again.
fn save(mut picture: RgbImage, phone: &Phone) -> Result<Vec<u8>, DrawError> {
    let mut jpeg = Vec::new();
    let last = phone.qualities.len().saturating_sub(1);
    for (index, quality) in phone.qualities.iter().enumerate() {
        if index > 0 {
            picture = image::load_from_memory(&jpeg).map_err(|e| DrawError::Encode(e.to_string()))?.to_rgb8();
        }
        if phone.is_subsampled {
            halve_colours(&mut picture);
        }
        let orientation = if index == last { phone.orientation } else { 1 };
        jpeg = develop::encode(std::mem::take(&mut picture), *quality, orientation, phone.film_focal_mm)?;
    }
    Ok(jpeg)
}

/// Gives each square of four pixels its mean colour and leaves each its brightness, as 4:2:0 does.
fn halve_colours(picture: &mut RgbImage) {
    let (width, height) = picture.dimensions();
    let luma = |p: &[u8; 3]| (0..3).map(|k| LUMA[k] * f32::from(p[k])).sum::<f32>();
    for (x, y) in (0..height / 2).flat_map(|y| (0..width / 2).map(move |x| (2 * x, 2 * y))) {
        let places = [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)];
        let pixels = places.map(|(x, y)| picture.get_pixel(x, y).0);
        let lumas = pixels.map(|p| luma(&p));
        let colour: [f32; 3] =
            std::array::from_fn(|k| (0..4).map(|i| f32::from(pixels[i][k]) - lumas[i]).sum::<f32>() * 0.25);
        for (i, (x, y)) in places.into_iter().enumerate() {
            let shown = std::array::from_fn(|k| (lumas[i] + colour[k]).clamp(0.0, 255.0) as u8);
            picture.put_pixel(x, y, image::Rgb(shown));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_over_squares_are_those_of_the_pixels_that_are_there() {
        let plane: Vec<f32> = (0..20).map(|v| v as f32).collect();
        // five pixels a row; the corner has four neighbours, (0 + 1 + 5 + 6)/4, the middle of the second row nine
        let means = boxed(&plane, 5, 4, 1);
        assert!((means[0] - 3.0).abs() < 1e-5 && (means[7] - 7.0).abs() < 1e-5, "{means:?}");
        assert!((means[19] - 16.0).abs() < 1e-4, "{means:?}");
    }

    #[test]
    fn half_the_colours_leave_brightness_and_the_mean_colour() {
        let mut picture =
            RgbImage::from_fn(2, 2, |x, _| image::Rgb(if x == 0 { [200, 40, 40] } else { [40, 60, 200] }));
        let before = picture.clone();
        halve_colours(&mut picture);
        for (now, then) in picture.pixels().zip(before.pixels()) {
            let luma = |p: &image::Rgb<u8>| (0..3).map(|k| LUMA[k] * f32::from(p.0[k])).sum::<f32>();
            assert!((luma(now) - luma(then)).abs() < 2.0, "{now:?} {then:?}");
        }
        let excess = |x| i32::from(picture.get_pixel(x, 0).0[0]) - i32::from(picture.get_pixel(x, 0).0[2]);
        assert!((excess(0) - excess(1)).abs() <= 2);
    }
}
