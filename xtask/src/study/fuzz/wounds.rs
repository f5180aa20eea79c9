//! Photographs with wounds: in the file's bytes anywhere, in the picture data of a JPEG only, or in the picture itself.

use arcmass_photo::Picture;
use arcmass_photo::scale::ScaleKind;

use super::super::photographs::{Small, dice::Dice, small_photographs};
use crate::repository;

/// Shortest side that is left when a picture is cut down.
const LEAST_SIDE_PX: usize = 64;

/// A photograph to wound.
pub(super) struct Source {
    bytes: Vec<u8>,
    /// What to look for on it.
    kind: ScaleKind,
    /// Decoded, where it is a photograph of the bench: width, height, rows of red, green and blue.
    picture: Option<(usize, usize, Vec<u8>)>,
}

/// How a file is wounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Manner {
    /// Anywhere in its bytes: mostly the decoders have to refuse it.
    Bytes,
    /// In the picture data of a JPEG, which then mostly decodes to a torn picture.
    Data,
    /// In the decoded picture: covered, torn, cut down, over- and underexposed, noisy.
    Pixels,
}

impl Manner {
    /// The manners take turns.
    pub(super) fn of(run: u64) -> Self {
        [Self::Bytes, Self::Data, Self::Pixels][(run % 3) as usize]
    }
}

/// A wounded photograph: a file, or a picture that needs no decoding.
pub(super) enum Wounded {
    File(Vec<u8>),
    Picture(Box<Picture>),
}

impl Wounded {
    /// One of the sources with a few wounds, and what to look for on it.
    pub(super) fn by_lot(sources: &[Source], manner: Manner, dice: &mut Dice) -> Option<(Self, ScaleKind)> {
        let benches = sources.iter().filter(|source| source.picture.is_some()).count();
        // the photographs of the bench stand first
        let reach = if manner == Manner::Bytes { sources.len() } else { benches };
        let source = sources.get(dice.below(reach))?;
        // now and then something else is looked for than what is there
        let kind = match dice.below(8) {
            0 => ScaleKind::Ruler,
            1 => ScaleKind::Grid,
            2 => ScaleKind::Board,
            _ => source.kind,
        };
        let wounded = match (manner, &source.picture) {
            (Manner::Pixels, Some(picture)) => Self::Picture(Box::new(in_pixels(picture, dice)?)),
            (Manner::Data, _) => Self::File(in_data(&source.bytes, dice)),
            _ => Self::File(in_bytes(sources, source, dice)),
        };
        Some((wounded, kind))
    }
}

/// Drawn photographs of rings and scales, and every kind of file.
pub(super) fn sources() -> Result<Vec<Source>, String> {
    let mut all = Vec::new();
    for Small { jpeg, kind } in small_photographs()? {
        let picture = Picture::from_bytes(&jpeg).map_err(|fault| fault.to_string())?;
        let (width, height) = (picture.width(), picture.height());
        let rows = (0..height as isize).flat_map(|y| (0..width as isize).map(move |x| (x, y)));
        let rgb = rows.flat_map(|(x, y)| picture.rgb8(x, y)).collect();
        all.push(Source { bytes: jpeg, kind, picture: Some((width, height, rgb)) });
    }
    let folder = repository::root().join("tests/data/decode");
    let mut names: Vec<_> = std::fs::read_dir(&folder)
        .map_err(|fault| format!("{}: {fault}", folder.display()))?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|kind| kind != "txt"))
        .collect();
    names.sort();
    for path in names {
        let bytes = std::fs::read(&path).map_err(|fault| format!("{}: {fault}", path.display()))?;
        all.push(Source { bytes, kind: ScaleKind::Ruler, picture: None });
    }
    Ok(all)
}

/// Up to eight wounds anywhere.
fn in_bytes(sources: &[Source], source: &Source, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = source.bytes.clone();
    for _ in 0..1 + dice.below(8) {
        wound(&mut bytes, sources, dice);
    }
    bytes
}

fn wound(bytes: &mut Vec<u8>, sources: &[Source], dice: &mut Dice) {
    if bytes.is_empty() {
        return;
    }
    // headers steer the decoder: every other wound lies there
    let reach = if dice.below(2) == 0 { bytes.len().min(700) } else { bytes.len() };
    let at = dice.below(reach);
    match dice.below(9) {
        0 | 1 => bytes[at] ^= 1 << dice.below(8),
        2 => bytes[at] = [0, 1, 0x7f, 0x80, 0xfe, 0xff][dice.below(6)],
        3 => bytes[at] = dice.below(256) as u8,
        // sizes and offsets are two or four bytes long
        4 => {
            let value = [0_u32, 1, 0xffff, 0x10000, 0x7fff_ffff, 0xffff_ffff][dice.below(6)];
            for (slot, byte) in bytes.iter_mut().skip(at).zip(value.to_be_bytes()) {
                *slot = byte;
            }
        }
        5 => bytes.truncate(at.max(1)),
        6 => {
            let end = (at + 1 + dice.below(64)).min(bytes.len());
            bytes.drain(at..end);
        }
        7 => {
            let end = (at + 1 + dice.below(200)).min(bytes.len());
            let part = bytes[at..end].to_vec();
            bytes.splice(at..at, part);
        }
        _ => {
            let other = &sources[dice.below(sources.len())].bytes;
            let from = dice.below(other.len().max(1));
            let end = (from + 1 + dice.below(2000)).min(other.len());
            for (slot, byte) in bytes.iter_mut().skip(at).zip(&other[from.min(end)..end]) {
                *slot = *byte;
            }
        }
    }
}

