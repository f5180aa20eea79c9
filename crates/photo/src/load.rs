//! From a photograph's bytes to an upright picture, with limits checked before anything is allocated.

mod boxes;
mod directories;
mod heic;
mod raw;

use std::io::Cursor;

use exif::{Context, Exif, In, Tag, Value};
use image::{ColorType, DynamicImage, ImageFormat, ImageReader, Limits};
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use crate::error::{PhotoError, RAW_JPEG_PX};
use crate::picture::{Picture, Samples, ShotFacts};

/// How large a picture is taken; a larger one is refused before anything is allocated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DecodeLimits {
    /// Pixels at most.
    pub most_px: u64,
}

impl Default for DecodeLimits {
    /// Twice what the largest common camera gives (common practice, no source).
    fn default() -> Self {
        Self { most_px: 120_000_000 }
    }
}

impl DecodeLimits {
    /// Bytes the decoders may allocate: the largest picture with 16 bits in four channels.
    fn most_bytes(self) -> u64 {
        self.most_px.saturating_mul(8)
    }

    /// Refuses sizes that can't be a photograph of a ring.
    fn check(self, width: u64, height: u64) -> Result<(), PhotoError> {
        if width.saturating_mul(height) > self.most_px {
            return Err(self.too_large(width, height));
        }
        if width.min(height) < SMALLEST_SIDE_PX {
            return Err(PhotoError::TooSmall { width, height, limit_px: SMALLEST_SIDE_PX });
        }
        Ok(())
    }

    fn too_large(self, width: u64, height: u64) -> PhotoError {
        PhotoError::TooLarge { width, height, limit_mpx: self.most_px as f64 * 1e-6 }
    }
}

/// Smallest side on which a ring of some twenty pixels across could still be told from noise.
const SMALLEST_SIDE_PX: u64 = 64;

impl Picture {
    /// Decodes a photograph; its type is found from its content, its orientation tag is applied.
    ///
    /// - **Takes** the whole file.
    /// - **Gives** an upright picture with 1 or 3 channels of 8 or 16 bits.
    /// - **Fails** with [`PhotoError::UnknownKind`], [`PhotoError::TooLarge`] (before allocating),
    ///   [`PhotoError::TooSmall`], [`PhotoError::Truncated`], [`PhotoError::PrintingColours`], [`PhotoError::NoHeic`],
    ///   [`PhotoError::RawWithoutJpeg`] or [`PhotoError::Decode`].
    ///
    /// Of a raw photograph (DNG, CR2, CR3, NEF, ARW) the largest JPEG that the camera itself wrote into it is read.
    /// HEIC is read in builds with the feature `heic`.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, PhotoError> {
        Self::from_bytes_within(bytes, DecodeLimits::default())
    }

    /// The same within other limits.
    pub fn from_bytes_within(bytes: &[u8], limits: DecodeLimits) -> Result<Self, PhotoError> {
        if let Some(raw) = raw::raw_file(bytes) {
            return decode_raw(&raw, limits);
        }
        if heic::is_heic(bytes) {
            return heic::decode(bytes, read_facts(bytes, "HEIC"), limits);
        }
        let format = image::guess_format(bytes).map_err(|_| PhotoError::UnknownKind)?;
        let kind = match format {
            ImageFormat::Jpeg => "JPEG",
            ImageFormat::Png => "PNG",
            ImageFormat::WebP => "WebP",
            ImageFormat::Tiff => "TIFF",
            _ => return Err(PhotoError::UnknownKind),
        };
        let facts = read_facts(bytes, kind);
        if format == ImageFormat::Jpeg {
            decode_jpeg(bytes, facts, limits)
        } else {
            decode_other(bytes, format, facts, limits)
        }
    }
}

