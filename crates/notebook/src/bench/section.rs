//! One table of `bench.toml` and the kinds of value that may stand in it.

use std::ops::Range;

use arcmass_quantity::dimension::{self, Dimension};
use arcmass_quantity::text;
use arcmass_quantity::{Stated, Uncertainty};
use toml::Spanned;
use toml::de::{DeInteger, DeTable, DeValue};

use super::keys::{keys_of, unknown_key};
use super::wording::text_said;
use crate::fault::{Fault, Said, Sink, Source, quote, said};
use crate::nearest::nearest;

use crate::record::Date;
use crate::table::list;

/// In which range a value must lie, in the unit it is written in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Must {
    /// Any finite value.
    Any,
    /// 0 or more.
    NotNegative,
    /// Above 0.
    Positive,
    /// From the first to the second, in SI, said in words.
    Between(f64, f64, &'static str),
}

impl Must {
    fn broken(self, value: f64) -> Option<&'static str> {
        match self {
            Self::NotNegative if value < 0.0 => Some("a value of 0 or more"),
            Self::Positive if value <= 0.0 => Some("a value above 0"),
            Self::Between(low, high, words) if !(low..=high).contains(&value) => Some(words),
            _ => None,
        }
    }
}

/// One table of the file.
pub(crate) struct Section<'a> {
    pub(crate) source: Source<'a>,
    table: &'a DeTable<'a>,
    span: Range<usize>,
    name: &'static str,
}

impl<'a> Section<'a> {
    /// Takes a value as a table and reports every key that isn't known there.
    pub(crate) fn of(
        source: Source<'a>,
        value: &'a Spanned<DeValue<'a>>,
        name: &'static str,
        sink: &mut Sink,
    ) -> Option<Self> {
        let Some(table) = value.get_ref().as_table() else {
            let said = said(
                format!("`{name}` as {}", kind_of(value.get_ref())),
                format!("a table `[{name}]`"),
                format!("write `[{name}]` on a line of its own and its keys below"),
            );
            sink.push_made(|| source.fault(value.span(), None, said));
            return None;
        };
        let section = Self { source, table, span: value.span(), name };
        section.unknown_keys(sink);
        Some(section)
    }

    fn unknown_keys(&self, sink: &mut Sink) {
        let known = keys_of(self.name);
        for (key, _) in self.table {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let said = match nearest(name, known) {
                Some(near) => said(
                    format!("unknown key {} in {}", quote(name), self.title()),
                    format!("`{near}`, which it looks like"),
                    format!("rename it `{near}`"),
                ),
                None => unknown_key(name, &format!("in {}", self.title()), known),
            };
            sink.push_made(|| self.source.fault(key.span(), None, said));
        }
    }

    pub(crate) fn raw(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        // a value that the parser made up, because none stands there, has no place; its line has a fault already
        let is_written =
            |value: &&Spanned<DeValue<'_>>| value.get_ref().is_table() || !value.span().is_empty();
        self.table.get(key).filter(is_written)
    }

    pub(crate) fn has(&self, key: &str) -> bool {
        self.raw(key).is_some()
    }

