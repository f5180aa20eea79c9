//! A photograph looked at by itself: is it one, how large is it, a small copy to show.

use arcmass_photo::overlay::Overlay;
use arcmass_photo::{PhotoError, Picture};

/// Width of the copy on which the brightness is read, pixels.
const COPY_PX: usize = 200;

/// What a photograph is.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoFacts {
    /// Upright, pixels.
    pub width_px: usize,
    /// Upright, pixels.
    pub height_px: usize,
    /// When it was taken, as the camera wrote it.
    pub taken_at: Option<String>,
    /// Mean level of all pixels as displayed, 0 to 1: a lit bench is several times as bright as a ring in the dark.
    pub brightness: f64,
}

impl PhotoFacts {
    fn of(picture: &Picture) -> Self {
        let factor = picture.width().max(picture.height()).div_ceil(COPY_PX).max(1);
        let (_, _, rgb) = picture.reduced_rgb8(factor);
        let sum: f64 = rgb.iter().map(|&level| f64::from(level)).sum();
        Self {
            width_px: picture.width(),
            height_px: picture.height(),
            taken_at: picture.facts().taken_at.clone(),
            brightness: sum / (255.0 * rgb.len().max(1) as f64),
        }
    }
}

/// Decodes a photograph's bytes to see that they are one.
///
/// - **Fails** as [`Picture::from_bytes`] does: unknown kind, too large, truncated, damaged.
pub fn inspect(bytes: &[u8]) -> Result<PhotoFacts, PhotoError> {
    Ok(PhotoFacts::of(&Picture::from_bytes(bytes)?))
}

/// A small upright JPEG whose longer side has at most about `most_px` pixels.
///
/// - **Fails** as [`inspect`] does.
pub fn preview(bytes: &[u8], most_px: usize) -> Result<Vec<u8>, PhotoError> {
    let picture = Picture::from_bytes(bytes)?;
    let factor = picture.width().max(picture.height()).div_ceil(most_px.max(1)).max(1);
    let (width, height, rgb) = picture.reduced_rgb8(factor);
    let small = Picture::from_rgb8(width, height, rgb);
    let jpeg = small.and_then(|small| Overlay::new(&small).to_jpeg());
    jpeg.ok_or_else(|| PhotoError::Decode { reason: "it can't be reduced".to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_photograph_is_said_and_a_photograph_is_reduced() {
        for bytes in [&b""[..], b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"\xff\xd8\xff\xe0garbage"] {
            assert!(inspect(bytes).is_err() && preview(bytes, 100).is_err());
        }
        let grey = Picture::from_rgb8(400, 300, vec![90; 400 * 300 * 3]).map(|p| Overlay::new(&p).to_jpeg());
        let jpeg = grey.flatten().unwrap_or_default();
        let facts = inspect(&jpeg).unwrap_or_else(|fault| unreachable!("{fault}"));
        assert_eq!((facts.width_px, facts.height_px), (400, 300));
        assert!((facts.brightness - 90.0 / 255.0).abs() < 0.02, "{}", facts.brightness);
        let small = inspect(&preview(&jpeg, 100).unwrap_or_default()).ok();
        assert_eq!(small.map(|facts| facts.width_px), Some(100));
    }
}
