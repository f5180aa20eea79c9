//! Which photograph belongs to which run: proposed by order, time and brightness, accepted by a person.

use std::cmp::Ordering;
use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use arcmass_lab::photograph::view::{PhotoFacts, inspect};
use arcmass_notebook::edit::{EditFault, Grid, grid, set_cells_of};
use arcmass_notebook::folder::photo_bytes;
use axum::Json;
use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{blocking, broken, readings};
use crate::answer;
use crate::state::App;

/// A lit bench is at least this many times as bright as the darker half of the pictures: lit rooms with a ring in them stay
/// below it, scales photographed with the lights on lie above (of the drawn benches in `tests/data` at 8 and more).
const BRIGHTER: f64 = 3.0;
/// Photographs that are looked at for one proposal; a folder copied by hand may hold many.
const MOST: usize = 60;

/// What a photograph is like, as far as matching needs it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Look {
    taken_at: Option<String>,
    brightness: f64,
}

impl Look {
    pub(crate) fn of(facts: &PhotoFacts) -> Self {
        Self { taken_at: facts.taken_at.clone(), brightness: facts.brightness }
    }
}

/// Looks already taken, by name and what the file system says of the file.
#[derive(Default)]
pub(crate) struct Looks(Mutex<HashMap<String, (String, Look)>>);

impl Looks {
    /// Remembers what was seen when a photograph came in.
    pub(crate) fn remember(&self, app: &App, name: &str, look: Look) {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.insert(name.to_owned(), (file_stamp(app, name), look));
    }

    fn get(&self, app: &App, name: &str) -> Option<Look> {
        let stamp = file_stamp(app, name);
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner).get(name).cloned();
        if let Some((_, look)) = known.filter(|(of, _)| *of == stamp) {
            return Some(look);
        }
        let photo = photo_bytes(&app.root, name).ok()?;
        let look = Look::of(&inspect(&photo.bytes).ok()?);
        self.remember(app, name, look.clone());
        Some(look)
    }
}

fn file_stamp(app: &App, name: &str) -> String {
    let about = std::fs::metadata(app.root.join("photos").join(name));
    about.map_or_else(|_| String::new(), |about| format!("{} {:?}", about.len(), about.modified().ok()))
}

/// The photographs of one run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Pair {
    run: String,
    ring: String,
    /// The same as `ring`: both in one picture. None: the run's own stays.
    scale: Option<String>,
}

/// What could belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Proposal {
    pairs: Vec<Pair>,
    rings: usize,
    scales: Vec<String>,
    /// Whether the order is by the cameras' clocks.
    by_time: bool,
    /// Runs that wait for a photograph.
    waiting: usize,
}

/// What is proposed for the photographs that belong to no run yet; none where there is nothing to match.
pub(crate) fn proposal(app: &App, names: &[String], grid: &Grid) -> Option<Proposal> {
    let cell =
        |column| grid.rows.iter().map(move |row| grid.cell(row, column)).filter(|name| !name.is_empty());
    let used: BTreeSet<&str> = cell("ring_photo").chain(cell("scale_photo")).collect();
    let free: Vec<&String> = names.iter().filter(|name| !used.contains(name.as_str())).collect();
    if free.is_empty() || free.len() > MOST {
        return None;
    }
    let looks = free.iter().map(|name| app.looks.get(app, name).map(|look| ((*name).clone(), look)));
    propose(looks.collect::<Option<Vec<_>>>()?, &waiting(grid))
}

/// How many photographs belong to no run.
pub(crate) fn unmatched(app: &App, names: &[String]) -> usize {
    let text =
        arcmass_notebook::edit::raw_file(&app.root, readings::FILE).map(|raw| raw.text).unwrap_or_default();
    let grid = grid(&text);
    let is_used = |name: &String| {
        grid.rows
            .iter()
            .any(|row| ["ring_photo", "scale_photo"].iter().any(|column| grid.cell(row, column) == name))
    };
    names.iter().filter(|name| !is_used(name)).count()
}

/// Runs without a photograph, in the table's order, and whether a scale is named for each; struck ones and those with a diameter
/// read by hand wait for none.
fn waiting(grid: &Grid) -> Vec<(String, bool)> {
    let mut seen = BTreeSet::new();
    let rows = grid.rows.iter().filter(|row| seen.insert(grid.cell(row, "run")));
    let empty = |row: &&arcmass_notebook::edit::GridRow| {
        ["ring_photo", "diameter_mm", "struck_because"].iter().all(|column| grid.cell(row, column).is_empty())
    };
    rows.filter(empty)
        .map(|row| (grid.cell(row, "run").to_owned(), !grid.cell(row, "scale_photo").is_empty()))
        .collect()
}

