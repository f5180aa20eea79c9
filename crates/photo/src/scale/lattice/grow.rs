//! From one crossing to all of them: each neighbour is expected, looked for and judged; what is hidden is stepped over.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use crate::picture::LightPlane;
use crate::scale::lattice::cross::{Meeting, crossed_lines, meeting};
use crate::scale::lattice::look::Look;
use crate::scale::lattice::smooth::Smooth;

/// A crossing may lie this far from where its neighbours expect it, in steps.
const LEASH: f64 = 0.2;
/// Radius of the window in which lines meet, in steps: as wide as the next line allows.
const REACH: f64 = 0.36;
/// Near enough while counting, in pixels.
const ROUGH_PX: f64 = 0.1;
/// Least and largest radius of the window in pixels.
const REACH_PX: [f64; 2] = [2.0, 12.0];
/// Crossings with less than this part of their neighbours' contrast, or of the typical one, are covered or imagined; at the
/// start only the first crossing tells what is typical, and it may lie on heavy lines.
const FAINTEST: f64 = 0.25;
const DIMMEST: f64 = 0.3;
const DIMMEST_AT_FIRST: f64 = 0.12;
/// A step differs from the one before by no more than this part.
const UNEVEN: f64 = 0.15;
/// Part of a step that goes into the expectation of the next one: perspective changes it by less than a hundredth.
const FRESH: f64 = 0.15;
/// Least ratio of both families' strengths at a crossing: by reckoning a heavy line across a light one has about 0.3, not measured; along the edge of a
/// body that hides the paper the other family is missing.
const CROSSNESS: f64 = 0.12;
/// Rounds of stepping over what is hidden.
const ROUNDS: usize = 4;
/// How far beyond what is known the lattice is continued in one round, as a part of its extent.
const BEYOND: f64 = 0.4;
/// What is hidden is stepped over in blocks of so many numbers; at least half of a block must lie this close to where it
/// is expected, in steps.
const BLOCK: i32 = 4;
const CLOSE: f64 = 0.13;
/// Least contrast of the first crossing, in encoded light: a guess, to stay above noise and the blocks of a compressed file.
const LEAST_CONTRAST: f64 = 0.025;
/// Most crossings followed.
const MOST: usize = 120_000;

/// A crossing found.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Node {
    pub(crate) at: [f64; 2],
    a: [f64; 2],
    b: [f64; 2],
    /// Its own contrast, and that of its surroundings.
    contrast: f64,
    around: f64,
}

/// Crossings by their numbers along `a` and `b`.
pub(crate) type Nodes = BTreeMap<[i32; 2], Node>;

/// Places tried in a block of numbers, and the crossings found at them.
type Block = (usize, Vec<([i32; 2], Node)>);

/// What is followed and where.
pub(crate) struct Grower<'a> {
    pub(crate) plane: &'a LightPlane,
    pub(crate) look: Look,
    pub(crate) allowed: &'a dyn Fn([f64; 2]) -> bool,
}

/// The crossing or corner next to a place, no further than the leash, once it moves by less than the second number.
pub(crate) fn nearest(
    plane: &LightPlane,
    look: Look,
    start: [f64; 2],
    steps: [[f64; 2]; 2],
    leash: [f64; 2],
) -> Option<Meeting> {
    match look {
        Look::Squares => meeting(plane, start, window(steps[0], steps[1]), leash),
        Look::Dark => crossed_lines(plane, start, steps, 1.0, leash),
        Look::Light => crossed_lines(plane, start, steps, -1.0, leash),
    }
}

/// Radius of the window for steps `a`, `b`.
fn window(a: [f64; 2], b: [f64; 2]) -> f64 {
    let shortest = a[0].hypot(a[1]).min(b[0].hypot(b[1]));
    // where both families lean against each other their neighbours come closer
    (REACH * shortest).clamp(REACH_PX[0], REACH_PX[1])
}

fn typical_contrast(nodes: &Nodes) -> f64 {
    let mut all: Vec<f64> = nodes.values().map(|n| n.contrast).collect();
    let half = all.len() / 2;
    if all.is_empty() { 0.0 } else { *all.select_nth_unstable_by(half, f64::total_cmp).1 }
}

fn least_contrast(nodes: &Nodes) -> f64 {
    typical_contrast(nodes) * if nodes.len() < 30 { DIMMEST_AT_FIRST } else { DIMMEST }
}

