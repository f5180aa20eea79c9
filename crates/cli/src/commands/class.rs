//! `arcmass class check`: a class's table to each group's verdict and the pooled mass.

use std::path::{Path, PathBuf};

use arcmass_class::document::{BenchEntry, ClassDocument, GroupEntry, SlipEntry, Verdict};
use arcmass_class::slips::{Where, slip_of};
use arcmass_class::{NamedBench, check, make_class_demo};
use arcmass_lab::document::probability;
use arcmass_notebook::{Notebook, read_class};
use arcmass_quantity::print;

use crate::arguments::{Arguments, ClassCheck, ClassCommand};
use crate::ending::Ending;
use crate::show::{self, Sheet, bare, with_unit};

pub(crate) fn run(asked: &ClassCommand, arguments: &Arguments) -> Result<(), Ending> {
    match asked {
        ClassCommand::Check(asked) => run_check(asked, arguments),
    }
}

fn run_check(asked: &ClassCheck, arguments: &Arguments) -> Result<(), Ending> {
    let table = read_class(&asked.table, asked.columns.as_deref())?;
    let benches: Vec<NamedBench> = asked.benches.iter().map(|word| named(word)).collect::<Result<_, _>>()?;
    if let Some(twice) = twice(&benches) {
        return Err(Ending::input(
            "command line",
            &format!("each bench needs a name of its own, and two are called `{twice}`"),
            "give one of them another name: `--bench NAME=DIR`",
        ));
    }
    let document = check(&table, &benches, &arguments.desk())?;
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    print_class(&mut sheet, &document);
    sheet.out()
}

/// Makes a class of simulated groups, and judges it.
pub(crate) fn demo(folder: &Path, arguments: &Arguments) -> Result<(), Ending> {
    let made = make_class_demo(folder, &arguments.desk())?;
    let table = read_class(&made.table, None)?;
    let benches: Vec<NamedBench> =
        made.benches.iter().map(|bench| named(&bench.display().to_string())).collect::<Result<_, _>>()?;
    let document = check(&table, &benches, &arguments.desk())?;
    if arguments.json {
        return show::json(&document, &document.caveats);
    }
    let mut sheet = Sheet::default();
    sheet.line(format!(
        "A simulated class in {}: class.csv, and a notebook for each bench.",
        folder.display()
    ));
    sheet.gap();
    print_class(&mut sheet, &document);
    sheet.gap();
    let given: Vec<String> =
        made.benches.iter().map(|bench| format!("--bench {}", bench.display())).collect();
    sheet.line("The same once more, after a change of the table:");
    sheet.line(format!("  arcmass class check {} {}", made.table.display(), given.join(" ")));
    sheet.line("Its hidden truth is in hidden-truth.json; look there last.");
    sheet.out()
}

/// `DIR` under its folder's name, or `NAME=DIR`; a folder whose own name holds the sign is taken as it is.
fn named(word: &str) -> Result<NamedBench, Ending> {
    let (name, folder) = match word.split_once('=') {
        Some((name, folder)) if !Path::new(word).exists() => (Some(name.to_owned()), PathBuf::from(folder)),
        _ => (None, PathBuf::from(word)),
    };
    let notebook = Notebook::open(&folder)?;
    let own = std::fs::canonicalize(&folder).unwrap_or(folder);
    let own = own
        .file_name()
        .map_or_else(|| notebook.bench.name.clone(), |name| name.to_string_lossy().into_owned());
    Ok(NamedBench { name: name.unwrap_or(own), notebook })
}

fn twice(benches: &[NamedBench]) -> Option<&str> {
    let is_before =
        |(at, bench): &(usize, &NamedBench)| benches.iter().take(*at).any(|b| b.name == bench.name);
    benches.iter().enumerate().find(is_before).map(|(_, bench)| bench.name.as_str())
}