/// A few bytes of a JPEG's picture data changed; no marker is made or broken.
fn in_data(jpeg: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = jpeg.to_vec();
    // the picture data begin after the last start of a scan (ff da) and its header of some twelve bytes
    let start = bytes.windows(2).rposition(|pair| pair == [0xff, 0xda]).map_or(0, |at| at + 16);
    for _ in 0..1 + dice.below(4) {
        let at = start + dice.below(bytes.len().saturating_sub(start + 4).max(1));
        let fresh = dice.below(255) as u8;
        let is_marker = |k: usize| bytes.get(k).is_none_or(|&byte| byte == 0xff);
        if !is_marker(at) && !is_marker(at.saturating_sub(1)) {
            bytes[at] = fresh;
        }
    }
    bytes
}

/// Up to five wounds of the picture.
fn in_pixels((width, height, rgb): &(usize, usize, Vec<u8>), dice: &mut Dice) -> Option<Picture> {
    let (mut width, mut height, mut rgb) = (*width, *height, rgb.clone());
    for _ in 0..1 + dice.below(5) {
        match dice.below(8) {
            0 | 1 => cover(width, height, &mut rgb, dice),
            2 => torn(width, height, &mut rgb, dice),
            3 => exposed(&mut rgb, dice),
            4 => noisy(&mut rgb, dice),
            5 => (width, height, rgb) = cut_down(width, height, &rgb, dice),
            6 => one_channel(&mut rgb, dice),
            _ => lined(width, height, &mut rgb, dice),
        }
    }
    Picture::from_rgb8(width, height, rgb)
}

/// A place and a size within.
fn part(whole: usize, dice: &mut Dice) -> (usize, usize) {
    let from = dice.below(whole);
    (from, (from + 1 + dice.below(whole / 3 + 1)).min(whole))
}

/// A patch of one colour, as a hand or a lamp in the way.
fn cover(width: usize, height: usize, rgb: &mut [u8], dice: &mut Dice) {
    let ((left, right), (top, foot)) = (part(width, dice), part(height, dice));
    let colour = if dice.below(2) == 0 {
        [[0; 3], [255; 3]][dice.below(2)]
    } else {
        [0; 3].map(|_: i32| dice.below(256) as u8)
    };
    for y in top..foot {
        for pixel in rgb[3 * (y * width + left)..3 * (y * width + right)].chunks_exact_mut(3) {
            pixel.copy_from_slice(&colour);
        }
    }
}

/// A band of rows moved sideways, as torn picture data do.
fn torn(width: usize, height: usize, rgb: &mut [u8], dice: &mut Dice) {
    let (top, foot) = part(height, dice);
    let by = 3 * dice.below(width);
    for row in rgb[3 * top * width..3 * foot * width].chunks_exact_mut(3 * width) {
        row.rotate_left(by);
    }
}

/// All brighter or darker, or turned into its negative.
fn exposed(rgb: &mut [u8], dice: &mut Dice) {
    let gain = dice.between(-3.0, 3.0).exp();
    let is_negative = dice.below(6) == 0;
    for byte in rgb {
        *byte = (f64::from(*byte) * gain).clamp(0.0, 255.0) as u8;
        *byte = if is_negative { 255 - *byte } else { *byte };
    }
}

fn noisy(rgb: &mut [u8], dice: &mut Dice) {
    let most = 1 + dice.below(120) as i16;
    for byte in rgb {
        let step = (dice.whole() % (2 * most as u64 + 1)) as i16 - most;
        *byte = (i16::from(*byte) + step).clamp(0, 255) as u8;
    }
}

/// A window of the picture.
fn cut_down(width: usize, height: usize, rgb: &[u8], dice: &mut Dice) -> (usize, usize, Vec<u8>) {
    let side = |whole: usize, dice: &mut Dice| {
        let wide = (LEAST_SIDE_PX + dice.below(whole)).min(whole);
        (dice.below(whole - wide + 1), wide)
    };
    let ((left, wide), (top, high)) = (side(width, dice), side(height, dice));
    let rows = (top..top + high).map(|y| 3 * (y * width + left));
    (wide, high, rows.flat_map(|at| rgb[at..at + 3 * wide].iter().copied()).collect())
}

/// One channel lost, or copied over the others.
fn one_channel(rgb: &mut [u8], dice: &mut Dice) {
    let (channel, is_lost) = (dice.below(3), dice.below(2) == 0);
    for pixel in rgb.chunks_exact_mut(3) {
        if is_lost { pixel[channel] = 0 } else { pixel.fill(pixel[channel]) }
    }
}

/// Bright or dark lines at even distances, which look like a scale's marks.
fn lined(width: usize, height: usize, rgb: &mut [u8], dice: &mut Dice) {
    let (every, wide) = (2 + dice.below(40), 1 + dice.below(4));
    let (is_upright, light) = (dice.below(2) == 0, [0, 255][dice.below(2)]);
    let (top, foot) = part(height, dice);
    for y in top..foot {
        for x in 0..width {
            if (if is_upright { x } else { y }) % every < wide {
                rgb[3 * (y * width + x)..3 * (y * width + x) + 3].fill(light);
            }
        }
    }
}