/// Takes back crossings that are too faint by what has become typical.
fn clear_away(nodes: &mut Nodes) {
    let least = least_contrast(nodes);
    nodes.retain(|_, n| n.contrast > least);
}

/// Whether a crossing stands one step from every neighbour known.
fn fits(nodes: &Nodes, index: [i32; 2], node: &Node) -> bool {
    [[1, 0], [-1, 0], [0, 1], [0, -1]].into_iter().all(|[i, j]| {
        let Some(other) = nodes.get(&[index[0] + i, index[1] + j]) else { return true };
        let way = [0, 1].map(|k| f64::from(i) * node.a[k] + f64::from(j) * node.b[k]);
        let off = (other.at[0] - node.at[0] - way[0]).hypot(other.at[1] - node.at[1] - way[1]);
        off < UNEVEN * way[0].hypot(way[1])
    })
}

/// Where crossings are already, in boxes of a quarter of a step: no two numbers may share a crossing.
struct Taken {
    side: f64,
    boxes: BTreeSet<[i32; 2]>,
}

impl Taken {
    fn new(a: [f64; 2], b: [f64; 2]) -> Self {
        Self { side: 0.25 * a[0].hypot(a[1]).min(b[0].hypot(b[1])), boxes: BTreeSet::new() }
    }

    /// Takes the place; false if it is taken already.
    fn take(&mut self, at: [f64; 2]) -> bool {
        let key = at.map(|v| (v / self.side).floor() as i32);
        let near = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (i, j)));
        let free = near.into_iter().all(|(i, j)| !self.boxes.contains(&[key[0] + i, key[1] + j]));
        free && self.boxes.insert(key)
    }
}

