//! Photographs as phones write them: HEIC, read in builds with the feature `heic`.

#[cfg(feature = "heic")]
mod coded_size;

use super::{DecodeLimits, boxes};
use crate::error::PhotoError;
use crate::picture::{Picture, ShotFacts};

/// Brands of still pictures packed as HEVC (ISO/IEC 23008-12, annex B).
const BRANDS: [&[u8; 4]; 4] = [b"heic", b"heix", b"heim", b"heis"];

/// Whether the bytes are a HEIC file.
pub(super) fn is_heic(bytes: &[u8]) -> bool {
    boxes::brands(bytes).iter().any(|brand| BRANDS.contains(&brand))
}

/// Refused with what to set on the phone.
#[cfg(not(feature = "heic"))]
pub(super) fn decode(_: &[u8], _: ShotFacts, _: DecodeLimits) -> Result<Picture, PhotoError> {
    Err(PhotoError::NoHeic)
}

/// The picture, turned as the file's own properties say; its orientation tag only repeats them
/// (ISO/IEC 23008-12, 6.5.10 and A.2.1).
#[cfg(feature = "heic")]
pub(super) fn decode(bytes: &[u8], facts: ShotFacts, limits: DecodeLimits) -> Result<Picture, PhotoError> {
    use crate::picture::Samples;
    use heic_rs::PixelLayout;

    let info = heic_rs::probe(bytes).map_err(|e| fault(&e))?;
    limits.check(u64::from(info.width), u64::from(info.height))?;
    check_tiles(bytes, limits)?;
    let is_deep = info.bit_depth > 8;
    let layout = if is_deep { PixelLayout::Rgb16 } else { PixelLayout::Rgb8 };
    let options = heic_rs::DecodeOptions::default()
        .with_layout(layout)
        .with_alpha(false)
        .with_max_pixels(Some(limits.most_px));
    let image = heic_rs::decode(bytes, &options).map_err(|e| fault(&e))?;
    let samples = if is_deep {
        let pairs = image.data.chunks_exact(2);
        Samples::Sixteen(pairs.map(|two| u16::from_ne_bytes([two[0], two[1]])).collect())
    } else {
        Samples::Eight(image.data)
    };
    let upright = ShotFacts { orientation_tag: 1, ..facts };
    Picture::from_samples(samples, image.width as usize, image.height as usize, 3, upright)
        .ok_or(PhotoError::HeicFault { what: "are damaged" })
}

/// Coded pieces overhang the picture at its right and lower border; all together may be this many times what is allowed.
#[cfg(feature = "heic")]
const MOST_CODED: u64 = 2;

/// The size of every coded piece as its own data state it: they, not the file's word, decide what is allocated.
#[cfg(feature = "heic")]
fn check_tiles(bytes: &[u8], limits: DecodeLimits) -> Result<(), PhotoError> {
    let damaged = || PhotoError::HeicFault { what: "are damaged" };
    let context = heic_rs::context::Context::open(bytes).map_err(|e| fault(&e))?;
    let primary = context.meta.primary;
    let grid = context.grid(primary).map_err(|e| fault(&e))?;
    let pieces = grid.map_or_else(|| vec![primary], |(_, tiles)| tiles);
    let mut left = MOST_CODED.saturating_mul(limits.most_px);
    for piece in pieces {
        let properties = context.props(piece).map_err(|e| fault(&e))?;
        let packing = properties.hvcc.as_ref().ok_or_else(damaged)?;
        let sizes = packing.parameter_sets().into_iter().filter_map(coded_size::coded_size);
        let [width, height] = sizes.max_by_key(|[w, h]| w.saturating_mul(*h)).ok_or_else(damaged)?;
        left =
            left.checked_sub(width.saturating_mul(height)).ok_or_else(|| limits.too_large(width, height))?;
    }
    Ok(())
}

#[cfg(feature = "heic")]
fn fault(error: &heic_rs::Error) -> PhotoError {
    match error {
        heic_rs::Error::Truncated(_) => PhotoError::Truncated,
        heic_rs::Error::Unsupported(_) => PhotoError::HeicFault { what: "are of a kind not read here" },
        // the decoder's own words are for programmers
        _ => PhotoError::HeicFault { what: "are damaged" },
    }
}
