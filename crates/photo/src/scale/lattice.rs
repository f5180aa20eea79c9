//! Squared paper and checker boards: the crossings found, counted along both directions, to a small part of a pixel.

mod cross;
mod grow;
mod look;
mod period;
mod print;
mod smooth;

use grow::{Grower, Nodes, nearest};
use look::Look;
use period::{Correlator, PATCH, Period};
use print::Print;
use smooth::Smooth;

use crate::error::{PhotoCaveat, PhotoError};
use crate::picture::{LightPlane, Picture};
use crate::scale::{ScaleFound, ScaleHints, ScaleKind};

/// Fewer crossings than this are not taken for a lattice; in each direction at least [`FEWEST_ACROSS`].
const FEWEST_CROSSINGS: usize = 12;
const FEWEST_ACROSS: i32 = 3;
/// Levels of the picture, each half as large as the one before.
const LEVELS: usize = 6;
/// Patches looked at along the longer side, and patches from which the lattice is grown, on each level.
const PATCHES: usize = 7;
const STARTS: usize = 4;
/// A lattice over this part of the picture ends the search.
const ENOUGH: f64 = 0.04;
/// More crossings than this add nothing to a dozen unknowns.
const MOST_USED: usize = 900;
/// Light repeated in a patch with less variance than this is the grain of the file.
const LEAST_POWER: f64 = 1e-5;
/// Smallest standard uncertainty of a crossing in pixels: print, compression, pixel response.
const LEAST_U_PX: f64 = 0.02;
/// Crossings further than this many standard deviations from the smooth whole are left out.
const FAR: f64 = 3.5;
/// Crossings that scatter by more than this part of a step about the smooth whole were not counted rightly.
const LOOSE: f64 = 0.03;
/// A few wrongly counted crossings pull the whole at first: it is made again so many times at most.
const WEEDINGS: usize = 12;
/// Lines closer than this may have finer ones between them that the picture does not show.
const CLEAR_STEP_PX: f64 = 24.0;

/// One crossing of lines, or corner of four squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleCrossing {
    /// Numbers along both directions, the second a quarter turn counter-clockwise from the first as seen.
    pub number: [i32; 2],
    /// Where it is, in pixels.
    pub px: [f64; 2],
    /// Standard uncertainty in each direction, in pixels.
    pub u_px: f64,
}

/// Finds squared paper or a board.
///
/// The autocorrelation of patches gives the two steps, on the finest level of the picture that shows them; from one
/// crossing its neighbours are expected and looked for, what is hidden is stepped over by the smooth whole; the lines'
/// strengths tell whether finer lines lie between.
///
/// - **Fails** with [`PhotoError::NoScale`], or [`PhotoError::ScaleUnclear`] where no spacing is stated.
pub(crate) fn find_lattice(picture: &Picture, hints: &ScaleHints) -> Result<ScaleFound, PhotoError> {
    let board = hints.kind == ScaleKind::Board;
    let what = if board { "board of squares" } else { "lattice of crossed lines" };
    let Some(spacing_mm) = hints.spacing_mm else {
        return Err(PhotoError::ScaleUnclear { why: format!("the spacing of the {what} is not stated") });
    };
    let channel = clearest_channel(picture);
    let full = picture.reduced(1, channel);
    let Some(grown) = search(picture, &full, channel, board, hints) else {
        return Err(PhotoError::NoScale { why: format!("no {what} stands out") });
    };
    let crossings = refined(&full, &grown, hints);
    let extent = [0, 1].map(|k| {
        let (low, high) =
            crossings.iter().fold((i32::MAX, i32::MIN), |m, c| (m.0.min(c.number[k]), m.1.max(c.number[k])));
        high.saturating_sub(low).saturating_add(1)
    });
    if crossings.len() < FEWEST_CROSSINGS || extent.iter().any(|e| *e < FEWEST_ACROSS) {
        return Err(PhotoError::NoScale {
            why: format!("only {} crossings of a {what} can be counted", crossings.len()),
        });
    }
    let loose = crossings.first().map_or(0.0, |c| c.u_px) / mean_step(&crossings).max(1e-9);
    if loose > LOOSE {
        return Err(PhotoError::ScaleUnclear {
            why: format!(
                "crossings of the {what} scatter by {:.0} % of a step about their places",
                100.0 * loose
            ),
        });
    }
    let print = if board { Print::default() } else { Print::of(&full, &crossings, &grown.nodes, grown.look) };
    Ok(finished(crossings, print, spacing_mm, board))
}

