//! Bytes as text for pictures inside a page (RFC 4648, section 4).

const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// The bytes in base 64, padded.
pub(crate) fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let joined = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            let letter = (joined >> (18 - 6 * place)) & 63;
            let is_padding = place > chunk.len();
            text.push(if is_padding { '=' } else { char::from(LETTERS[letter as usize]) });
        }
    }
    text
}

/// A picture's address that holds the picture.
pub(crate) fn data_uri(mime: &str, bytes: &[u8]) -> String {
    format!("data:{mime};base64,{}", encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vectors_of_the_standard() {
        // RFC 4648, section 10
        let vectors = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in vectors {
            assert_eq!(encode(plain.as_bytes()), coded);
        }
        assert_eq!(encode(&[0xff, 0xfe, 0xfd]), "//79");
    }
}