    /// The first of these keys that is there.
    pub(crate) fn first_of(&self, keys: &[&'static str]) -> Option<&'static str> {
        keys.iter().copied().find(|key| self.has(key))
    }

    /// A fault at a key's value, or at the table if the key isn't there.
    pub(crate) fn value_fault(&self, key: &str, said: Said) -> Fault {
        let span = self.raw(key).map_or(self.span.clone(), Spanned::span);
        self.source.fault(span, None, said)
    }

    /// Reports a key that must be there.
    pub(crate) fn lacks(&self, key: &str, remedy: &str, sink: &mut Sink) {
        let said = said(format!("no `{key}` in {}", self.title()), format!("`{key}` here"), remedy);
        sink.push_missing(|| self.source.fault(self.span.clone(), None, said));
    }

    /// The table as its heading has it.
    fn title(&self) -> String {
        if self.name == "coil" { "`[[coil]]`".to_owned() } else { format!("`[{}]`", self.name) }
    }

    fn wrong_type(
        &self,
        key: &str,
        value: &Spanned<DeValue<'_>>,
        accepted: &str,
        remedy: &str,
        sink: &mut Sink,
    ) {
        let found = match value.get_ref() {
            DeValue::String(text) => quote(text),
            DeValue::Integer(number) => quote(&number.to_string()),
            DeValue::Float(number) => quote(number.as_str()),
            other => kind_of(other).to_owned(),
        };
        let said = said(format!("{found} in `{key}`"), accepted, remedy);
        sink.push_made(|| self.source.fault(value.span(), None, said));
    }

    /// A value with unit and perhaps uncertainty.
    pub(crate) fn stated(&self, key: &str, kind: Dimension, must: Must, sink: &mut Sink) -> Option<Stated> {
        let value = self.raw(key)?;
        self.stated_at(key, value, kind, must, sink)
    }

    fn stated_at(
        &self,
        key: &str,
        value: &Spanned<DeValue<'_>>,
        kind: Dimension,
        must: Must,
        sink: &mut Sink,
    ) -> Option<Stated> {
        let written = match value.get_ref() {
            DeValue::String(text) => text.to_string(),
            // a ratio needs no unit, so it may stand without quotation marks
            DeValue::Integer(number) if kind == dimension::RATIO => integer_of(number)?.to_string(),
            DeValue::Float(number) if kind == dimension::RATIO => number.as_str().to_owned(),
            _ => {
                let accepted =
                    format!("{} in quotation marks, such as `\"{}\"`", kind.name(), kind.example());
                self.wrong_type(key, value, &accepted, "write it in quotation marks, with its unit", sink);
                return None;
            }
        };
        let stated = match text::parse(&written, kind) {
            Ok(stated) => stated,
            Err(fault) => {
                sink.push_made(|| self.source.fault(value.span(), None, text_said(&written, kind, &fault)));
                return None;
            }
        };
        if let Some(accepted) = must.broken(stated.value) {
            let said = said(
                format!("{} in `{key}`", quote(&written)),
                accepted,
                "check the number, its sign and its unit",
            );
            sink.push_made(|| self.source.fault(value.span(), None, said));
            return None;
        }
        Some(stated)
    }

    /// A value that has a unit but no uncertainty, in SI.
    pub(crate) fn plain(&self, key: &str, kind: Dimension, must: Must, sink: &mut Sink) -> Option<f64> {
        let stated = self.stated(key, kind, must, sink)?;
        if stated.uncertainty == Uncertainty::Unstated {
            return Some(stated.value);
        }
        let said = said(
            format!("an uncertainty in `{key}`"),
            "a value without uncertainty",
            "write the value alone; it is a limit or a setting, nothing measured",
        );
        sink.push_made(|| self.value_fault(key, said));
        None
    }

    /// A share of something, in percent: without the sign, `0.5` could be half or half a percent.
    pub(crate) fn percent(&self, key: &str, sink: &mut Sink) -> Option<f64> {
        let value = self.raw(key)?;
        let has_sign = value.get_ref().as_str().is_some_and(|text| text.contains('%'));
        if !has_sign && !matches!(value.get_ref(), DeValue::Boolean(_)) {
            let written = self.source.text.get(value.span()).unwrap_or_default();
            let found = format!("{} in `{key}`, without %", quote(written.trim_matches('"')));
            let said =
                said(found, "a percentage, such as `\"0.5 %\"`", "write it in percent, in quotation marks");
            sink.push_made(|| self.value_fault(key, said));
            return None;
        }
        self.plain(key, dimension::RATIO, Must::Between(0.0, 1.0, "a value from 0 to 100 %"), sink)
    }

    /// An uncertainty: one standard uncertainty, or a half-width with `(limit)` behind it.
    pub(crate) fn uncertainty(&self, key: &str, kind: Dimension, sink: &mut Sink) -> Option<Uncertainty> {
        let width = self.plain(key, kind, Must::NotNegative, sink)?;
        let written = self.raw(key)?.get_ref().as_str().unwrap_or_default();
        let limit = written.trim_end().ends_with("(limit)") || written.trim_end().ends_with("(limits)");
        Some(if limit { Uncertainty::Limit(width) } else { Uncertainty::Standard(width) })
    }

    /// A whole number in a range.
    pub(crate) fn integer(&self, key: &str, sink: &mut Sink, low: i64, high: i64) -> Option<i64> {
        let value = self.raw(key)?;
        let range = if high == i64::MAX {
            format!("a whole number from {low}, such as `{low}`")
        } else {
            format!("a whole number from {low} to {high}, such as `{}`", low.max(1))
        };
        let DeValue::Integer(number) = value.get_ref() else {
            self.wrong_type(key, value, &range, "write a whole number, without quotation marks", sink);
            return None;
        };
        match integer_of(number) {
            Some(number) if (low..=high).contains(&number) => Some(number),
            _ => {
                let found = format!("`{number}` in `{key}`");
                let said = said(found, range, "check the number");
                sink.push_made(|| self.source.fault(value.span(), None, said));
                None
            }
        }
    }

    /// Yes or no.
    pub(crate) fn yes(&self, key: &str, sink: &mut Sink) -> bool {
        let Some(value) = self.raw(key) else { return false };
        let DeValue::Boolean(yes) = value.get_ref() else {
            self.wrong_type(key, value, "`true` or `false`", "write it without quotation marks", sink);
            return false;
        };
        *yes
    }

    /// A text.
    pub(crate) fn text(&self, key: &str, sink: &mut Sink) -> Option<String> {
        let value = self.raw(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.wrong_type(key, value, "text", "write it in quotation marks", sink);
            return None;
        };
        if text.trim().is_empty() {
            let said = said(format!("nothing in `{key}`"), "some text", "write it, or delete the line");
            sink.push_made(|| self.source.fault(value.span(), None, said));
            return None;
        }
        Some(text.trim().to_owned())
    }

    /// One of several words.
    pub(crate) fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)], sink: &mut Sink) -> Option<T> {
        let text = self.text(key, sink)?.replace('\u{2212}', "-");
        let chosen = words.iter().find(|word| word.0 == text).map(|word| word.1);
        if chosen.is_none() {
            let names: Vec<_> = words.iter().map(|word| word.0).collect();
            let near = nearest(&text, &names);
            let remedy = near.map_or("write one of these".to_owned(), |near| format!("write `{near}`"));
            let said =
                said(format!("{} in `{key}`", quote(&text)), list(&names).replace(" and ", " or "), remedy);
            sink.push_made(|| self.value_fault(key, said));
        }
        chosen
    }

    /// Three values along x, y and z.
    pub(crate) fn vector(&self, key: &str, kind: Dimension, sink: &mut Sink) -> Option<[Stated; 3]> {
        let example = match kind {
            dimension::LENGTH => "[\"0 mm\", \"-40 mm\", \"0 mm\"]",
            _ => "[\"0(30) uT\", \"-45(10) uT\", \"0(30) uT\"]",
        };
        let [x, y, z] = self.three(key, example, sink)?;
        let mut one = |value| self.stated_at(key, value, kind, Must::Any, sink);
        let (x, y, z) = (one(x), one(y), one(z));
        Some([x?, y?, z?])
    }

    /// Three numbers that point somewhere, as a unit vector.
    pub(crate) fn direction(&self, key: &str, sink: &mut Sink) -> Option<[f64; 3]> {
        let parts = self.three(key, "[1, 0, 0]", sink)?;
        let mut components = [0.0; 3];
        for (component, value) in components.iter_mut().zip(parts) {
            let number = match value.get_ref() {
                DeValue::Integer(number) => integer_of(number).map(|number| number as f64),
                DeValue::Float(number) => number.as_str().parse().ok().filter(|x: &f64| x.is_finite()),
                _ => None,
            };
            let Some(number) = number else {
                let accepted = "three finite numbers, such as `[1, 0, 0]`";
                self.wrong_type(key, value, accepted, "write where it points, along x, y and z", sink);
                return None;
            };
            *component = number;
        }
        let largest = components.iter().fold(0.0_f64, |largest, c| largest.max(c.abs()));
        if largest == 0.0 {
            let said = said(
                format!("a `{key}` of length 0"),
                "three numbers, not all 0",
                "write where it points, such as `[1, 0, 0]`",
            );
            sink.push_made(|| self.value_fault(key, said));
            return None;
        }
        // scaled first, so that squares neither overflow nor vanish
        let scaled = components.map(|c| c / largest);
        let length = scaled.iter().map(|c| c * c).sum::<f64>().sqrt();
        Some(scaled.map(|c| c / length))
    }

    fn three(&self, key: &str, example: &str, sink: &mut Sink) -> Option<[&'a Spanned<DeValue<'a>>; 3]> {
        let value = self.raw(key)?;
        let parts = value.get_ref().as_array().map(|array| array.iter().collect::<Vec<_>>());
        match parts.as_deref() {
            Some([x, y, z]) => Some([*x, *y, *z]),
            Some(others) => {
                let said = said(
                    format!("{} values in `{key}`", others.len()),
                    "three, along x, y and z",
                    format!("write `{key} = {example}`"),
                );
                sink.push_made(|| self.source.fault(value.span(), None, said));
                None
            }
            None => {
                let accepted = format!("three values in brackets, such as `{example}`");
                self.wrong_type(
                    key,
                    value,
                    &accepted,
                    "write one along x, one along y and one along z",
                    sink,
                );
                None
            }
        }
    }

    /// A day, without quotation marks or with them.
    pub(crate) fn date(&self, key: &str, sink: &mut Sink) -> Option<Date> {
        let value = self.raw(key)?;
        let parsed = match value.get_ref() {
            DeValue::Datetime(at) => at.date,
            DeValue::String(text) => text.trim().parse::<toml::value::Datetime>().ok().and_then(|at| at.date),
            _ => None,
        };
        let Some(date) = parsed else {
            self.wrong_type(key, value, "a day, such as `2026-03-12`", "write year, month and day", sink);
            return None;
        };
        Some(Date { year: date.year, month: date.month, day: date.day })
    }
}

fn integer_of(number: &DeInteger<'_>) -> Option<i64> {
    i64::from_str_radix(number.as_str(), number.radix()).ok()
}

fn kind_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
