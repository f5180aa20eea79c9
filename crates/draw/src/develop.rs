//! From light to a JPEG: exposure, noise, the transfer curve, hot pixels, orientation and compression.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder, RgbImage, imageops};
use rand::Rng;
use rand_pcg::Pcg64;

use crate::camera::View;
use crate::canvas::Canvas;
use crate::error::DrawError;
use crate::glyphs;
use crate::noise::NormalTable;
use crate::scene::Sensor;

/// Entries of the transfer table between no light and saturation.
const CURVE_STEPS: usize = 1 << 15;
/// Linear light at which the shoulder of the transfer curve begins; above it highlights are compressed.
const SHOULDER: f64 = 0.8;
/// The words in the corner of every picture.
pub(crate) const LABEL: &str = "drawn picture";

/// Turns light into the bytes of a JPEG.
pub(crate) fn develop(
    mut canvas: Canvas<3>,
    view: &View,
    sensor: &Sensor,
    seed: u64,
) -> Result<Vec<u8>, DrawError> {
    canvas.blur(sensor.blur_px);
    label(&mut canvas);
    encode(expose(&canvas, view, sensor, seed), sensor.jpeg_quality, sensor.orientation, None)
}

/// Share of the light that the label's plate lets through.
const PLATE: f32 = 0.3;
/// Light of the label's letters on any ground.
const LETTERS: f32 = 0.14;

/// Writes the label into the lower left corner: light letters on a plate that dims what lies behind, so that they can
/// be read in a dark room and a lit one.
pub(crate) fn label(canvas: &mut Canvas<3>) {
    let height = (canvas.height as f64 * 0.013).max(9.0);
    let (x0, y0) = (height * 1.2, canvas.height as f64 - height * 1.2);
    let right = (x0 + glyphs::width(LABEL, height)) as usize + 2;
    let (top, foot) = ((y0 - 1.4 * height).max(0.0) as usize, (y0 + 0.6 * height) as usize);
    for y in top..foot.min(canvas.height) {
        for x in 0..right.min(canvas.width) {
            let ink = glyphs::ink(LABEL, height, x as f64 - x0, y0 - y as f64, 1.0) as f32;
            for value in &mut canvas.row_mut(y)[x] {
                let plate = *value * PLATE;
                *value = plate + (LETTERS + *value - plate) * ink;
            }
        }
    }
}

/// Adds what the sensor adds and rounds to whole levels.
fn expose(canvas: &Canvas<3>, view: &View, sensor: &Sensor, seed: u64) -> RgbImage {
    let curve = transfer_curve();
    let normal = NormalTable::new();
    let mut random = Pcg64::new(u128::from(seed), 0xA02_BDBF_7BB3_C0A7);
    let (read, shot) =
        ((sensor.read_noise * sensor.read_noise) as f32, (sensor.shot_noise * sensor.shot_noise) as f32);
    let noisy = read + shot > 0.0;
    let mut bytes = vec![0_u8; canvas.width * canvas.height * 3];
    let rows = bytes.chunks_exact_mut(canvas.width * 3);
    for (y, out) in rows.enumerate() {
        for (x, (value, out)) in canvas.row(y).iter().zip(out.chunks_exact_mut(3)).enumerate() {
            let gain = (sensor.exposure * fall_off(view, x, y, sensor.vignetting)) as f32;
            let deviates = if noisy { normal.four(&mut random) } else { [0.0; 4] };
            for channel in 0..3 {
                let light = value[channel] * gain;
                // One deviate is shared by the channels: neighbouring colours are interpolated on a sensor.
                let noise = 0.8 * deviates[channel] + 0.6 * deviates[3];
                let light = light + noise * (read + shot * light.clamp(0.0, 1.0)).sqrt();
                let step = (light.clamp(0.0, 1.5) * (CURVE_STEPS as f32)) as usize;
                out[channel] = curve[step.min(curve.len() - 1)];
            }
        }
    }
    add_hot_pixels(&mut bytes, sensor.hot_pixels, &mut random);
    RgbImage::from_raw(canvas.width as u32, canvas.height as u32, bytes).unwrap_or_default()
}

/// Light that reaches a pixel, against the middle: the fourth power of the cosine of the angle of incidence.
fn fall_off(view: &View, x: usize, y: usize, vignetting: f64) -> f64 {
    let across = (x as f64 - 0.5 * view.width as f64) / view.focal_px;
    let down = (y as f64 - 0.5 * view.height as f64) / view.focal_px;
    let square = 1.0 + across * across + down * down;
    1.0 - vignetting + vignetting / (square * square)
}

/// Levels for linear light from 0 to 1.5: a shoulder, then the sRGB curve (IEC 61966-2-1).
fn transfer_curve() -> Vec<u8> {
    (0..=CURVE_STEPS * 3 / 2)
        .map(|step| {
            let light = (step as f64 + 0.5) / CURVE_STEPS as f64;
            let over = light - SHOULDER;
            let room = 1.0 - SHOULDER;
            let held = if over > 0.0 { SHOULDER + room * (1.0 - libm::exp(-over / room)) } else { light };
            let coded =
                if held <= 0.003_130_8 { 12.92 * held } else { 1.055 * libm::pow(held, 1.0 / 2.4) - 0.055 };
            (coded * 255.0 + 0.5) as u8
        })
        .collect()
}