/// The JPEG inside, with what the raw file itself says of the shot: the JPEG has often lost its notes.
fn decode_raw(raw: &raw::RawFile<'_>, limits: DecodeLimits) -> Result<Picture, PhotoError> {
    let Some((jpeg, size_px)) = raw.jpeg.filter(|(_, [width, height])| *width.max(height) >= RAW_JPEG_PX)
    else {
        let found_px = raw.jpeg.map(|(_, size_px)| size_px);
        return Err(PhotoError::RawWithoutJpeg { kind: raw.kind, found_px });
    };
    decode_jpeg(jpeg, facts_of_raw(raw, size_px), limits)
}

fn decode_jpeg(bytes: &[u8], facts: ShotFacts, limits: DecodeLimits) -> Result<Picture, PhotoError> {
    let options =
        DecoderOptions::default().set_max_width(65_535).set_max_height(65_535).set_strict_mode(false);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| jpeg_error(&e, limits))?;
    let (width, height) = decoder.dimensions().ok_or(PhotoError::Truncated)?;
    limits.check(width as u64, height as u64)?;
    let (space, channels) = match decoder.input_colorspace() {
        Some(ColorSpace::CMYK | ColorSpace::YCCK) => return Err(PhotoError::PrintingColours),
        Some(ColorSpace::Luma) => (ColorSpace::Luma, 1),
        _ => (ColorSpace::RGB, 3),
    };
    if !jpeg_ends(bytes) {
        return Err(PhotoError::Truncated);
    }
    decoder.set_options(options.jpeg_set_out_colorspace(space));
    let samples = decoder.decode().map_err(|e| jpeg_error(&e, limits))?;
    Picture::from_samples(Samples::Eight(samples), width, height, channels, facts)
        .ok_or_else(|| PhotoError::Decode { reason: "the number of samples does not fit the size".into() })
}

/// Whether an end-of-image marker follows the last start of a scan; without it the decoder would fill with grey.
fn jpeg_ends(bytes: &[u8]) -> bool {
    let last = |marker: u8| bytes.windows(2).rposition(|w| w == [0xff, marker]);
    match (last(0xd9), last(0xda)) {
        (Some(end), Some(scan)) => end > scan,
        _ => false,
    }
}

fn jpeg_error(error: &DecodeErrors, limits: DecodeLimits) -> PhotoError {
    match error {
        DecodeErrors::ExhaustedData | DecodeErrors::IoErrors(_) => PhotoError::Truncated,
        DecodeErrors::LargeDimensions(side) => limits.too_large(*side as u64, *side as u64),
        // the decoder's own words are for programmers
        _ => PhotoError::Decode { reason: "its JPEG data are damaged".to_owned() },
    }
}

fn decode_other(
    bytes: &[u8],
    format: ImageFormat,
    facts: ShotFacts,
    allowed: DecodeLimits,
) -> Result<Picture, PhotoError> {
    let reader = || ImageReader::with_format(Cursor::new(bytes), format);
    let (width, height) = reader().into_dimensions().map_err(|e| image_error(&e))?;
    allowed.check(u64::from(width), u64::from(height))?;
    let mut limits = Limits::default();
    limits.max_alloc = Some(allowed.most_bytes());
    let mut whole = reader();
    whole.limits(limits);
    let decoded = whole.decode().map_err(|e| image_error(&e))?;
    let (samples, channels) = plain_samples(decoded);
    Picture::from_samples(samples, width as usize, height as usize, channels, facts)
        .ok_or_else(|| PhotoError::Decode { reason: "the number of samples does not fit the size".into() })
}

/// Drops transparency and keeps the depth: grey stays one channel.
fn plain_samples(decoded: DynamicImage) -> (Samples, usize) {
    match decoded.color() {
        ColorType::L8 | ColorType::La8 => (Samples::Eight(decoded.into_luma8().into_raw()), 1),
        ColorType::L16 | ColorType::La16 => (Samples::Sixteen(decoded.into_luma16().into_raw()), 1),
        ColorType::Rgb8 | ColorType::Rgba8 => (Samples::Eight(decoded.into_rgb8().into_raw()), 3),
        _ => (Samples::Sixteen(decoded.into_rgb16().into_raw()), 3),
    }
}