fn propose(mut looks: Vec<(String, Look)>, waiting: &[(String, bool)]) -> Option<Proposal> {
    if waiting.is_empty() {
        return None;
    }
    let by_time = in_order(&mut looks);
    let bright = bright(&looks);
    let mut pairs = Vec::new();
    let rings: Vec<usize> = (0..looks.len()).filter(|at| !bright.contains(at)).collect();
    for (&at, (run, has_scale)) in rings.iter().zip(waiting) {
        // the scale is photographed after the ring, before anything else moves; the last one serves those after it
        let scale = bright.iter().find(|&&scale| scale > at).or(bright.last()).copied();
        let scale = scale.or_else(|| (!has_scale).then_some(at));
        let name = |at: usize| looks.get(at).map(|(name, _)| name.clone());
        pairs.push(Pair { run: run.clone(), ring: name(at)?, scale: scale.and_then(name) });
    }
    let scales = bright.iter().filter_map(|&at| looks.get(at)).map(|(name, _)| name.clone()).collect();
    (!pairs.is_empty()).then_some(Proposal {
        pairs,
        rings: rings.len(),
        scales,
        by_time,
        waiting: waiting.len(),
    })
}

/// Sorts by the cameras' clocks where every picture has a time of its own, else by name with numbers as numbers.
fn in_order(looks: &mut [(String, Look)]) -> bool {
    let times: BTreeSet<&str> = looks.iter().filter_map(|(_, look)| look.taken_at.as_deref()).collect();
    let by_time = looks.len() > 1 && times.len() == looks.len();
    if by_time {
        looks.sort_by(|a, b| a.1.taken_at.cmp(&b.1.taken_at));
    } else {
        looks.sort_by(|a, b| natural(&a.0, &b.0));
    }
    by_time
}

/// `ring-9` before `ring-10`, `image` before `image-2`.
fn natural(a: &str, b: &str) -> Ordering {
    pieces(a).cmp(&pieces(b))
}

/// A name without its ending as texts and numbers by turns.
fn pieces(name: &str) -> Vec<(String, u64)> {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_lowercase();
    let mut all = vec![(String::new(), 0_u64)];
    let mut was_digit = false;
    for letter in stem.chars() {
        if !letter.is_ascii_digit() && was_digit {
            all.push((String::new(), 0));
        }
        was_digit = letter.is_ascii_digit();
        if let Some((text, number)) = all.last_mut() {
            match letter.to_digit(10) {
                Some(digit) => *number = number.saturating_mul(10).saturating_add(u64::from(digit)),
                None => text.push(letter),
            }
        }
    }
    all
}

/// Places of the pictures that are far brighter than the rest: a scale with the lights on.
fn bright(looks: &[(String, Look)]) -> Vec<usize> {
    let mut levels: Vec<f64> = looks.iter().map(|(_, look)| look.brightness).collect();
    levels.sort_by(f64::total_cmp);
    // the darker half are rings: there are at least as many of them as scales
    let Some(&typical) = levels.get(levels.len().saturating_sub(1) / 2) else { return Vec::new() };
    let is_bright = |look: &Look| look.brightness > BRIGHTER * typical.max(0.01);
    looks.iter().enumerate().filter(|(_, (_, look))| is_bright(look)).map(|(at, _)| at).collect()
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// What is proposed, with a button that accepts all of it.
pub(crate) fn shown(proposal: &Proposal) -> Markup {
    let own = proposal.pairs.iter().any(|pair| pair.scale.as_ref() == Some(&pair.ring));
    let pairs = serde_json::to_string(&proposal.pairs).unwrap_or_default();
    html! {
        section.proposal aria-labelledby="proposal-heading" {
            h3 #proposal-heading {
                (counted(proposal.rings, "ring"))
                @if !proposal.scales.is_empty() { " and " (counted(proposal.scales.len(), "scale")) }
                " found"
            }
            p {
                @if own && proposal.rings == 1 { "Ring and scale are taken to be in one picture." }
                @else if own { "No picture is much brighter than the others: ring and scale are taken to be together in each." }
                @else if !proposal.scales.is_empty() { "The bright picture is taken for the scale." }
                @if proposal.rings > 1 { @if proposal.by_time { " Runs follow the camera’s clock." } @else { " Runs follow the names’ order." } }
            }
            table.pairs {
                thead { tr { th scope="col" { "Run" } th scope="col" { "Ring" } th scope="col" { "Scale" } } }
                tbody { @for pair in &proposal.pairs {
                    tr {
                        th scope="row" { (pair.run) }
                        td { (pair.ring) }
                        td { @match &pair.scale {
                            Some(scale) if *scale == pair.ring => "in the same picture",
                            Some(scale) => (scale),
                            None => "as named already",
                        } }
                    }
                } }
            }
            @if proposal.rings != proposal.waiting {
                p.caution { (counted(proposal.rings, "ring")) ", but " (counted(proposal.waiting, "run")) " without a photograph: look whether the order still holds." }
            }
            button.main type="button" data-accept=(pairs) { "Accept" @if proposal.rings == 1 { " and measure" } }
        }
    }
}

/// What was accepted.
#[derive(Debug, Deserialize)]
pub(crate) struct Accepted {
    pairs: Vec<Pair>,
}

