//! Ellipses along which the beam map runs: circles through three of its points, drawn on to the line, judged, the best kept.

use super::arc::{Judged, judged};
use super::{MOST_RINGS, Maps, RingProposal, SAME};
use crate::picture::LightPlane;
use crate::ring_ellipse::{Ellipse, Weighted};

/// Least value of the beam map at a point that is used.
const LEAST: f32 = 0.12;
/// Points kept, the strongest of them.
const MOST_POINTS: usize = 1500;
/// Circles tried.
const TRIALS: usize = 1500;
/// Of these, drawn on to the line.
const DRAWN: usize = 30;
/// Least radius in cells; the largest is this part of the map's long side.
const LEAST_RADIUS: f64 = 2.5;
const MOST_RADIUS: f64 = 0.6;
/// Least score of a ring that is proposed.
const LEAST_SCORE: f64 = 0.05;

/// Rings on the maps, best first, in full-resolution pixels.
pub(super) fn rings(maps: &Maps) -> Vec<RingProposal> {
    let points = line_points(&maps.beam);
    let mut found: Vec<Judged> = Vec::new();
    for rough in circles(&maps.beam, &points).into_iter().take(DRAWN) {
        let ring = drawn_on(&maps.beam, &points, rough);
        if ring.score >= LEAST_SCORE {
            found.push(ring);
        }
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let apart = distinct(found, SAME);
    let proposal =
        |j: &Judged| RingProposal { ellipse: maps.in_pixels(&j.ellipse), score: j.score, seen: j.seen };
    apart.iter().take(MOST_RINGS).map(proposal).collect()
}

/// Whether two ellipses agree in centre and radius to within a part of the radius.
pub(super) fn same(a: &Ellipse, b: &Ellipse, part: f64) -> bool {
    let r = a.r.max(b.r);
    (a.cx - b.cx).hypot(a.cy - b.cy) < part * r && (a.r - b.r).abs() < part * r
}

/// Each ellipse once, in the order given.
fn distinct(found: Vec<Judged>, part: f64) -> Vec<Judged> {
    let mut kept: Vec<Judged> = Vec::new();
    for ring in found {
        if !kept.iter().any(|k| same(&k.ellipse, &ring.ellipse, part)) {
            kept.push(ring);
        }
    }
    kept
}

/// Cells on the crest of the beam map, drawn on to it between cells, strongest first.
fn line_points(beam: &LightPlane) -> Vec<Weighted> {
    let mut points = Vec::new();
    for y in 0..beam.height as isize {
        for x in 0..beam.width as isize {
            let here = beam.at(x, y);
            if here >= LEAST {
                points.extend(crest(beam, x, y, here));
            }
        }
    }
    points.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    points.truncate(MOST_POINTS);
    points
}

/// The crest through a cell: highest across one of four directions, its place by a parabola through three values.
fn crest(beam: &LightPlane, x: isize, y: isize, here: f32) -> Option<Weighted> {
    let bend = |(dx, dy): (isize, isize)| {
        let (before, after) = (beam.at(x - dx, y - dy), beam.at(x + dx, y + dy));
        let curve = (2.0 * here - before - after) / (dx * dx + dy * dy) as f32;
        (before <= here && after < here).then_some((
            curve,
            0.5 * (after - before) / (2.0 * here - before - after),
            dx,
            dy,
        ))
    };
    let best =
        [(1, 0), (0, 1), (1, 1), (1, -1)].into_iter().filter_map(bend).max_by(|a, b| a.0.total_cmp(&b.0));
    best.map(|(_, off, dx, dy)| {
        let off = f64::from(off.clamp(-0.5, 0.5));
        Weighted { x: x as f64 + off * dx as f64, y: y as f64 + off * dy as f64, weight: f64::from(here) }
    })
}

/// Circles through three points, the best first, each place once.
fn circles(beam: &LightPlane, points: &[Weighted]) -> Vec<Judged> {
    let mut random = Lot(0x9e37_79b9_7f4a_7c15);
    let most = MOST_RADIUS * beam.width.max(beam.height) as f64;
    let mut found = Vec::new();
    if points.len() < 5 {
        return found;
    }
    for _ in 0..TRIALS {
        // strong points more often: the square favours the front of the list
        let first = points[random.below(points.len(), 2)];
        let (second, third) = (points[random.below(points.len(), 1)], points[random.below(points.len(), 1)]);
        let Some(circle) = through(first, second, third) else { continue };
        if circle.r > LEAST_RADIUS && circle.r < most {
            let ring = judged(beam, &circle);
            if ring.score > 0.3 * LEAST_SCORE {
                found.push(ring);
            }
        }
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found.truncate(10 * DRAWN);
    distinct(found, 0.08)
}

/// The circle through three points; `None` if they are close to a line.
fn through(a: Weighted, b: Weighted, c: Weighted) -> Option<Ellipse> {
    let (bx, by, cx, cy) = (b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y);
    let twice = 2.0 * (bx * cy - by * cx);
    if twice.abs() < 1.0 {
        return None;
    }
    let (b2, c2) = (bx * bx + by * by, cx * cx + cy * cy);
    let (x, y) = ((cy * b2 - by * c2) / twice, (bx * c2 - cx * b2) / twice);
    Some(Ellipse::circle(a.x + x, a.y + y, x.hypot(y)))
}

/// A fitted ellipse stands for the circle it came from where it scores this part of it: three points may be lucky, all of them
/// lie on the line.
const FITTED: f64 = 0.9;

/// The ellipse fitted to the points near a circle, in narrowing bands; the circle where that is much better.
fn drawn_on(beam: &LightPlane, points: &[Weighted], rough: Judged) -> Judged {
    let mut best = rough;
    let mut now = rough.ellipse;
    for band in [0.15, 0.1, 0.06] {
        let width = (band * now.r).max(0.8);
        let near: Vec<Weighted> = points
            .iter()
            .filter_map(|p| {
                let off = now.distance(p.x, p.y) / width;
                let weight = p.weight * (1.0 - off * off).max(0.0).powi(2);
                (weight > 0.0).then_some(Weighted { weight, ..*p })
            })
            .collect();
        // a short arc keeps the shape of a circle: its points say little of p and q
        let Some(next) = now.fitted(&near, 0.02 * now.r + 0.2, 10) else { break };
        now = next;
        let ring = judged(beam, &now);
        if ring.score >= FITTED * best.score {
            best = ring;
        }
    }
    best
}

/// A small generator of random numbers with a fixed seed (xorshift, Marsaglia 2003): the same picture gives the same proposals.
struct Lot(u64);

impl Lot {
    /// A whole number below `count`; the larger `power`, the more often a small one.
    fn below(&mut self, count: usize, power: i32) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        let unit = (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        ((unit.powi(power) * count as f64) as usize).min(count - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A beam map with the line of an ellipse over `seen` of a turn.
    fn map(truth: &Ellipse, seen: f64) -> Maps {
        let mut beam = LightPlane { width: 120, height: 100, values: vec![0.0; 12_000] };
        for y in 0..100 {
            for x in 0..120 {
                let near = truth.nearest(x as f64, y as f64);
                let turn = truth.foot(x as f64, y as f64).rem_euclid(std::f64::consts::TAU);
                if turn < seen * std::f64::consts::TAU {
                    beam.values[y * 120 + x] = (-0.5 * near.distance * near.distance).exp() as f32;
                }
            }
        }
        let none = LightPlane { width: 120, height: 100, values: vec![0.0; 12_000] };
        Maps { beam, bulb: none.clone(), gun: none.clone(), scale: none, origin_px: [3.5, 3.5], cell_px: 8.0 }
    }

    #[test]
    fn the_line_of_a_ring_is_proposed_in_full_resolution_pixels() {
        // over 108° the slant of 3 % passes for a shift of the centre by 8 % of the radius
        for (seen, part) in [(1.0, 0.01), (0.6, 0.02), (0.3, 0.1)] {
            let truth = Ellipse { cx: 61.3, cy: 48.2, r: 27.0, p: -0.8, q: 0.4 };
            let found = rings(&map(&truth, seen));
            let best = found.first().map(|r| r.ellipse);
            let want = Ellipse {
                cx: 3.5 + 8.0 * truth.cx,
                cy: 3.5 + 8.0 * truth.cy,
                r: 8.0 * truth.r,
                p: 0.0,
                q: 0.0,
            };
            assert!(best.is_some_and(|e| same(&e, &want, part)), "{seen} seen: {best:?}");
        }
    }

    #[test]
    fn an_empty_map_proposes_nothing() {
        let mut maps = map(&Ellipse::circle(60.0, 50.0, 20.0), 1.0);
        maps.beam.values.fill(0.02);
        assert!(rings(&maps).is_empty());
    }
}