fn print_class(sheet: &mut Sheet, document: &ClassDocument) {
    if let Some(mass) = &document.pooled_mass_kg {
        sheet.line(format!("Mass from the class    {}", with_unit(mass, "kg")));
        let [low, high] = mass.interval_95;
        sheet.line(format!("  95 % interval        {} kg", print::interval(low, high)));
    }
    if let Some(between) = &document.between_groups {
        let [low, high] = between.interval_95;
        sheet.line(format!(
            "  between groups       {} %, 95 % interval {} to {} %",
            print::fixed(between.standard_deviation_percent, -1),
            print::fixed(low, -1),
            print::fixed(high, -1)
        ));
    }
    sheet.line(counts(&document.groups));
    sheet.gap();
    let heading = ["group", "bench", "verdict", "claimed", "as written", "mended"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    rows.extend(document.groups.iter().map(row));
    sheet.table(&rows);
    sheet.line("  Masses in 10⁻³¹ kg.");
    for group in document.groups.iter().filter(|group| !group.slips.is_empty() || !group.faults.is_empty()) {
        sheet.gap();
        block(sheet, group);
    }
    for bench in document.benches.iter().filter(|bench| bench.mass_kg.is_some()) {
        sheet.gap();
        of_bench(sheet, bench);
    }
    sheet.notes(&[], &document.caveats);
}

fn counts(groups: &[GroupEntry]) -> String {
    let of = |verdict: Verdict| groups.iter().filter(|group| group.verdict == verdict).count();
    let words = [
        (Verdict::Honest, "right within the scatter"),
        (Verdict::Bench, "right on a bench that is not as its file says"),
        (Verdict::Slip, "with a slip named"),
        (Verdict::Undecided, "undecided"),
        (Verdict::TooFew, "with too few rows"),
        (Verdict::Unreadable, "not readable"),
    ];
    let said = words.iter().map(|(verdict, words)| (of(*verdict), words)).filter(|(count, _)| *count > 0);
    let said: Vec<String> = said.map(|(count, words)| format!("{count} {words}")).collect();
    format!("{} groups: {}", groups.len(), said.join(", "))
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Slip => "▲ slip",
        Verdict::Undecided => "△ undecided",
        Verdict::Bench => "■ bench",
        Verdict::Honest => "● honest",
        Verdict::TooFew => "○ too few",
        Verdict::Unreadable => "✕ unreadable",
    }
}

fn row(group: &GroupEntry) -> Vec<String> {
    let none = || "–".to_owned();
    let claimed = group.claimed_mass_kg.map_or_else(none, |mass| print::significant(mass * 1e31, 4));
    let as_written = group.as_written_mass_kg.as_ref().map_or_else(none, |mass| bare(&mass.times(1e31)));
    let mended = group.recomputed_mass_kg.as_ref().map_or_else(none, |mass| bare(&mass.times(1e31)));
    let bench = group.bench.clone().unwrap_or_else(none);
    vec![group.group.clone(), bench, word(group.verdict).to_owned(), claimed, as_written, mended]
}

/// A group's slips, each with its question; one group a block, to be shown to that group alone.
fn block(sheet: &mut Sheet, group: &GroupEntry) {
    let bench = group.bench.as_ref().map_or(String::new(), |bench| format!(", bench {bench}"));
    sheet.line(format!("{}{bench}", group.group));
    for slip in &group.slips {
        sheet
            .paragraph("  ▲ ", &format!("{} ({}, {}).", what(slip), place(slip), posterior(slip.confidence)));
        sheet.paragraph("    ", slip.hint);
    }
    for fault in &group.faults {
        let line = fault.line.map_or(String::new(), |line| format!("line {line}: "));
        sheet.paragraph(
            "  ✕ ",
            &format!("{line}{}; accepted: {}; {}.", fault.found, fault.accepted, fault.remedy),
        );
    }
}

fn what(slip: &SlipEntry) -> &'static str {
    slip_of(slip.code).map_or(slip.code, |slip| slip.what)
}

fn place(slip: &SlipEntry) -> String {
    let place = match slip.place {
        Where::Reading => "in the table",
        Where::Working => "in the sum",
    };
    match slip.rows.as_deref() {
        Some([line]) => format!("{place}, line {line}"),
        Some([first, .., last]) => format!("{place}, lines {first} to {last}"),
        _ => place.to_owned(),
    }
}

fn posterior(confidence: f64) -> String {
    format!("posterior probability {}", probability(confidence))
}

fn of_bench(sheet: &mut Sheet, bench: &BenchEntry) {
    let Some(mass) = &bench.mass_kg else { return };
    let away = bench.difference_in_u.map_or(String::new(), |z| {
        format!(
            ", {} u {} the accepted mass",
            print::fixed(z.abs(), -1),
            if z > 0.0 { "above" } else { "below" }
        )
    });
    sheet.line(format!("Bench {}   {}{away}", bench.bench, with_unit(mass, "kg")));
    for finding in &bench.findings {
        sheet.paragraph(
            "  ▲ ",
            &format!("{} ({}).", show::capital(&finding.sentence), posterior(finding.confidence)),
        );
        sheet.paragraph("    what to do: ", &finding.remedy);
    }
}