/// `/photos/accept`: writes all names at once.
pub(crate) async fn accept(State(app): State<Arc<App>>, Json(accepted): Json<Accepted>) -> Response {
    let change = move || {
        let words = format!("{} matched", counted(accepted.pairs.len(), "photograph"));
        match readings::edit(&app, words, |text| written(text, &accepted.pairs)) {
            Ok(_) => answer::saved(&app, &json!({ "matched": accepted.pairs.len() })),
            Err(fault) => answer::refused(&fault),
        }
    };
    blocking(change).await.unwrap_or_else(broken)
}

fn written(text: &str, pairs: &[Pair]) -> Result<String, EditFault> {
    let mut text = text.to_owned();
    for pair in pairs {
        let now = grid(&text);
        let row = now.rows.iter().find(|row| now.cell(row, "run") == pair.run);
        let row = row.ok_or_else(|| EditFault::NoPlace(format!("there is no run {} any more", pair.run)))?;
        let there = now.cell(row, "ring_photo");
        if !there.is_empty() && there != pair.ring {
            let now = format!("{there} for run {}", pair.run);
            return Err(EditFault::Changed { file: readings::FILE.to_owned(), now });
        }
        let mut cells = vec![("ring_photo", pair.ring.as_str())];
        cells.extend(pair.scale.as_deref().map(|scale| ("scale_photo", scale)));
        text = set_cells_of(readings::FILE, &text, Some(&pair.run), &cells)?;
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(name: &str, brightness: f64, time: Option<&str>) -> (String, Look) {
        (name.to_owned(), Look { taken_at: time.map(str::to_owned), brightness })
    }

    fn runs(count: usize) -> Vec<(String, bool)> {
        (1..=count).map(|run| (run.to_string(), false)).collect()
    }

    fn told(proposal: &Proposal) -> Vec<String> {
        proposal
            .pairs
            .iter()
            .map(|p| format!("{} {} {}", p.run, p.ring, p.scale.as_deref().unwrap_or("-")))
            .collect()
    }

    #[test]
    fn dark_rings_take_runs_in_their_order_and_the_bright_picture_is_the_scale() {
        let looks = [("IMG_10.jpg", 0.03), ("IMG_9.jpg", 0.05), ("IMG_11.jpg", 0.4), ("IMG_8.jpg", 0.04)];
        let found = propose(looks.map(|(n, b)| look(n, b, None)).to_vec(), &runs(3)).unwrap();
        assert_eq!(
            told(&found),
            ["1 IMG_8.jpg IMG_11.jpg", "2 IMG_9.jpg IMG_11.jpg", "3 IMG_10.jpg IMG_11.jpg"]
        );
        assert!(!found.by_time && found.rings == 3 && found.scales.len() == 1);
    }

    #[test]
    fn the_clock_goes_before_the_name_and_each_ring_takes_the_next_scale() {
        let looks = [
            look("image.jpg", 0.05, Some("2026:03-12 10:05:00")),
            look("image-2.jpg", 0.5, Some("2026:03-12 10:06:00")),
            look("image-3.jpg", 0.04, Some("2026:03-12 10:01:00")),
            look("image-4.jpg", 0.5, Some("2026:03-12 10:02:00")),
        ];
        let found = propose(looks.to_vec(), &runs(2)).unwrap();
        assert_eq!(told(&found), ["1 image-3.jpg image-4.jpg", "2 image.jpg image-2.jpg"]);
        assert!(found.by_time);
    }

    #[test]
    fn pictures_alike_hold_ring_and_scale_both_and_what_is_too_many_waits() {
        let looks = ["image.jpg", "image-2.jpg", "image-10.jpg"].map(|name| look(name, 0.3, None));
        let found = propose(looks.to_vec(), &runs(2)).unwrap();
        assert_eq!(told(&found), ["1 image.jpg image.jpg", "2 image-2.jpg image-2.jpg"]);
        assert_eq!((found.rings, found.waiting), (3, 2));
        assert_eq!(propose(looks.to_vec(), &[]), None);
        let named = propose(looks[..1].to_vec(), &[("7".to_owned(), true)]).unwrap();
        assert_eq!(told(&named), ["7 image.jpg -"], "a scale that is named already stays");
    }

    #[test]
    fn what_was_matched_meanwhile_is_not_written_over() {
        let text = "run,voltage_V,current_A,ring_photo\n1,200,1.5,\n2,200,1.5,b.jpg\n";
        let pair = |run: &str| Pair {
            run: run.to_owned(),
            ring: "a.jpg".to_owned(),
            scale: Some("s.jpg".to_owned()),
        };
        let new = written(text, &[pair("1")]).unwrap();
        assert_eq!(
            new,
            "run,voltage_V,current_A,ring_photo,scale_photo\n1,200,1.5,a.jpg,s.jpg\n2,200,1.5,b.jpg,\n"
        );
        assert!(matches!(written(text, &[pair("2")]), Err(EditFault::Changed { .. })));
        assert!(matches!(written(text, &[pair("3")]), Err(EditFault::NoPlace(_))));
    }
}
