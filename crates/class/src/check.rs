//! The job `class check`: a table and its benches' notebooks to one document.

use arcmass_lab::document::{CaveatEntry, FaultEntry, Finding};
use arcmass_lab::{Desk, LabError};
use arcmass_notebook::{ClassGroup, ClassTable, Fault, Notebook};
use arcmass_quantity::constants::ELEMENTARY_CHARGE;
use arcmass_quantity::print;

use crate::bench::{
    ALTERNATIVES, Fitted, Judged, OnBench, Settings, judge, learned, look, on_bench, prior_of, share_alike,
};
use crate::document::{BenchEntry, ClassDocument, GroupEntry, Verdict};
use crate::group::{Candidate, Second};
use crate::mass::{Before, LnMass, Part, as_claimed, pool};
use crate::physics::{BenchPhysics, Shared};
use crate::reading::no_slip;
use crate::rows::{GroupRows, Scatter};
use crate::verdict;
use crate::working::{Own, Work, working_slips};

/// A bench's notebook under the name that the table uses.
#[derive(Debug)]
pub struct NamedBench {
    /// As the table names it.
    pub name: String,
    /// Its folder, read.
    pub notebook: Notebook,
}

/// A readable group and what became of it.
struct Checked<'a> {
    group: &'a ClassGroup,
    /// Place of its bench among those given.
    bench: Option<usize>,
    /// Its own place among that bench's groups.
    at: usize,
    on_bench: OnBench,
    own: Own,
    works: Vec<Work>,
    candidates: Vec<Candidate>,
    verdict: Verdict,
}

/// Judges every group of a class.
///
/// - **Takes** the table and the notebooks of its benches; without any only the groups' own sums are judged.
/// - **Gives** the document; a group that can't be read stands in it with its faults.
/// - **Fails** where no group can be read, or a bench's notebook does not give its field.
pub fn check(table: &ClassTable, benches: &[NamedBench], desk: &Desk) -> Result<ClassDocument, LabError> {
    let physics: Vec<BenchPhysics> =
        benches.iter().map(|bench| BenchPhysics::of(&bench.notebook, desk)).collect::<Result<_, _>>()?;
    let file = table.inputs.first().map_or("class.csv", |input| input.file.as_str());
    let mut faults: Vec<Vec<Fault>> = table.groups.iter().map(|group| group.faults.clone()).collect();
    let places: Vec<Option<usize>> = table
        .groups
        .iter()
        .zip(&mut faults)
        .map(|(group, faults)| place(group, benches, file, faults))
        .collect();
    let is_readable = |index: usize| faults[index].is_empty();
    if !(0..table.groups.len()).any(is_readable) {
        let all: Vec<Fault> =
            faults.into_iter().flatten().chain(table.stray_faults.iter().cloned()).collect();
        return Err(arcmass_notebook::Faults(if all.is_empty() { vec![no_rows(file)] } else { all }).into());
    }
    let readable: Vec<usize> = (0..table.groups.len()).filter(|index| is_readable(*index)).collect();
    let plain: Vec<GroupRows> = readable
        .iter()
        .map(|index| GroupRows::of(&table.groups[*index].rows, table.asked.is_radius))
        .collect();
    let settings = Settings::of(&plain.iter().collect::<Vec<_>>());
    let (checked, judged, scatter) = stages(table, &physics, &places, &readable, &settings);
    Ok(written(table, benches, &physics, checked, judged, scatter, &faults, desk))
}

fn no_rows(file: &str) -> Fault {
    Fault::of_file(
        file,
        "a table without rows",
        "one row a reading below the heading",
        "add the groups' readings",
    )
}

