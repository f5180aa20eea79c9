//! How large a picture a HEVC sequence parameter set asks for: that, not the file's word, decides what is allocated.

/// Type of a sequence parameter set among HEVC's units (ITU-T H.265, table 7-1).
const SEQUENCE: u8 = 33;

/// Width and height, before any cropping, that a unit of HEVC data declares; `None` where it is no sequence parameter set, or
/// ends too early.
///
/// Source: ITU-T H.265 (08/2021), 7.3.1, 7.3.2.2 and 7.3.3.
pub(super) fn coded_size(unit: &[u8]) -> Option<[u64; 2]> {
    if (unit.first()? >> 1) & 0x3f != SEQUENCE {
        return None;
    }
    let mut bits = Bits { bytes: without_guards(unit.get(2..)?), at: 0 };
    bits.skip(4)?;
    let sub_layers = bits.take(3)?;
    bits.skip(1)?;
    skip_profile(&mut bits, sub_layers)?;
    bits.golomb()?; // the set's number
    if bits.golomb()? == 3 {
        bits.skip(1)?; // whether its colour planes are apart
    }
    Some([bits.golomb()?, bits.golomb()?])
}

fn skip_profile(bits: &mut Bits, sub_layers: u64) -> Option<()> {
    const PROFILE: usize = 88;
    const LEVEL: usize = 8;
    bits.skip(PROFILE + LEVEL)?;
    let mut more = 0;
    for _ in 0..sub_layers {
        more += PROFILE * usize::from(bits.take(1)? == 1) + LEVEL * usize::from(bits.take(1)? == 1);
    }
    if sub_layers > 0 {
        bits.skip(2 * (8 - sub_layers as usize))?;
    }
    bits.skip(more)
}

/// The data without the 3 that guards each pair of zero bytes.
fn without_guards(unit: &[u8]) -> Vec<u8> {
    // what is read here stands in the first hundred bytes
    let unit = unit.get(..200).unwrap_or(unit);
    let is_guard = |k: usize| k >= 2 && unit[k] == 3 && unit[k - 1] == 0 && unit[k - 2] == 0;
    (0..unit.len()).filter(|k| !is_guard(*k)).map(|k| unit[k]).collect()
}

/// Bits, the highest of each byte first.
struct Bits {
    bytes: Vec<u8>,
    at: usize,
}

impl Bits {
    fn skip(&mut self, count: usize) -> Option<()> {
        self.at += count;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }

    fn take(&mut self, count: u32) -> Option<u64> {
        let mut value = 0;
        for _ in 0..count {
            let byte = self.bytes.get(self.at / 8)?;
            value = value << 1 | u64::from(byte >> (7 - self.at % 8) & 1);
            self.at += 1;
        }
        Some(value)
    }

    /// A number in the code of 9.2 in that standard: as many zeros as bits follow the first one.
    fn golomb(&mut self) -> Option<u64> {
        let mut zeros = 0;
        while self.take(1)? == 0 {
            zeros += 1;
        }
        (zeros < 32).then_some(())?;
        Some((1 << zeros) - 1 + self.take(zeros)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Written bit by bit as the standard's syntax says, for a picture of 512 × 288.
    fn unit(sub_layers: u8) -> Vec<u8> {
        let mut bits = format!("0000{sub_layers:03b}1{}", "01".repeat(48));
        if sub_layers == 2 {
            bits += &format!("1101{}{}{}", "00".repeat(6), "1".repeat(96), "0".repeat(8));
        }
        bits += "1010"; // number 0, colours at half the size
        bits += &format!("{}{:b}", "0".repeat(9), 513);
        bits += &format!("{}{:b}1", "0".repeat(8), 289);
        bits += &"0".repeat((8 - bits.len() % 8) % 8);
        let byte = |k: usize| u8::from_str_radix(&bits[8 * k..8 * k + 8], 2).unwrap();
        let mut bytes = vec![33 << 1, 1];
        for k in 0..bits.len() / 8 {
            if bytes.len() > 3 && bytes.ends_with(&[0, 0]) && byte(k) <= 3 {
                bytes.push(3);
            }
            bytes.push(byte(k));
        }
        bytes
    }

    #[test]
    fn the_declared_size_is_read_past_sub_layers() {
        for sub_layers in [0, 2] {
            assert_eq!(coded_size(&unit(sub_layers)), Some([512, 288]), "{sub_layers}");
        }
    }

    #[test]
    fn what_ends_early_has_no_size() {
        let whole = unit(0);
        for end in 0..16 {
            assert_eq!(coded_size(&whole[..end]), None, "{end}");
        }
        assert_eq!(coded_size(&[32 << 1, 1, 0, 0]), None);
    }
}
