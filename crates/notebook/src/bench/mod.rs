//! `bench.toml`: read to a tree that knows its places, then checked key by key so that all faults come at once.

pub(crate) mod keys;
mod parts;
mod section;
mod syntax;
mod wording;

use toml::de::DeTable;

use crate::fault::{Fault, Sink, Source, quote, said};
use crate::file::TextFile;
use crate::record::{Bench, Meters};
use keys::{known_tables, unknown_key};
use section::Section;

/// The format of `bench.toml` this program reads.
pub const BENCH_FORMAT: i64 = 1;

/// Reads the bench file; either all of it is good or the faults come back.
pub(crate) fn read_bench(file: &TextFile) -> Result<Bench, Vec<Fault>> {
    let source = Source { file: &file.input.file, text: &file.text };
    let (tree, errors) = DeTable::parse_recoverable(&file.text);
    let mut sink = Sink::default();
    let last_line = syntax::faults(source, &errors, &mut sink);
    let mut found = Sink::of_part(!errors.is_empty());
    let bench = Reader { source, tree: tree.get_ref() }.read(file, &mut found);
    sink.add_on_other_lines(found, last_line);
    match bench {
        Some(bench) if sink.is_empty() => Ok(bench),
        _ => Err(sink.into_faults()),
    }
}

struct Reader<'a> {
    source: Source<'a>,
    tree: &'a DeTable<'a>,
}

impl<'a> Reader<'a> {
    fn read(&self, file: &TextFile, sink: &mut Sink) -> Option<Bench> {
        let name = self.head(sink)?;
        self.unknown_tables(sink);
        let mut coils = self.section("coils", sink);
        let coil_list = self.coil_list(sink);
        let pair =
            coils.as_mut().and_then(|section| parts::pair(section, sink, self.tree.contains_key("coil")));
        let bench = Bench {
            name: name.unwrap_or_default(),
            pair,
            coil_list,
            gun: self.section("gun", sink).and_then(|section| parts::gun(&section, sink)),
            bulb: self.section("bulb", sink).and_then(|section| parts::bulb(&section, sink)),
            meters: self.meters(sink),
            surroundings: self.section("surroundings", sink).and_then(|s| parts::surroundings(&s, sink)),
            camera: self.section("camera", sink).map(|section| parts::camera(&section, sink)),
            scale: self.section("scale", sink).map(|section| parts::scale(&section, sink)),
            source: file.text.clone(),
            input: file.input.clone(),
        };
        parts::check_together(self.tree, self.source, &bench, sink);
        Some(bench)
    }

    /// `[bench]`: its format first, because nothing else of a newer one can be trusted.
    fn head(&self, sink: &mut Sink) -> Option<Option<String>> {
        let Some(section) = self.section("bench", sink) else {
            if sink.is_empty() {
                let said = said(
                    "no table `[bench]`",
                    "`[bench]` with `format = 1`",
                    "begin the file with `[bench]`, `format = 1` and `name = \"…\"`",
                );
                sink.push_missing(|| self.source.fault(0..0, Some(1), said));
            }
            return None;
        };
        match section.integer("format", sink, 1, i64::MAX) {
            Some(format) if format > BENCH_FORMAT => {
                let said = said(
                    format!("format {format}"),
                    format!("format {BENCH_FORMAT}"),
                    "this file was made for a newer version of arcmass: install that, or write the file anew",
                );
                sink.push_made(|| section.value_fault("format", said));
                return None;
            }
            None if !section.has("format") => section.lacks("format", "write `format = 1`", sink),
            _ => {}
        }
        Some(section.text("name", sink))
    }

    fn unknown_tables(&self, sink: &mut Sink) {
        for (key, _) in self.tree {
            let name: &str = key.get_ref();
            if known_tables().contains(&name) {
                continue;
            }
            match crate::nearest::nearest(name, &known_tables()) {
                Some(near) => {
                    let found = format!("table {}", quote(name));
                    let accepted = format!("`{near}`, which it looks like");
                    let said = said(found, accepted, format!("rename it `{near}`"));
                    sink.push_made(|| self.source.fault(key.span(), None, said));
                }
                None => {
                    // keys below a broken heading end up here too
                    let said = unknown_key(name, "at the top of the file", &known_tables());
                    sink.push_missing(|| self.source.fault(key.span(), None, said));
                }
            }
        }
    }

    fn section(&self, name: &'static str, sink: &mut Sink) -> Option<Section<'a>> {
        Section::of(self.source, self.tree.get(name)?, name, sink)
    }

    fn coil_list(&self, sink: &mut Sink) -> Vec<crate::record::Coil> {
        let Some(value) = self.tree.get("coil") else { return Vec::new() };
        let Some(array) = value.get_ref().as_array() else {
            let said = said("`[coil]`", "`[[coil]]`, once for each coil", "double the brackets");
            sink.push_made(|| self.source.fault(value.span(), None, said));
            return Vec::new();
        };
        let sections = array.iter().filter_map(|value| Section::of(self.source, value, "coil", sink));
        let sections: Vec<_> = sections.collect();
        sections.iter().filter_map(|section| parts::coil(section, sink)).collect()
    }

    fn meters(&self, sink: &mut Sink) -> Meters {
        let Some(value) = self.tree.get("meters") else { return Meters::default() };
        let Some(meters) = Section::of(self.source, value, "meters", sink) else { return Meters::default() };
        let mut one = |name: &'static str, full, kind| {
            let section = Section::of(self.source, meters.raw(name)?, full, sink)?;
            Some(parts::meter(&section, kind, sink))
        };
        Meters {
            voltage: one("voltage", "meters.voltage", arcmass_quantity::dimension::VOLTAGE),
            current: one("current", "meters.current", arcmass_quantity::dimension::CURRENT),
            probe: one("probe", "meters.probe", arcmass_quantity::dimension::FLUX_DENSITY),
        }
    }
}
