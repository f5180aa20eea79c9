//! Boxes of the ISO base media file format (ISO/IEC 14496-12), as far as photographs need them.

/// Containers are opened to this depth; a CR3 file needs seven.
const DEEPEST: usize = 10;
/// Boxes looked at, at most.
const MOST_BOXES: usize = 4096;

/// First bytes of the name of the box that holds a CR3 file's preview.
const CR3_PREVIEW: [u8; 4] = [0xea, 0xf4, 0x2b, 0x5e];

/// A box: its four letters and its content.
#[derive(Debug, Clone, Copy)]
pub(super) struct Boxed<'b> {
    pub(super) name: [u8; 4],
    pub(super) content: &'b [u8],
}

/// The brands a file declares, the main one first; empty where the bytes are no such file.
pub(super) fn brands(bytes: &[u8]) -> Vec<[u8; 4]> {
    let Some((first, _)) = split(bytes).filter(|(first, _)| &first.name == b"ftyp") else {
        return Vec::new();
    };
    let words = first.content.chunks_exact(4).map(|w| [w[0], w[1], w[2], w[3]]);
    // the second word is a version
    words.enumerate().filter(|(k, _)| *k != 1).map(|(_, word)| word).take(32).collect()
}

/// All boxes in the order of the file, containers before what they hold.
pub(super) fn all(bytes: &[u8]) -> Vec<Boxed<'_>> {
    let mut found = Vec::new();
    walk(bytes, 0, &mut found);
    found
}

fn walk<'b>(mut bytes: &'b [u8], depth: usize, found: &mut Vec<Boxed<'b>>) {
    while let Some((one, rest)) = split(bytes) {
        if found.len() == MOST_BOXES {
            return;
        }
        found.push(one);
        let inside = match &one.name {
            b"moov" | b"trak" | b"mdia" | b"minf" | b"stbl" => Some(0),
            // a name of 16 bytes comes first; before the preview of a CR3 file (observed, no source) eight more
            b"uuid" if one.content.starts_with(&CR3_PREVIEW) => Some(24),
            b"uuid" => Some(16),
            _ => None,
        };
        if let Some(inner) = inside.and_then(|skip| one.content.get(skip..)).filter(|_| depth < DEEPEST) {
            walk(inner, depth + 1, found);
        }
        bytes = rest;
    }
}

/// The first box and what follows it; `None` where none begins or it would reach beyond the end.
fn split(bytes: &[u8]) -> Option<(Boxed<'_>, &[u8])> {
    let name: [u8; 4] = bytes.get(4..8)?.try_into().ok()?;
    let short = u64::from(u32::from_be_bytes(bytes.get(..4)?.try_into().ok()?));
    let (head, size) = match short {
        0 => (8, bytes.len() as u64),
        1 => (16, u64::from_be_bytes(bytes.get(8..16)?.try_into().ok()?)),
        size => (8, size),
    };
    let size = usize::try_from(size).ok().filter(|size| *size >= head)?;
    Some((Boxed { name, content: bytes.get(head..size)? }, bytes.get(size..)?))
}
