//! One key of `bench.toml` set, emptied or added, comments and order kept.

use toml_edit::{Document, DocumentMut, Item, Table, Value, value};

use super::typed::{as_written, unit_of};
use super::{EditFault, new_faults, one_line};
use crate::bench::keys;
use crate::fault::Faults;

/// How a key's value is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyForm {
    /// Text, with unit and uncertainty where it is a number.
    Text,
    /// A whole number.
    Integer,
    /// Three texts, `0 mm, -40 mm, 0 mm`.
    ThreeTexts,
    /// Three plain numbers, `1, 0, 0`.
    ThreeNumbers,
    /// A day, `2026-03-12`.
    Date,
    /// `true` or `false`.
    YesNo,
}

/// A key that `bench.toml` may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BenchKey {
    /// `gun`, `meters.voltage`.
    pub table: &'static str,
    /// `voltage_limit`.
    pub key: &'static str,
    /// How its value is written.
    pub form: KeyForm,
}

/// Every key a person may set one by one, in the order of the contract; `[[coil]]` lists are edited in the file.
pub fn bench_keys() -> Vec<BenchKey> {
    let mut all = Vec::new();
    for table in keys::table_names().filter(|table| *table != "coil") {
        for key in keys::keys_of(table).iter().filter(|key| **key != "format") {
            all.push(BenchKey { table, key, form: form(table, key) });
        }
    }
    all
}

fn form(table: &str, key: &str) -> KeyForm {
    match (table, key) {
        (_, "turns" | "digits" | "charge_number") => KeyForm::Integer,
        (_, "muzzle" | "background") => KeyForm::ThreeTexts,
        ("gun", "direction") => KeyForm::ThreeNumbers,
        (_, "date") => KeyForm::Date,
        (_, "fixed") => KeyForm::YesNo,
        _ => KeyForm::Text,
    }
}

fn place(table: &str, key: &str) -> Result<BenchKey, EditFault> {
    let found = bench_keys().into_iter().find(|k| k.table == table && k.key == key);
    found.ok_or_else(|| EditFault::NoPlace(format!("bench.toml has no place `{table}.{key}`")))
}

/// What a key holds, as a person would type it; none where it is absent or the text is no TOML.
pub fn bench_value(text: &str, table: &str, key: &str) -> Option<String> {
    let document = Document::parse(text).ok()?;
    Some(shown(item(document.as_table(), table, key)?))
}

fn item<'a>(root: &'a Table, table: &str, key: &str) -> Option<&'a Item> {
    let mut at = root;
    for part in table.split('.') {
        at = at.get(part)?.as_table()?;
    }
    at.get(key).filter(|item| !item.is_none())
}

fn shown(item: &Item) -> String {
    match item.as_value() {
        Some(Value::String(text)) => one_line(text.value()),
        Some(Value::Array(array)) => {
            let parts = array.iter().map(|v| v.as_str().map_or_else(|| v.to_string(), str::to_owned));
            one_line(&parts.map(|part| part.trim().to_owned()).collect::<Vec<_>>().join(", "))
        }
        Some(other) => one_line(&other.clone().decorated("", "").to_string()),
        None => String::new(),
    }
}

/// Sets one key; an empty text takes it out (its line stays as a comment).
///
/// - **Takes** the file's text, the place, what the person saw there (empty: nothing), and what was typed.
/// - **Gives** the new text, all other bytes unchanged.
/// - **Fails** with [`EditFault::Changed`] where the place holds something else than was seen, with
///   [`EditFault::Faults`] where the typed text can't stand there.
pub fn set_bench_value(
    text: &str,
    table: &str,
    key: &str,
    seen: &str,
    typed: &str,
) -> Result<String, EditFault> {
    set_bench_values(text, &[BenchChange { table, key, seen, typed }])
}

/// One place of the bench file: what the person saw there, and what they typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BenchChange<'a> {
    /// `gun`, `meters.voltage`.
    pub table: &'a str,
    /// `voltage_limit`.
    pub key: &'a str,
    /// What the person saw there; empty: nothing.
    pub seen: &'a str,
    /// What they typed; empty takes the key out. A bare number takes the field's unit, a decimal comma becomes a point.
    pub typed: &'a str,
}