/// Which of the given benches a group used.
fn place(group: &ClassGroup, benches: &[NamedBench], file: &str, faults: &mut Vec<Fault>) -> Option<usize> {
    if benches.is_empty() {
        return None;
    }
    let found = match &group.bench {
        Some(name) => benches.iter().position(|bench| bench.name == *name),
        None if benches.len() == 1 => Some(0),
        None => None,
    };
    if found.is_none() {
        let names: Vec<String> = benches.iter().map(|bench| format!("`{}`", bench.name)).collect();
        let (said, remedy) = match &group.bench {
            Some(name) => (
                format!("bench `{name}`, which no notebook describes"),
                format!(
                    "give its notebook with `--bench DIR`, or `--bench {name}=DIR` where the folder has another name"
                ),
            ),
            None => (
                "no bench, with several notebooks given".to_owned(),
                "add a column `bench`, or check the benches one by one".to_owned(),
            ),
        };
        let mut fault = Fault::of_file(file, said, names.join(", "), remedy);
        fault.line = group.lines.first().copied();
        faults.push(fault);
    }
    found
}

type Stages<'a> = (Vec<Checked<'a>>, Vec<Option<Judged>>, Scatter);

fn stages<'a>(
    table: &'a ClassTable,
    physics: &[BenchPhysics],
    places: &[Option<usize>],
    readable: &[usize],
    settings: &Settings,
) -> Stages<'a> {
    let of_bench = |bench: usize| -> Vec<usize> {
        readable.iter().copied().filter(|index| places[*index] == Some(bench)).collect()
    };
    let members: Vec<Vec<usize>> = (0..physics.len()).map(of_bench).collect();
    let first = Scatter::default();
    let groups = |scatter: &Scatter| -> Vec<Vec<OnBench>> {
        members
            .iter()
            .zip(physics)
            .map(|(members, bench)| {
                members
                    .iter()
                    .map(|index| on_bench(bench, &table.groups[*index], &table.asked, settings, scatter))
                    .collect()
            })
            .collect()
    };
    let mut on = groups(&first);
    let looked: Vec<Fitted> = on
        .iter_mut()
        .zip(physics)
        .map(|(groups, bench)| look(bench, groups, &first, table.asked.is_radius))
        .collect();
    let scatter = learned(&looked, &first);
    let looked: Vec<Judged> =
        on.iter().zip(physics).map(|(groups, bench)| judge(bench, groups, &scatter)).collect();
    let mut on: Vec<Vec<Option<OnBench>>> =
        on.into_iter().map(|groups| groups.into_iter().map(Some).collect()).collect();
    let mut checked = Vec::new();
    for &index in readable {
        let group = &table.groups[index];
        let own = Own::of(group);
        let bench = places[index];
        let works = working_slips(&own, &table.asked, bench.map(|bench| &physics[bench]));
        let at =
            bench.and_then(|bench| Some((bench, members[bench].iter().position(|member| *member == index)?)));
        let taken = at.and_then(|(bench, at)| on[bench][at].take());
        let on_bench = taken.unwrap_or_else(|| alone(group, table.asked.is_radius));
        let judged = bench.map(|bench| &looked[bench]);
        let mut ln_readings = match (at, judged) {
            (Some((_, at)), Some(judged)) => judged.ln_slips(at),
            _ => vec![0.0],
        };
        if let (Some(bench), true) = (bench, table.asked.is_radius) {
            share_alike(&physics[bench], &on_bench, &mut ln_readings);
        }
        let second = Second {
            bench: bench.map(|bench| &physics[bench]),
            on_bench: &on_bench,
            own: &own,
            works: &works,
            scatter: &scatter,
            is_radius: table.asked.is_radius,
        };
        let candidates = second.candidates(&ln_readings, judged);
        let has_claim = own.has_any();
        let verdict =
            if group.rows.len() < 2 && !has_claim { Verdict::TooFew } else { verdict::verdict(&candidates) };
        checked.push(Checked {
            group,
            bench,
            at: at.map_or(0, |(_, at)| at),
            on_bench,
            own,
            works,
            candidates,
            verdict,
        });
    }
    (checked, looked.into_iter().map(Some).collect(), scatter)
}

/// A group whose bench nobody described.
fn alone(group: &ClassGroup, is_radius: bool) -> OnBench {
    OnBench { rows: GroupRows::of(&group.rows, is_radius), slips: vec![no_slip(1.0)], ln_prior: vec![0.0] }
}