impl Grower<'_> {
    /// All crossings that can be reached from a start near `seed`.
    pub(crate) fn grow(&self, seed: [f64; 2], a: [f64; 2], b: [f64; 2]) -> Nodes {
        let mut nodes = Nodes::new();
        // the sign of the first corner's squares is not known beforehand
        let Some(first) = [false, true].into_iter().find_map(|odd| {
            let at = nearest(self.plane, self.look, seed, [a, b], [0.4 * a[0].hypot(a[1]), ROUGH_PX])?.at;
            let contrast = self.look.contrast(self.plane, at, a, b, odd);
            (contrast > LEAST_CONTRAST).then_some((odd, Node { at, a, b, contrast, around: contrast }))
        }) else {
            return nodes;
        };
        let index = [i32::from(first.0), 0];
        nodes.insert(index, first.1);
        let mut taken = Taken::new(a, b);
        taken.take(first.1.at);
        self.spread(&mut nodes, &mut taken, VecDeque::from([index]));
        clear_away(&mut nodes);
        for _ in 0..ROUNDS {
            if nodes.len() < 12 || nodes.len() > MOST {
                break;
            }
            let added = self.step_over(&mut nodes, &mut taken);
            let few = 100 * added.len() < nodes.len();
            self.spread(&mut nodes, &mut taken, added.into());
            clear_away(&mut nodes);
            if few {
                break;
            }
        }
        nodes
    }

    /// Takes in neighbours of neighbours until none is left.
    fn spread(&self, nodes: &mut Nodes, taken: &mut Taken, mut queue: VecDeque<[i32; 2]>) {
        let mut least = least_contrast(nodes);
        let mut counted = nodes.len();
        while let Some(index) = queue.pop_front() {
            if nodes.len() > MOST {
                return;
            }
            if nodes.len() > 2 * counted {
                (least, counted) = (least_contrast(nodes), nodes.len());
            }
            for step in [[1, 0], [-1, 0], [0, 1], [0, -1]] {
                let next = [index[0] + step[0], index[1] + step[1]];
                if nodes.contains_key(&next) {
                    continue;
                }
                if let Some(node) = self.neighbour(nodes, index, step)
                    && node.contrast > least
                    && taken.take(node.at)
                {
                    nodes.insert(next, node);
                    queue.push_back(next);
                }
            }
        }
    }

    fn neighbour(&self, nodes: &Nodes, from: [i32; 2], step: [i32; 2]) -> Option<Node> {
        let parent = nodes.get(&from)?;
        let get = |i: i32, j: i32| nodes.get(&[from[0] + i, from[1] + j]).map(|n| n.at);
        let [i, j] = step;
        let sign = f64::from(i + j);
        let along = if i != 0 { parent.a } else { parent.b }.map(|v| v * sign);
        let beside = [(j, i), (-j, -i)].into_iter().filter_map(|(p, q)| {
            let (near, far) = (get(p, q)?, get(p + i, q + j)?);
            Some([far[0] - near[0], far[1] - near[1]])
        });
        let behind = get(-i, -j).map(|p| [parent.at[0] - p[0], parent.at[1] - p[1]]);
        let ways: Vec<[f64; 2]> = beside.chain(behind).chain([along]).collect();
        let way = [0, 1].map(|k| ways.iter().map(|w| w[k]).sum::<f64>() / ways.len() as f64);
        let next = [from[0] + i, from[1] + j];
        let node = self.crossing(next, [parent.at[0] + way[0], parent.at[1] + way[1]], parent)?;
        if !fits(nodes, next, &node) {
            return None;
        }
        let made = [0, 1].map(|k| sign * (node.at[k] - parent.at[k]));
        let mix = |old: [f64; 2]| [0, 1].map(|k| old[k] + FRESH * (made[k] - old[k]));
        Some(if i != 0 { Node { a: mix(node.a), ..node } } else { Node { b: mix(node.b), ..node } })
    }

    /// The crossing expected at a place, like another one.
    fn crossing(&self, index: [i32; 2], expected: [f64; 2], like: &Node) -> Option<Node> {
        let (a, b) = (like.a, like.b);
        let step = a[0].hypot(a[1]).min(b[0].hypot(b[1]));
        let found = nearest(self.plane, self.look, expected, [a, b], [LEASH * step, ROUGH_PX])?;
        if found.crossness < CROSSNESS || !(self.allowed)(found.at) {
            return None;
        }
        let odd = (index[0] + index[1]).rem_euclid(2) == 1;
        let contrast = self.look.contrast(self.plane, found.at, a, b, odd);
        (contrast > FAINTEST * like.around).then(|| Node {
            at: found.at,
            a,
            b,
            contrast,
            around: 0.8 * like.around + 0.2 * contrast.min(2.0 * like.around),
        })
    }

    /// Looks for crossings where the smooth whole expects them; gives those that were added.
    fn step_over(&self, nodes: &mut Nodes, taken: &mut Taken) -> Vec<[i32; 2]> {
        let Some(whole) = Smooth::through(nodes) else { return Vec::new() };
        let typical = typical_contrast(nodes);
        let bounds = [0, 1].map(|k| {
            let (low, high) = nodes.keys().fold((i32::MAX, i32::MIN), |m, n| (m.0.min(n[k]), m.1.max(n[k])));
            let more = (BEYOND * f64::from(high - low)).ceil() as i32;
            (low - more, high + more)
        });
        let mut tried: BTreeMap<[i32; 2], Block> = BTreeMap::new();
        for i in bounds[0].0..=bounds[0].1 {
            for j in bounds[1].0..=bounds[1].1 {
                let index = [i, j];
                if nodes.contains_key(&index) {
                    continue;
                }
                let Some([at, a, b]) = whole.place(index) else { continue };
                let inside = at[0] > 0.0
                    && at[1] > 0.0
                    && at[0] < self.plane.width as f64
                    && at[1] < self.plane.height as f64;
                if !inside {
                    continue;
                }
                let like = Node { at, a, b, contrast: typical, around: 1.6 * typical };
                let block = tried.entry(index.map(|n| n.div_euclid(BLOCK))).or_default();
                block.0 += 1;
                let near = CLOSE * a[0].hypot(a[1]).min(b[0].hypot(b[1]));
                let node = self.crossing(index, at, &like);
                block.1.extend(
                    node.filter(|n| (n.at[0] - at[0]).hypot(n.at[1] - at[1]) < near).map(|n| (index, n)),
                );
            }
        }
        let mut added = Vec::new();
        for (count, found) in tried.into_values() {
            // by chance a place lies near some crossing once in twenty times; a true continuation does everywhere
            if 2 * found.len() < count || nodes.len() > MOST {
                continue;
            }
            for (index, node) in found {
                if fits(nodes, index, &node) && taken.take(node.at) {
                    nodes.insert(index, node);
                    added.push(index);
                }
            }
        }
        added
    }
}