/// Sets several keys at once that are no good one by one, such as latitude and longitude.
///
/// - **Gives** the new text, all other bytes unchanged.
/// - **Fails** as [`set_bench_value`], where any of them can't stand.
pub fn set_bench_values(text: &str, changes: &[BenchChange<'_>]) -> Result<String, EditFault> {
    let new = changes.iter().try_fold(text.to_owned(), |text, change| put(&text, *change))?;
    let faults = new_faults("bench.toml", text, &new);
    if faults.is_empty() { Ok(new) } else { Err(EditFault::Faults(Faults(faults))) }
}

/// One change, not judged yet.
fn put(text: &str, change: BenchChange<'_>) -> Result<String, EditFault> {
    let place = place(change.table, change.key)?;
    let document = Document::parse(text).map_err(|_| {
        EditFault::Faults(Faults(super::faults_of("bench.toml", text).into_iter().take(1).collect()))
    })?;
    let found = item(document.as_table(), change.table, change.key);
    let now = found.map(shown).unwrap_or_default();
    if now != one_line(change.seen) {
        let now = if now.is_empty() { "nothing".to_owned() } else { now };
        return Err(EditFault::Changed { file: "bench.toml".to_owned(), now });
    }
    let typed = as_written(&one_line(change.typed), unit_of(change.table, change.key), place.form);
    let span = found.and_then(Item::span);
    match (span, typed.is_empty()) {
        (None, true) => Ok(text.to_owned()),
        (Some(span), true) => without(text, span.start, place),
        (Some(span), false) => {
            let mut new = text.to_owned();
            new.replace_range(span, &written(&typed, place.form));
            Ok(new)
        }
        (None, false) => with(text, place, &typed),
    }
}

/// TOML of what was typed; what can't be read as asked is written as text, so that the check names the fault.
fn written(typed: &str, form: KeyForm) -> String {
    let text = |text: &str| Value::from(text.trim()).to_string();
    let parts: Vec<&str> =
        typed.trim_matches(['[', ']']).split(',').map(|p| p.trim().trim_matches('"')).collect();
    match form {
        KeyForm::Integer if typed.parse::<i64>().is_ok() => typed.to_owned(),
        KeyForm::Date if typed.parse::<toml_edit::Datetime>().is_ok() => typed.to_owned(),
        KeyForm::YesNo if matches!(typed, "true" | "false") => typed.to_owned(),
        KeyForm::ThreeTexts => format!("[{}]", parts.iter().map(|p| text(p)).collect::<Vec<_>>().join(", ")),
        KeyForm::ThreeNumbers if parts.iter().all(|p| p.parse::<f64>().is_ok()) => {
            format!("[{}]", parts.join(", "))
        }
        _ => text(typed),
    }
}

/// The line that begins the key becomes a comment; a value over several lines is taken out.
fn without(text: &str, value_start: usize, place: BenchKey) -> Result<String, EditFault> {
    let line = text.get(..value_start).and_then(|before| before.rfind('\n')).map_or(0, |at| at + 1);
    let rest = text.get(line..).unwrap_or_default();
    let one_line = rest.lines().next().unwrap_or_default();
    let stands_alone = one_line.trim_start().starts_with(place.key) && closes(one_line);
    if stands_alone {
        let mut new = text.to_owned();
        new.insert_str(line, "# ");
        return Ok(new);
    }
    let mut document = mutable(text)?;
    if let Some(table) = table_mut(&mut document, place.table) {
        table.remove(place.key);
    }
    Ok(document.to_string())
}

/// Whether a line of TOML stands for itself.
fn closes(line: &str) -> bool {
    line.parse::<DocumentMut>().is_ok()
}

fn mutable(text: &str) -> Result<DocumentMut, EditFault> {
    text.parse().map_err(|_| EditFault::NoPlace("bench.toml can't be read".to_owned()))
}

/// Adds a key at the end of its table; the table too, if it is not there.
fn with(text: &str, place: BenchKey, typed: &str) -> Result<String, EditFault> {
    let toml = written(typed, place.form);
    if let Some(line) = commented(text, place) {
        // where the template or an emptied field left the key as a comment, it comes to life in its place
        return Ok(revived(text, line, place.key, &toml));
    }
    let mut document = mutable(text)?;
    let parsed: Value = toml.parse().unwrap_or_else(|_| Value::from(typed));
    let table = table_mut(&mut document, place.table)
        .ok_or_else(|| EditFault::NoPlace(format!("`{}` is no table in bench.toml", place.table)))?;
    table.insert(place.key, value(parsed));
    Ok(document.to_string())
}

fn table_mut<'a>(document: &'a mut DocumentMut, name: &str) -> Option<&'a mut Table> {
    let mut at = document.as_table_mut();
    let parts: Vec<&str> = name.split('.').collect();
    for (depth, part) in parts.iter().enumerate() {
        let fresh = || {
            let mut table = Table::new();
            table.set_implicit(depth + 1 < parts.len());
            Item::Table(table)
        };
        at = at.entry(part).or_insert_with(fresh).as_table_mut()?;
    }
    Some(at)
}

/// Start of a line `# key = …` inside the table's own part of the file.
fn commented(text: &str, place: BenchKey) -> Option<usize> {
    let mut at = 0;
    let mut inside = false;
    for line in text.split_inclusive('\n') {
        let trimmed = line.trim();
        if trimmed.starts_with('[') {
            inside = trimmed.split(']').next() == Some(&format!("[{}", place.table));
        } else if inside && let Some(comment) = trimmed.strip_prefix('#') {
            let tail = comment.trim_start().strip_prefix(place.key).map(str::trim_start);
            if tail.is_some_and(|tail| tail.starts_with('=') && closes(comment.trim())) {
                return Some(at);
            }
        }
        at += line.len();
    }
    None
}