fn add_hot_pixels(bytes: &mut [u8], count: u32, random: &mut Pcg64) {
    for _ in 0..count {
        let place = (random.next_u64() % bytes.len() as u64) as usize;
        bytes[place] = bytes[place].max(90 + (random.next_u32() % 160) as u8);
    }
}

/// Turns the pixels so that the tag brings them upright, and writes them.
pub(crate) fn encode(
    upright: RgbImage,
    quality: u8,
    orientation: u8,
    film_focal_mm: Option<u16>,
) -> Result<Vec<u8>, DrawError> {
    let stored = match orientation {
        2 => imageops::flip_horizontal(&upright),
        3 => imageops::rotate180(&upright),
        4 => imageops::flip_vertical(&upright),
        5 => imageops::flip_horizontal(&imageops::rotate90(&upright)),
        6 => imageops::rotate270(&upright),
        7 => imageops::flip_horizontal(&imageops::rotate270(&upright)),
        8 => imageops::rotate90(&upright),
        _ => upright,
    };
    let mut jpeg = Vec::with_capacity(stored.len() / 8);
    let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, quality);
    encoder
        .set_exif_metadata(exif(orientation, film_focal_mm))
        .map_err(|e| DrawError::Encode(e.to_string()))?;
    let (width, height) = stored.dimensions();
    encoder
        .write_image(&stored, width, height, ExtendedColorType::Rgb8)
        .map_err(|e| DrawError::Encode(e.to_string()))?;
    Ok(jpeg)
}

/// What the picture is, its orientation, and the lens where one is known (Exif 2.32, TIFF 6.0 § 2).
///
/// The lens is a focal length on film of 36 mm × 24 mm; it stands in a directory of its own, behind the first one.
fn exif(orientation: u8, film_focal_mm: Option<u16>) -> Vec<u8> {
    let words = b"drawn picture, simulated\0";
    let entries: u16 = if film_focal_mm.is_some() { 3 } else { 2 };
    let text_at: u32 = 8 + 2 + u32::from(entries) * 12 + 4;
    // the second directory begins on an even byte
    let lens_at = text_at + (words.len() as u32).next_multiple_of(2);
    let mut block = b"II\x2a\x00\x08\x00\x00\x00".to_vec();
    block.extend(entries.to_le_bytes());
    block.extend(exif_entry(0x010E, 2, words.len() as u32, text_at));
    block.extend(exif_entry(0x0112, 3, 1, u32::from(orientation)));
    if film_focal_mm.is_some() {
        block.extend(exif_entry(0x8769, 4, 1, lens_at));
    }
    block.extend([0; 4]);
    block.extend(words);
    if let Some(focal_mm) = film_focal_mm {
        block.resize(lens_at as usize, 0);
        block.extend(1_u16.to_le_bytes());
        block.extend(exif_entry(0xA405, 3, 1, u32::from(focal_mm)));
        block.extend([0; 4]);
    }
    block
}

/// Tag, type, count, and value or place.
fn exif_entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    let mut entry = tag.to_le_bytes().to_vec();
    entry.extend(kind.to_le_bytes());
    entry.extend(count.to_le_bytes());
    entry.extend(value.to_le_bytes());
    entry
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{DynamicImage, ImageDecoder, ImageReader};

    #[test]
    fn the_label_stands_out_from_a_dark_a_middling_and_a_light_ground() {
        for ground in [0.0, 0.1, 0.18, 0.36, 0.8] {
            let mut canvas = Canvas::<3>::new(1200, 800);
            canvas.light.fill([ground; 3]);
            label(&mut canvas);
            let place = |(x, y): (usize, usize)| canvas.row(y)[x][0];
            let corner: Vec<f32> =
                (0..120).flat_map(|x| (770..800).map(move |y| (x, y))).map(place).collect();
            let lightest = corner.iter().copied().fold(0.0, f32::max);
            let darkest = corner.iter().copied().fold(1.0, f32::min);
            // contrast of large letters, with 0.05 for stray light: WCAG 2.2, 1.4.3 (from memory)
            assert!((lightest + 0.05) / (darkest + 0.05) >= 3.0, "{ground}: {lightest} on {darkest}");
            assert_eq!(canvas.row(400)[600][0], ground, "the rest of the picture is left alone");
        }
    }

    #[test]
    fn every_orientation_tag_brings_the_picture_upright() {
        let mut upright = RgbImage::from_pixel(48, 32, image::Rgb([20, 20, 20]));
        for (x, y) in (0..16).flat_map(|x| (0..8).map(move |y| (x, y))) {
            upright.put_pixel(x, y, image::Rgb([240, 240, 240]));
        }
        for orientation in 1..=8 {
            let jpeg = encode(upright.clone(), 100, orientation, Some(26)).unwrap();
            let mut decoder = ImageReader::new(std::io::Cursor::new(jpeg))
                .with_guessed_format()
                .unwrap()
                .into_decoder()
                .unwrap();
            let tag = decoder.orientation().unwrap();
            assert_eq!(tag.to_exif(), orientation);
            let mut picture = DynamicImage::from_decoder(decoder).unwrap();
            picture.apply_orientation(tag);
            let shown = picture.to_rgb8();
            assert_eq!(shown.dimensions(), (48, 32));
            let worst = shown.pixels().zip(upright.pixels()).map(|(a, b)| a.0[0].abs_diff(b.0[0])).max();
            assert!(worst < Some(12), "orientation {orientation}: {worst:?}");
        }
    }
}
