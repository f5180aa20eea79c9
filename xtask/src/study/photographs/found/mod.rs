//! The kind "as found in laboratories": one phone picture a notebook, unaided, with three clicks, and with two on the scale.

mod clicks;
mod figures;
mod measure;
mod scene;
mod truth;

use std::path::Path;

use arcmass_draw::{FOUND_CONDITIONS, FoundCondition};

use super::{Asked, each_task, kept_file, read_lines};
use measure::Row;

fn conditions(asked: &Asked) -> impl Iterator<Item = &'static FoundCondition> {
    FOUND_CONDITIONS
        .iter()
        .filter(|condition| asked.only.as_deref().is_none_or(|only| only == condition.name))
}

/// Draws the pictures of every condition into a folder, with their truth, and measures nothing.
pub(super) fn draw(asked: &Asked, folder: &Path) -> Result<(), String> {
    let tasks: Vec<_> =
        (0..asked.benches).flat_map(|seed| conditions(asked).map(move |c| (c, seed))).collect();
    each_task(&tasks, asked.workers, |(condition, seed)| {
        let name = name(condition, *seed);
        if let Err(why) = scene::draw_into(&folder.join(&name), condition, *seed) {
            eprintln!("{name}: not drawn: {why}");
        }
    });
    Ok(())
}

/// A folder name of a picture.
fn name(condition: &FoundCondition, seed: u64) -> String {
    format!("{}-{seed}", condition.name.replace(' ', "-"))
}

/// Draws and measures what is not yet measured, and prints the tables.
pub(super) fn study(asked: &Asked) -> Result<(), String> {
    let path = kept_file("photographs-found.jsonl")?;
    if asked.is_fresh {
        let _ = std::fs::remove_file(&path);
    }
    if !asked.is_table {
        measure_all(asked, &path)?;
    }
    let rows: Vec<Row> = read_lines(&path);
    println!("{}", figures::markdown(&rows));
    figures::tell_of_the_worst(&rows);
    Ok(())
}

fn measure_all(asked: &Asked, path: &Path) -> Result<(), String> {
    let before: Vec<Row> = read_lines(path);
    let is_done = |condition: &FoundCondition, seed: u64| {
        before.iter().any(|row| row.condition == condition.name && row.seed == seed)
    };
    let all = (0..asked.benches).flat_map(|seed| conditions(asked).map(move |c| (c, seed)));
    let tasks: Vec<_> = all.filter(|(condition, seed)| !is_done(condition, *seed)).collect();
    let file = super::appended(path)?;
    let count = std::sync::atomic::AtomicUsize::new(0);
    each_task(&tasks, asked.workers, |(condition, seed)| {
        match one(condition, *seed, asked.keep.as_deref()) {
            Ok(row) => super::keep(&file, &[row]),
            Err(why) => eprintln!("{} {seed}: not drawn: {why}", condition.name),
        }
        let done = count.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
        eprintln!("{done} of {}: {} {seed}", tasks.len(), condition.name);
    });
    Ok(())
}

/// One picture, drawn unless it is kept from before, and measured in the three ways.
fn one(condition: &FoundCondition, seed: u64, kept: Option<&Path>) -> Result<Row, String> {
    let passing = tempfile::tempdir().map_err(|fault| fault.to_string())?;
    let folder = kept.map_or_else(|| passing.path().to_owned(), |kept| kept.join(name(condition, seed)));
    let truth = match truth::read(&folder) {
        Some(truth) => truth,
        None => scene::draw_into(&folder, condition, seed)?,
    };
    measure::row(&folder, &truth, condition, seed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A few pictures, whole, as CI can afford them.
    #[test]
    fn pictures_as_found_are_read_or_refused_but_never_silently_wrong_into_a_mass() {
        for (name, seed) in [("thin beam", 0), ("pointers", 0), ("black", 3)] {
            let condition = FOUND_CONDITIONS.iter().find(|c| c.name == name);
            let row = condition.ok_or("no such condition".to_owned()).and_then(|c| one(c, seed, None));
            match row {
                Ok(row) => assert!(!row.is_wrong_into_a_mass(), "{name} seed {seed}: {row:?}"),
                Err(why) => unreachable!("{name} seed {seed}: {why}"),
            }
        }
    }
}