/// Other groups of a bench whose rows must be right by themselves before the bench is called wrong.
const OTHERS: usize = 2;
/// Distance from the accepted mass from which a bench disagrees, in standard uncertainties.
const FAR_U: f64 = 3.0;

#[allow(clippy::too_many_arguments)]
fn written(
    table: &ClassTable,
    benches: &[NamedBench],
    physics: &[BenchPhysics],
    mut checked: Vec<Checked<'_>>,
    judged: Vec<Option<Judged>>,
    scatter: Scatter,
    faults: &[Vec<Fault>],
    desk: &Desk,
) -> ClassDocument {
    let mut outside = Vec::new();
    for (place, bench) in physics.iter().enumerate() {
        let right: Vec<usize> = (0..checked.len())
            .filter(|i| checked[*i].bench == Some(place) && checked[*i].verdict == Verdict::Honest)
            .collect();
        let is_outside = judged[place].as_ref().is_some_and(|judged| {
            1.0 - judged.weights[0] >= 0.5 || {
                let before = before(bench, judged, &scatter, true);
                let parts: Vec<Part<'_>> = right.iter().map(|i| part(&checked[*i], judged, 0)).collect();
                before.together(&parts, 0.0).is_some_and(|(mass, _)| mass.difference_in_u().abs() > FAR_U)
            }
        });
        // a slip of the sum says nothing against the rows
        let rows_are_right = |one: &&Checked<'_>| {
            let right = one.candidates.iter().filter(|c| c.reading == 0).map(|c| c.probability);
            one.bench == Some(place) && right.sum::<f64>() >= 0.5
        };
        if is_outside && checked.iter().filter(rows_are_right).count() > OTHERS {
            right.iter().for_each(|i| checked[*i].verdict = Verdict::Bench);
        }
        outside.push(is_outside);
    }
    let pooled = pooled(physics, &checked, &judged, &scatter);
    let claims: Vec<f64> = checked.iter().filter_map(|checked| claimed(checked.group)).collect();
    let bench_entries = benches
        .iter()
        .zip(physics)
        .zip(&judged)
        .zip(&pooled.benches)
        .map(|(((named, bench), judged), mass)| BenchEntry {
            bench: named.name.clone(),
            mass_kg: mass.as_ref().map(LnMass::q),
            difference_in_u: mass.as_ref().map(LnMass::difference_in_u),
            findings: judged.as_ref().map(|judged| findings(bench, judged)).unwrap_or_default(),
        })
        .collect();
    let mut of_groups = checked.iter();
    let mut groups = Vec::new();
    for (index, group) in table.groups.iter().enumerate() {
        if !faults[index].is_empty() {
            groups.push(unreadable(group, &faults[index]));
        } else if let Some(one) = of_groups.next() {
            groups.push(entry(one, table, physics, &judged, &scatter));
        }
    }
    let mut inputs = table.inputs.clone();
    inputs.extend(benches.iter().flat_map(|bench| bench.notebook.inputs()));
    ClassDocument {
        schema: "arcmass.class/1",
        made_by: desk.made_by(inputs),
        groups,
        benches: bench_entries,
        pooled_mass_kg: pooled.pooled.as_ref().map(LnMass::q),
        as_claimed_mass_kg: as_claimed(&claims).as_ref().map(LnMass::q),
        between_groups: pooled.between_groups(),
        caveats: caveats(table, benches, &outside),
    }
}

/// What the bench's groups are weighed with: the file, or where it lies outside its file the widened model.
fn before<'a>(bench: &'a BenchPhysics, judged: &Judged, scatter: &'a Scatter, as_stated: bool) -> Before<'a> {
    let best = if as_stated || judged.weights[0] >= 0.5 { 0 } else { judged.best() };
    let (mean, covariance) = prior_of(bench, best);
    Before { bench, mean, covariance, scatter }
}