fn image_error(error: &image::ImageError) -> PhotoError {
    if let image::ImageError::IoError(io) = error
        && io.kind() == std::io::ErrorKind::UnexpectedEof
    {
        return PhotoError::Truncated;
    }
    let reason = one_line(&error.to_string());
    let short = ["end of file", "unexpected end", "fill whole buffer", "too short"];
    if short.iter().any(|s| reason.to_lowercase().contains(s)) {
        return PhotoError::Truncated;
    }
    PhotoError::Decode { reason }
}

/// A decoder's message on one line, shortened, without control characters.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(200).collect::<String>().trim().to_owned()
}

/// Reads the camera's own notes; a file without them is no fault.
fn read_facts(bytes: &[u8], kind: &'static str) -> ShotFacts {
    let read = reader().read_from_container(&mut Cursor::new(bytes));
    let bare = ShotFacts { kind, orientation_tag: 1, ..ShotFacts::default() };
    read.or_else(|e| e.distill_partial_result(|_| ())).map_or(bare, |exif| facts(&exif, Context::Exif, kind))
}

/// Many cameras leave small faults in their notes; what can be read is kept, above all the orientation.
fn reader() -> exif::Reader {
    let mut reader = exif::Reader::new();
    reader.continue_on_error(true);
    reader
}

/// A raw file's notes. The size that the camera wrote is that of its JPEG; a smaller preview of the same shape is no picture
/// cut down afterwards.
fn facts_of_raw(raw: &raw::RawFile<'_>, size_px: [usize; 2]) -> ShotFacts {
    let mut parts = raw.notes.iter().filter_map(|block| {
        let read = reader().read_raw(block.to_vec());
        read.or_else(|e| e.distill_partial_result(|_| ())).ok()
    });
    let mut known =
        parts.next().map_or_else(ShotFacts::default, |exif| facts(&exif, Context::Exif, raw.kind));
    if let Some(exif) = parts.next() {
        // exposure and lens stand in a block of their own, whose directory is its first
        let shot = facts(&exif, Context::Tiff, raw.kind);
        let camera = known.camera.take();
        known = ShotFacts { orientation_tag: known.orientation_tag, camera, ..shot };
    }
    ShotFacts {
        kind: raw.kind,
        orientation_tag: known.orientation_tag.max(1),
        written_px: Some(size_px.map(|n| n as f64)),
        ..known
    }
}

/// `shot`: where the tags about exposure and lens stand.
fn facts(exif: &Exif, shot: Context, kind: &'static str) -> ShotFacts {
    let of_shot = |tag: Tag| Tag(shot, tag.number());
    let shot_number = |tag: Tag| number(exif, of_shot(tag));
    let orientation = number(exif, Tag::Orientation).filter(|t| (1.0..=8.0).contains(t));
    ShotFacts {
        kind,
        orientation_tag: orientation.map_or(1, |t| t as u8),
        lens: text(exif, of_shot(Tag::LensModel)),
        camera: text(exif, Tag::Model),
        focal_length_mm: shot_number(Tag::FocalLength),
        focal_length_35mm: shot_number(Tag::FocalLengthIn35mmFilm),
        written_px: shot_number(Tag::PixelXDimension)
            .zip(shot_number(Tag::PixelYDimension))
            .map(|(x, y)| [x, y]),
        exposure_s: shot_number(Tag::ExposureTime),
        f_number: shot_number(Tag::FNumber),
        iso: shot_number(Tag::PhotographicSensitivity),
        taken_at: text(exif, of_shot(Tag::DateTimeOriginal)).or_else(|| text(exif, Tag::DateTime)),
    }
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    let value = match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(v) => v.first()?.to_f64(),
        other => f64::from(other.get_uint(0)?),
    };
    (value.is_finite() && value > 0.0).then_some(value)
}

fn text(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(parts) = &exif.get_field(tag, In::PRIMARY)?.value else { return None };
    let line = one_line(&String::from_utf8_lossy(parts.first()?));
    (!line.is_empty()).then_some(line)
}
