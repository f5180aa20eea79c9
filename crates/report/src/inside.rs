//! Pictures inside a page.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// A picture's address that holds the picture (RFC 2397, base 64 after RFC 4648 § 4).
pub(crate) fn data_uri(mime: &str, bytes: &[u8]) -> String {
    format!("data:{mime};base64,{}", STANDARD.encode(bytes))
}