fn finished(mut crossings: Vec<ScaleCrossing>, print: Print, spacing_mm: f64, board: bool) -> ScaleFound {
    let step = mean_step(&crossings);
    if let Some(finer) = print.finer {
        crossings.iter_mut().for_each(|c| c.number = c.number.map(|n| n * finer));
    }
    let mut found = ScaleFound {
        crossing_spacing_mm: Some(spacing_mm),
        heavier_every: print.finer.or(print.heavier_every),
        crossings,
        ..ScaleFound::default()
    };
    if !board && found.heavier_every.is_none() && step < CLEAR_STEP_PX {
        found.caveats.push(PhotoCaveat::new(
            "scale-spacing-stated",
            format!("the lines stand {step:.0} px apart and none is heavier; their spacing of {spacing_mm} mm is taken as stated"),
            "check that every line was found on the drawn-back photograph, or photograph the paper larger",
        ));
    }
    found
}

/// Mean distance of neighbouring crossings in pixels, from pairs in order that share a column.
fn mean_step(crossings: &[ScaleCrossing]) -> f64 {
    let steps: Vec<f64> = crossings
        .windows(2)
        .filter(|w| w[0].number[0] == w[1].number[0])
        .map(|w| {
            let apart = (w[1].px[0] - w[0].px[0]).hypot(w[1].px[1] - w[0].px[1]);
            apart / f64::from((w[1].number[1] - w[0].number[1]).abs().max(1))
        })
        .collect();
    steps.iter().sum::<f64>() / steps.len().max(1) as f64
}

/// The channel in which neighbouring pixels differ most; green has the sharpest values unless the ink is green.
fn clearest_channel(picture: &Picture) -> usize {
    const GREEN_BONUS: f64 = 1.5;
    const ROWS: usize = 40;
    if picture.channels() < 3 {
        return 0;
    }
    let energy = |channel: usize| {
        let mut sum = 0.0;
        for j in 0..ROWS {
            let y = ((j * picture.height()) / ROWS) as isize;
            for x in (2..picture.width() as isize).step_by(2) {
                sum += f64::from(picture.encoded(x, y, channel) - picture.encoded(x - 2, y, channel)).powi(2);
            }
        }
        sum * if channel == 1 { GREEN_BONUS } else { 1.0 }
    };
    let energies = [energy(0), energy(1), energy(2)];
    energies.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(1, |e| e.0)
}

/// A lattice followed on one level.
struct Grown {
    nodes: Nodes,
    look: Look,
    factor: usize,
    area: f64,
}

/// The finest level on which a lattice covers a good part of the picture, or the one that covers most.
fn search(
    picture: &Picture,
    full: &LightPlane,
    channel: usize,
    board: bool,
    hints: &ScaleHints,
) -> Option<Grown> {
    let correlator = Correlator::new();
    let mut best: Option<Grown> = None;
    for level in 0..LEVELS {
        let factor = 1 << level;
        let reduced = (factor > 1).then(|| picture.reduced(factor, channel));
        let plane = reduced.as_ref().unwrap_or(full);
        if plane.width < PATCH || plane.height < PATCH {
            break;
        }
        let shift = (factor as f64 - 1.0) / 2.0;
        let allowed = |p: [f64; 2]| hints.allows(p.map(|v| v * factor as f64 + shift));
        let mut grown: Vec<Grown> = Vec::new();
        for period in periods(plane, &correlator, board).iter().take(STARTS) {
            // the lattice from an earlier start holds this one
            let (look, seeds) = Look::seeds(plane, period, board);
            let grower = Grower { plane, look, allowed: &allowed };
            let nodes = seeds
                .iter()
                .take(9)
                .map(|s| grower.grow(*s, period.a, period.b))
                .find(|n| n.len() >= FEWEST_CROSSINGS);
            let Some(nodes) = nodes else { continue };
            let cell = (period.a[0] * period.b[1] - period.a[1] * period.b[0]).abs();
            let area = nodes.len() as f64 * cell / (plane.width * plane.height) as f64;
            let done = area > ENOUGH;
            grown.push(Grown { nodes, look, factor, area });
            if done {
                break;
            }
        }
        let here = grown.into_iter().max_by(|p, q| p.area.total_cmp(&q.area));
        if let Some(here) = here {
            let done = here.area > ENOUGH;
            if best.as_ref().is_none_or(|b| here.area > 2.0 * b.area) {
                best = Some(here);
            }
            if done {
                break;
            }
        }
    }
    best
}

