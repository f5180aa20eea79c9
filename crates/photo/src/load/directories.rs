//! The directories of a TIFF file, as far as raw photographs need them: numbers only, every offset checked.

/// Directories looked at, at most; a camera writes about ten.
const MOST_DIRECTORIES: usize = 64;
/// Numbers of one entry that are kept; strips of an embedded JPEG are one.
const MOST_NUMBERS: usize = 4;

/// Tags used here (TIFF 6.0; DNG 1.7 for the last).
pub(super) mod tag {
    pub(crate) const COMPRESSION: u16 = 0x0103;
    pub(crate) const PHOTOMETRIC: u16 = 0x0106;
    pub(crate) const STRIP_OFFSETS: u16 = 0x0111;
    pub(crate) const STRIP_LENGTHS: u16 = 0x0117;
    pub(crate) const SUB_DIRECTORIES: u16 = 0x014a;
    pub(crate) const JPEG_OFFSET: u16 = 0x0201;
    pub(crate) const JPEG_LENGTH: u16 = 0x0202;
    pub(crate) const DNG_VERSION: u16 = 0xc612;
}

/// One directory: its tags with their first numbers.
#[derive(Debug, Default)]
pub(super) struct Directory {
    entries: Vec<(u16, Vec<u32>)>,
}

impl Directory {
    /// All numbers kept of a tag; none where the directory has no such tag.
    pub(super) fn numbers(&self, tag: u16) -> &[u32] {
        self.entries.iter().find(|(t, _)| *t == tag).map_or(&[], |(_, numbers)| numbers)
    }

    /// The number of a tag that has exactly one.
    pub(super) fn number(&self, tag: u16) -> Option<u32> {
        match self.numbers(tag) {
            [one] => Some(*one),
            _ => None,
        }
    }
}

/// All directories in a TIFF file, those inside others too; empty where the bytes are no TIFF file.
pub(super) fn directories(bytes: &[u8]) -> Vec<Directory> {
    let Some(reader) = Reader::new(bytes) else { return Vec::new() };
    let mut waiting: Vec<u32> = reader.long(4).into_iter().collect();
    let (mut seen, mut found) = (Vec::new(), Vec::new());
    while let Some(at) = waiting.pop() {
        if at == 0 || seen.contains(&at) || found.len() == MOST_DIRECTORIES {
            continue;
        }
        seen.push(at);
        let Some((directory, next)) = reader.directory(at as usize) else { continue };
        waiting.extend(next);
        waiting.extend(directory.numbers(tag::SUB_DIRECTORIES));
        found.push(directory);
    }
    found
}

/// Numbers in the file's own order of bytes.
struct Reader<'b> {
    bytes: &'b [u8],
    is_little: bool,
}

impl<'b> Reader<'b> {
    fn new(bytes: &'b [u8]) -> Option<Self> {
        let is_little = match bytes.get(..4)? {
            b"II\x2a\0" => true,
            b"MM\0\x2a" => false,
            _ => return None,
        };
        Some(Self { bytes, is_little })
    }

    fn short(&self, at: usize) -> Option<u16> {
        let two: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.is_little { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let four: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.is_little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
    }

    /// A directory and the place of the next.
    fn directory(&self, at: usize) -> Option<(Directory, Option<u32>)> {
        let count = usize::from(self.short(at)?);
        let entries = (0..count).filter_map(|k| self.entry(at + 2 + 12 * k)).collect();
        Some((Directory { entries }, self.long(at + 2 + 12 * count)))
    }

    /// Whole numbers of one, two or four bytes; other kinds are left out.
    fn entry(&self, at: usize) -> Option<(u16, Vec<u32>)> {
        let size = match self.short(at + 2)? {
            1 | 7 => 1,
            3 => 2,
            4 | 13 => 4,
            _ => return None,
        };
        let count = (self.long(at + 4)? as usize).min(MOST_NUMBERS);
        let fits = self.long(at + 4)? as usize <= 4 / size;
        let start = if fits { at + 8 } else { self.long(at + 8)? as usize };
        let one = |k: usize| {
            let at = start.checked_add(k * size)?;
            match size {
                1 => self.bytes.get(at).map(|b| u32::from(*b)),
                2 => self.short(at).map(u32::from),
                _ => self.long(at),
            }
        };
        Some((self.short(at)?, (0..count).map_while(one).collect()))
    }
}