fn revived(text: &str, line: usize, key: &str, toml: &str) -> String {
    let rest = text.get(line..).unwrap_or_default();
    let old = rest.split_inclusive('\n').next().unwrap_or_default();
    let comment = old.trim_start().trim_start_matches('#').trim();
    let tail = Document::parse(comment)
        .ok()
        .and_then(|document| document.as_table().get(key).and_then(Item::span))
        .and_then(|span| comment.get(span.end..))
        .unwrap_or_default()
        .trim_end();
    let ending = old.get(old.trim_end_matches(['\n', '\r']).len()..).unwrap_or("\n");
    let mut new = text.to_owned();
    new.replace_range(line..line + old.len(), &format!("{key} = {toml}{tail}{ending}"));
    new
}

#[cfg(test)]
mod tests {
    use super::*;

    fn template() -> String {
        crate::example_bench()
    }

    #[test]
    fn every_key_can_be_read_emptied_and_set_again() {
        for place in bench_keys() {
            let Some(old) = bench_value(&template(), place.table, place.key) else { continue };
            let Ok(emptied) = set_bench_value(&template(), place.table, place.key, &old, "") else {
                continue;
            };
            assert_eq!(bench_value(&emptied, place.table, place.key), None, "{place:?}");
            let back = set_bench_value(&emptied, place.table, place.key, "", &old).unwrap();
            assert_eq!(back, template(), "{place:?}");
        }
    }

    #[test]
    fn a_change_keeps_every_other_byte() {
        let new = set_bench_value(&template(), "gun", "voltage_limit", "300 V", "250 V").unwrap();
        assert_eq!(new, template().replace("\"300 V\"", "\"250 V\""));
        let new =
            set_bench_value(&template(), "coils", "mean_radius", "150.0(5) mm", "151 mm ± 0.5").unwrap();
        assert!(new.contains("mean_radius = \"151 mm ± 0.5\"        # to the middle"), "{new}");
        let new = set_bench_value(&template(), "gun", "muzzle", "0 mm, -40 mm, 0 mm", "1 mm, -41 mm, 0 mm");
        assert!(new.unwrap().contains("muzzle = [\"1 mm\", \"-41 mm\", \"0 mm\"] # where"));
    }

    #[test]
    fn a_commented_key_comes_to_life_where_it_stands_and_a_new_table_is_made() {
        let new = set_bench_value(&template(), "bulb", "gas", "", "hydrogen").unwrap();
        assert_eq!(new, template().replace("# gas = ", "gas = "));
        let new =
            set_bench_value(&template(), "surroundings", "background", "", "0(30) uT, -45(10) uT, 0(30) uT");
        assert!(
            new.unwrap()
                .contains("[surroundings]\nbackground = [\"0(30) uT\", \"-45(10) uT\", \"0(30) uT\"]\n")
        );
        let bare = "[bench]\nformat = 1\n";
        let new = set_bench_value(bare, "meters.voltage", "digits", "", "2").unwrap();
        assert!(new.contains("[meters.voltage]\ndigits = 2"), "{new}");
    }

    #[test]
    fn what_is_no_good_alone_is_set_together() {
        let bare = "[bench]\nformat = 1\n";
        let change = |key, typed| BenchChange { table: "surroundings", key, seen: "", typed };
        let place = [
            change("latitude", "52,1"),
            change("longitude", "4.3"),
            change("date", "2026-03-12"),
            change("axis_bearing", "120"),
        ];
        assert!(set_bench_values(bare, &place[..1]).is_err());
        let new = set_bench_values(bare, &place).unwrap();
        assert_eq!(bench_value(&new, "surroundings", "latitude").as_deref(), Some("52.1 deg"), "{new}");
        let emptied = set_bench_values(
            &new,
            &place.map(|c| BenchChange {
                seen: if c.key == "date" { "2026-03-12" } else { "" },
                typed: "",
                ..c
            }),
        );
        assert!(matches!(emptied, Err(EditFault::Changed { .. })), "what was not seen is not taken out");
    }

    #[test]
    fn what_can_not_stand_there_is_refused_with_its_fault() {
        let fault = set_bench_value(&template(), "gun", "voltage_limit", "300 V", "300 mm").unwrap_err();
        assert!(matches!(&fault, EditFault::Faults(f) if f.0[0].found.contains("length")), "{fault}");
        let fault = set_bench_value(&template(), "gun", "voltage_limit", "280 V", "300 V").unwrap_err();
        assert!(matches!(&fault, EditFault::Changed { now, .. } if now == "300 V"));
        assert!(set_bench_value(&template(), "gun", "nonsense", "", "1").is_err());
        for typed in ["\" x = 1 #", "a\nb = 2", "\u{202e}1 V", "[[", "'''"] {
            let new = set_bench_value(&template(), "bench", "name", "Window bench", typed);
            assert_eq!(bench_value(&new.unwrap(), "bench", "name"), Some(one_line(typed)), "{typed:?}");
        }
    }
}