/// The lattices of patches all over the picture, strongest first.
fn periods(plane: &LightPlane, correlator: &Correlator, board: bool) -> Vec<Period> {
    let longest = plane.width.max(plane.height);
    let along = |side: usize| {
        let count = (PATCHES * side).div_ceil(longest).max(2).min(side / (PATCH / 2));
        let count = count.max(1);
        (0..count)
            .map(move |k| if count == 1 { (side - PATCH) / 2 } else { k * (side - PATCH) / (count - 1) })
    };
    let mut found: Vec<Period> = along(plane.height)
        .flat_map(|y| along(plane.width).map(move |x| [x, y]))
        .filter_map(|corner| correlator.period(plane, corner, board))
        .filter(|p| p.power > LEAST_POWER)
        .collect();
    found.sort_by(|p, q| q.power.total_cmp(&p.power));
    found
}

/// Crossings measured on the full picture, those that miss the smooth whole left out.
fn refined(full: &LightPlane, grown: &Grown, hints: &ScaleHints) -> Vec<ScaleCrossing> {
    let factor = grown.factor as f64;
    let up = |p: [f64; 2]| p.map(|v| v * factor + (factor - 1.0) / 2.0);
    let rough: Vec<([f64; 2], [f64; 2])> =
        grown.nodes.iter().map(|(n, node)| (n.map(f64::from), up(node.at))).collect();
    let Some(whole) = Smooth::of(&rough) else { return Vec::new() };
    let total = grown.nodes.len();
    let kept = |k: usize| total <= MOST_USED || (k + 1) * MOST_USED / total > k * MOST_USED / total;
    let mut measured: Vec<([i32; 2], [f64; 2])> = Vec::with_capacity(total.min(MOST_USED));
    for (number, node) in grown.nodes.iter().enumerate().filter(|(k, _)| kept(*k)).map(|n| n.1) {
        let Some([_, a, b]) = whole.place(*number) else { continue };
        let leash = 0.1 * a[0].hypot(a[1]);
        let at = nearest(full, grown.look, up(node.at), [a, b], [leash, 1e-3]).map(|m| m.at);
        if let Some(at) = at.filter(|at| hints.allows(*at)) {
            measured.push((*number, at));
        }
    }
    weeded(measured)
}

fn weeded(mut measured: Vec<([i32; 2], [f64; 2])>) -> Vec<ScaleCrossing> {
    let mut u_px = LEAST_U_PX;
    for _ in 0..WEEDINGS {
        let before = measured.len();
        let pairs: Vec<_> = measured.iter().map(|(n, p)| (n.map(f64::from), *p)).collect();
        let Some(whole) = Smooth::of(&pairs) else { return Vec::new() };
        let miss = |(n, p): &([f64; 2], [f64; 2])| {
            whole.pixel(*n).map_or(f64::MAX, |q| (p[0] - q[0]).hypot(p[1] - q[1]))
        };
        let misses: Vec<f64> = pairs.iter().map(miss).collect();
        let mut sorted = misses.clone();
        sorted.sort_by(f64::total_cmp);
        // median of a Rayleigh distribution is 1.1774 of one direction's standard deviation
        u_px = (sorted.get(sorted.len() / 2).copied().unwrap_or(0.0) / 1.1774).max(LEAST_U_PX);
        let mut miss = misses.iter();
        measured.retain(|_| miss.next().is_some_and(|m| *m < FAR * u_px));
        if measured.len() == before {
            break;
        }
    }
    measured.into_iter().map(|(number, px)| ScaleCrossing { number, px, u_px }).collect()
}