fn part<'a>(one: &'a Checked<'_>, judged: &Judged, slip: usize) -> Part<'a> {
    let factors = judged.fits[judged.best()].factors.get(one.at);
    let factor = factors.and_then(|factors| factors.get(slip)).copied().unwrap_or(3);
    // a few rows may happen to lie close: no less than seven tenths of the stated scatter
    Part { rows: &one.on_bench.rows, slip: &one.on_bench.slips[slip], factor: factor.max(2) }
}

/// The slip of reading under which a group's mass may be taken: none where candidates that differ in it stay.
fn mended_reading(one: &Checked<'_>) -> Option<usize> {
    let stay: Vec<&Candidate> = one.candidates.iter().filter(|c| c.probability >= verdict::LISTED).collect();
    let first = stay.first()?.reading;
    let code = |reading: usize| -> Vec<&str> {
        one.on_bench.slips[reading].parts().iter().map(|(code, _)| *code).collect()
    };
    let is_same = |c: &&Candidate| c.reading == first || code(c.reading) == code(first);
    let decided =
        one.verdict == Verdict::Slip || one.verdict == Verdict::Honest || one.verdict == Verdict::Bench;
    (decided || stay.iter().all(is_same)).then_some(first)
}

fn pooled(
    physics: &[BenchPhysics],
    checked: &[Checked<'_>],
    judged: &[Option<Judged>],
    scatter: &Scatter,
) -> crate::mass::Pool {
    let benches: Vec<(Before<'_>, Vec<Part<'_>>)> = physics
        .iter()
        .enumerate()
        .filter_map(|(place, bench)| {
            let judged = judged[place].as_ref()?;
            let of = checked.iter().filter(|one| one.bench == Some(place) && one.verdict != Verdict::TooFew);
            let parts = of.filter_map(|one| Some(part(one, judged, mended_reading(one)?)));
            Some((before(bench, judged, scatter, false), parts.collect()))
        })
        .collect();
    pool(&benches)
}

/// What a group claims as a mass.
fn claimed(group: &ClassGroup) -> Option<f64> {
    let ratio = group.claimed_ratio.as_ref().map(|ratio| ELEMENTARY_CHARGE.value / ratio.value);
    group.claimed_mass.as_ref().map(|mass| mass.value).or(ratio)
}

fn entry(
    one: &Checked<'_>,
    table: &ClassTable,
    physics: &[BenchPhysics],
    judged: &[Option<Judged>],
    scatter: &Scatter,
) -> GroupEntry {
    let bench = one.bench.map(|place| &physics[place]);
    let judged = one.bench.and_then(|place| judged[place].as_ref());
    let second = Second {
        bench,
        on_bench: &one.on_bench,
        own: &one.own,
        works: &one.works,
        scatter,
        is_radius: table.asked.is_radius,
    };
    let lines: Vec<usize> = one.group.rows.iter().map(|row| row.line).collect();
    let is_judged = one.verdict != Verdict::TooFew;
    let slips = match (is_judged, one.verdict) {
        (false, _) => Vec::new(),
        _ => verdict::slips(&one.candidates, &second, judged, &lines, one.verdict == Verdict::Slip),
    };
    let mass = |slip: usize| {
        let (bench, judged) = (bench?, judged?);
        let before = before(bench, judged, scatter, false);
        before.group(&part(one, judged, slip))
    };
    GroupEntry {
        group: one.group.group.clone(),
        bench: one.group.bench.clone(),
        rows: one.group.lines.clone(),
        verdict: one.verdict,
        claimed_mass_kg: claimed(one.group),
        as_written_mass_kg: if is_judged { mass(0).as_ref().map(LnMass::q) } else { None },
        recomputed_mass_kg: if is_judged {
            mended_reading(one).and_then(mass).as_ref().map(LnMass::q)
        } else {
            None
        },
        slips,
        faults: Vec::new(),
    }
}

fn unreadable(group: &ClassGroup, faults: &[Fault]) -> GroupEntry {
    let fault = |fault: &Fault| FaultEntry {
        file: fault.file.clone(),
        line: fault.line,
        column: fault.column,
        found: fault.found.clone(),
        accepted: fault.accepted.clone(),
        remedy: fault.remedy.clone(),
    };
    GroupEntry {
        group: group.group.clone(),
        bench: group.bench.clone(),
        rows: group.lines.clone(),
        verdict: Verdict::Unreadable,
        claimed_mass_kg: None,
        as_written_mass_kg: None,
        recomputed_mass_kg: None,
        slips: Vec::new(),
        faults: faults.iter().map(fault).collect(),
    }
}

/// What the bench's groups say together against its file.
fn findings(bench: &BenchPhysics, judged: &Judged) -> Vec<Finding> {
    let mut found: Vec<Finding> = ALTERNATIVES
        .iter()
        .enumerate()
        .skip(1)
        .filter(|(place, _)| judged.weights[*place] >= 0.1 && judged.weights[0] < 0.5)
        .map(|(place, alternative)| {
            let fit = &judged.fits[place];
            let at = |what: Shared, factor: f64| {
                bench.place(what).map_or(String::new(), |i| {
                    print::short(factor * fit.theta[i], factor * fit.covariance[(i, i)].max(0.0).sqrt())
                })
            };
            let (sentence, remedy) = match alternative.code {
                "voltage-offset" => (
                    format!("the groups' rings fit a voltage offset of {} V, outside what the bench file states", at(Shared::VoltageOffset, 1.0)),
                    "take runs at well separated voltages on this bench and reduce them; then state voltage_offset under [gun]",
                ),
                "stray-field-axial" => (
                    format!("the groups' rings fit a background of {} µT along the axis, outside what the bench file states", at(Shared::Background(2), 1e6)),
                    "look for iron and magnets near the bench, and take runs with the field reversed",
                ),
                "field-scale" => (
                    "the rings of the groups fit a coil constant other than the one in the bench file".to_owned(),
                    "measure separation, radius and turns of the coils again, or the field with a probe",
                ),
                "edge-offset" => (
                    format!("all groups' diameters are off by {} mm alike", at(Shared::Edge, 1e3)),
                    "look at the zero offset of the scale and at which edge of the beam the class was told to read",
                ),
                _ => (
                    format!("the groups' rings fit a beam that loses {} V in the gas at 200 V", at(Shared::GasLoss, 1.0)),
                    "look at the gas pressure or the tube's age",
                ),
            };
            Finding { code: alternative.code.to_owned(), confidence: judged.weights[place], sentence, remedy: remedy.to_owned() }
        })
        .collect();
    found.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    found
}

fn caveats(table: &ClassTable, benches: &[NamedBench], outside: &[bool]) -> Vec<CaveatEntry> {
    let mut caveats = Vec::new();
    let mut say = |code: &str, sentence: String, remedy: &str| {
        caveats.push(CaveatEntry { code: code.to_owned(), sentence, remedy: remedy.to_owned() });
    };
    if benches.is_empty() {
        say(
            "no-bench",
            "no notebook of a bench was given: only the groups' own sums are judged, not their readings"
                .to_owned(),
            "give the notebooks of the benches with `--bench DIR`",
        );
    }
    let rows = || table.groups.iter().flat_map(|group| &group.rows);
    if rows().any(|row| row.length_u_m.is_none()) {
        say(
            "diameter-uncertainty-not-stated",
            "no uncertainty of the diameter is stated; it is taken from the scatter of the class".to_owned(),
            "ask for `diameter_u_mm` beside the diameter",
        );
    }
    for (bench, _) in benches.iter().zip(outside).filter(|(_, outside)| **outside) {
        say(
            "bench-outside-its-file",
            format!(
                "bench {} disagrees with its own file; its groups are pooled with the widened model",
                bench.name
            ),
            "see the bench's findings, and reduce runs of its own",
        );
    }
    for fault in &table.stray_faults {
        let line = fault.line.map_or(String::new(), |line| format!("line {line}: "));
        say("row-left-out", format!("{line}{}, accepted: {}", fault.found, fault.accepted), &fault.remedy);
    }
    caveats
}
