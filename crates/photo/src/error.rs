//! What can go wrong on a photograph, and what deserves a caution: a sentence and a remedy each.

use thiserror::Error;

/// Kinds of file that are read.
pub const KINDS: &str = if cfg!(feature = "heic") {
    "JPEG, HEIC, PNG, WebP, TIFF or raw (DNG, CR2, CR3, NEF, ARW)"
} else {
    "JPEG, PNG, WebP, TIFF or raw (DNG, CR2, CR3, NEF, ARW)"
};

/// Longer side of the smallest JPEG inside a raw file that is read: smaller ones are for the camera's screen.
pub(crate) const RAW_JPEG_PX: usize = 1000;

fn largest_in(found_px: Option<[usize; 2]>) -> String {
    found_px.map_or_else(|| "none".to_owned(), |[width, height]| format!("one of {width} × {height} at most"))
}

/// Why one photograph could not be measured; it never stops the others.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PhotoError {
    /// The content is no picture this program reads.
    #[error("the file must hold a {KINDS} picture; its content is none of these")]
    UnknownKind,
    /// A phone's HEIC file, in a build that doesn't read it.
    #[error(
        "this build reads JPEG, PNG, WebP and TIFF pictures and the JPEG inside raw files; this one is HEIC"
    )]
    NoHeic,
    /// A HEIC file that the decoder doesn't know its way about in.
    #[error("the picture can't be decoded: its HEIC data {what}")]
    HeicFault {
        /// What is wrong with them: `are damaged` or `are of a kind not read here`.
        what: &'static str,
    },
    /// A raw photograph in which the camera wrote no JPEG worth measuring on.
    #[error("a raw file must hold the camera's own JPEG, at least {RAW_JPEG_PX} pixels long; this {kind} file holds {}", largest_in(*.found_px))]
    RawWithoutJpeg {
        /// Kind of raw file.
        kind: &'static str,
        /// Width and height of the largest JPEG in it.
        found_px: Option<[usize; 2]>,
    },
    /// A JPEG with four colour components.
    #[error("the picture must be in grey or red-green-blue; this JPEG is in printing colours (CMYK)")]
    PrintingColours,
    /// More pixels declared than the program takes.
    #[error("the picture must have at most {limit_mpx} million pixels; it declares {width} × {height}")]
    TooLarge {
        /// Declared width in pixels.
        width: u64,
        /// Declared height in pixels.
        height: u64,
        /// Limit in millions of pixels.
        limit_mpx: f64,
    },
    /// Too few pixels to hold a ring.
    #[error("the picture must be at least {limit_px} pixels wide and high; it is {width} × {height}")]
    TooSmall {
        /// Width in pixels.
        width: u64,
        /// Height in pixels.
        height: u64,
        /// Smallest side in pixels.
        limit_px: u64,
    },
    /// The file ends before the picture does.
    #[error("the picture file must be whole; it ends before the picture does")]
    Truncated,
    /// The decoder gave up.
    #[error("the picture can't be decoded: {reason}")]
    Decode {
        /// The decoder's own words.
        reason: String,
    },
    /// Nothing on the photograph looks like the beam.
    #[error("the photograph must show a thin bright ring or arc; none was found ({why})")]
    NoRing {
        /// What the search saw instead.
        why: String,
    },
    /// Too little of the ring can be followed.
    #[error("at least {needed_deg:.0}° of the ring must be bright enough to follow; only {seen_deg:.0}° is")]
    ArcTooShort {
        /// Arc that could be followed, in degrees.
        seen_deg: f64,
        /// Arc needed, in degrees.
        needed_deg: f64,
    },
    /// Nothing on the side view runs as a helix.
    #[error("the side view must show the beam as a wave along a straight axis; none was found ({why})")]
    NoHelix {
        /// What the search saw instead.
        why: String,
    },
    /// Too little of a helix can be followed.
    #[error("at least {needed:.1} turns of the helix must be bright enough to follow; only {seen:.1} are")]
    TooFewTurns {
        /// Turns that could be followed.
        seen: f64,
        /// Turns needed.
        needed: f64,
    },
    /// The scale could not be found.
    #[error("the photograph must show the scale; none was found ({why})")]
    NoScale {
        /// What the search saw instead.
        why: String,
    },
    /// The scale is there but its marks can't be counted safely.
    #[error("the marks of the scale must be countable; {why}")]
    ScaleUnclear {
        /// What stands in the way.
        why: String,
    },
}

impl PhotoError {
    /// What to try, in one sentence without a full stop.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::UnknownKind => "copy the photograph from the camera again, or export it as JPEG or PNG",
            Self::NoHeic => {
                "set the phone's camera to write JPEG (“most compatible”, or high efficiency off) and send the file as it is, export this one as JPEG, or build with `cargo build --release --features heic`"
            }
            Self::HeicFault { .. } => {
                "copy the photograph from the phone again, or export it as JPEG; set the phone's camera to write JPEG (“most compatible”, or high efficiency off)"
            }
            Self::RawWithoutJpeg { .. } => {
                "set the camera to write RAW + JPEG and use the JPEG, or export the raw file as JPEG or 16-bit TIFF at full size"
            }
            Self::PrintingColours => "export the photograph again in RGB colours",
            Self::TooLarge { .. } => {
                "export the photograph at a smaller size, or raise the limit: `arcmass rings --largest MEGAPIXELS`"
            }
            Self::TooSmall { .. } => "use the photograph as it came from the camera, not its preview",
            Self::Truncated => "copy the photograph from the camera again; this copy is not complete",
            Self::Decode { .. } => "open it in a picture viewer and save it again as JPEG or PNG",
            Self::NoRing { .. } => {
                "darken the room or expose for longer, focus on the beam, or mark points on the beam by hand"
            }
            Self::ArcTooShort { .. } => "darken the room or expose for longer, then photograph again",
            Self::NoHelix { .. } => {
                "look straight across the coils' axis with the whole helix in the frame, in a dark room, and photograph again"
            }
            Self::TooFewTurns { .. } => {
                "raise the coil current or turn the tube less until a whole turn is in the frame, then photograph again"
            }
            Self::NoScale { .. } => {
                "mark two numbers of the scale and type what they say, or photograph the scale again, sharp, evenly lit and filling the frame"
            }
            Self::ScaleUnclear { .. } => {
                "mark two numbers of the scale and type what they say, or photograph more of it, larger and sharp, with no part covered, and check spacing under [scale]"
            }
        }
    }
}

/// A caution that travels with a measured ring to page, print and file.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoCaveat {
    /// Stable code in lower case with hyphens, such as `short-arc`.
    pub code: &'static str,
    /// What must be and what was found, lower case, no full stop.
    pub sentence: String,
    /// What to try, lower case, no full stop.
    pub remedy: String,
}

impl PhotoCaveat {
    /// A caveat from its three parts.
    pub fn new(code: &'static str, sentence: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, sentence: sentence.into(), remedy: remedy.into() }
    }
}
