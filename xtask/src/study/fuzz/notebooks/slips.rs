//! One slip in one file of a notebook, by lot: a decimal point, a sign, exchanged digits, another unit, a lost or doubled row.

use super::super::super::photographs::dice::Dice;

/// A file with one slip in it.
pub(super) struct Slip {
    pub(super) file: &'static str,
    /// The whole text with the slip.
    pub(super) text: String,
    /// For a person who looks for it again.
    pub(super) what: String,
    /// What names its place: line of the table, run, key.
    pub(super) places: Vec<String>,
}

/// What is done to one number.
const MANNERS: [&str; 8] = ["x 10", "/ 10", "x 1000", "/ 1000", "x 100", "sign", "digits exchanged", "-1e6"];

/// A slip by lot; none where it changes nothing.
pub(super) fn by_lot(files: &[&'static str], texts: &[String], dice: &mut Dice) -> Option<Slip> {
    let which = dice.below(files.len());
    let (file, text) = (files.get(which).copied()?, texts.get(which)?);
    let slip =
        if file.ends_with(".toml") { in_bench(file, text, dice)? } else { in_table(file, text, dice)? };
    (slip.text != *text).then_some(slip)
}

fn in_table(file: &'static str, text: &str, dice: &mut Dice) -> Option<Slip> {
    let lines: Vec<&str> = text.lines().collect();
    let head = lines.iter().position(|line| !line.starts_with('#'))?;
    let names: Vec<&str> = lines.get(head)?.split(',').collect();
    let at = head + 1 + dice.below(lines.len() - head - 1);
    let column = dice.below(names.len());
    let name = *names.get(column)?;
    if matches!(name, "run" | "component" | "remark") {
        return None;
    }
    let manner = *MANNERS.get(dice.below(MANNERS.len()))?;
    let is_whole = dice.between(0.0, 1.0) < 0.15 && !matches!(manner, "digits exchanged" | "-1e6");
    let mut rows: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
    let from = if is_whole { head + 1 } else { at };
    let upto = if is_whole { rows.len() } else { at + 1 };
    for row in rows.get_mut(from..upto)? {
        let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        let cell = cells.get_mut(column)?;
        *cell = spoilt(cell, manner, dice)?;
        *row = cells.join(",");
    }
    let number = at + 1;
    let run = lines.get(at)?.split(',').next().unwrap_or_default();
    let mut places = vec![format!("{file}, line {number}:"), format!("{file}:{number}")];
    if file == "readings.csv" {
        places.extend([format!("run {run} "), format!("run {run}:"), format!("runs {run},")]);
    }
    let what = format!("{file}:{number} {name} {manner}{}", if is_whole { " whole column" } else { "" });
    Some(Slip { file, text: rows.join("\n") + "\n", what, places })
}

/// One number of the bench file: the first of its value.
fn in_bench(file: &'static str, text: &str, dice: &mut Dice) -> Option<Slip> {
    let lines: Vec<&str> = text.lines().collect();
    let stated: Vec<usize> = (0..lines.len())
        .filter(|index| {
            let line = lines.get(*index).copied().unwrap_or_default();
            let value = line.split_once('=').map_or("", |(_, value)| value);
            !line.starts_with('#')
                && value.contains(|c: char| c.is_ascii_digit())
                && !line.starts_with("format")
        })
        .collect();
    let at = *stated.get(dice.below(stated.len()))?;
    let line = lines.get(at)?;
    let (key, value) = line.split_once('=')?;
    let begin = value.find(|c: char| c.is_ascii_digit())?;
    let length =
        value.get(begin..)?.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(value.len() - begin);
    let manner = *MANNERS.get(dice.below(MANNERS.len()))?;
    let number = spoilt(value.get(begin..begin + length)?, manner, dice)?;
    let new = format!("{key}={}{number}{}", value.get(..begin)?, value.get(begin + length..)?);
    let mut rows: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
    *rows.get_mut(at)? = new;
    let what = format!("{file}:{} {} {manner}", at + 1, key.trim());
    let places = vec![format!("bench.toml:{}", at + 1), key.trim().replace('_', " ")];
    Some(Slip { file, text: rows.join("\n") + "\n", what, places })
}

fn spoilt(cell: &str, manner: &str, dice: &mut Dice) -> Option<String> {
    let number: f64 = cell.parse().ok()?;
    let times = |factor: f64| {
        let product = number * factor;
        format!("{:.9}", product).trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    Some(match manner {
        "x 10" => times(10.0),
        "/ 10" => times(0.1),
        "x 1000" => times(1e3),
        "/ 1000" => times(1e-3),
        "x 100" => times(100.0),
        "sign" => times(-1.0),
        "-1e6" => "-1000000".to_owned(),
        _ => exchanged(cell, dice)?,
    })
}

fn exchanged(cell: &str, dice: &mut Dice) -> Option<String> {
    let digits: Vec<usize> =
        cell.char_indices().filter(|(_, c)| c.is_ascii_digit()).map(|(index, _)| index).collect();
    let pairs: Vec<&[usize]> = digits.windows(2).collect();
    let pair = pairs.get(dice.below(pairs.len()))?;
    let mut bytes = cell.as_bytes().to_vec();
    bytes.swap(*pair.first()?, *pair.last()?);
    String::from_utf8(bytes).ok()
}
