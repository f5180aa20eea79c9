//! Bulb and gun from their maps: the largest connected patch, its outline or its middle.

use super::{Maps, RingProposal};
use crate::picture::LightPlane;
use arcmass_fit::taubin_circle;

/// Value of a map from which a cell belongs to the thing.
const BELONGS: f32 = 0.5;
/// Fewest cells of a bulb, and of a gun.
const LEAST_BULB: usize = 30;
const LEAST_GUN: usize = 3;

/// A circle in full-resolution pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// Centre.
    pub centre_px: [f64; 2],
    /// Radius.
    pub radius_px: f64,
    /// Mean of the map inside, 0 to 1.
    pub score: f64,
}

/// A place in full-resolution pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Middle.
    pub centre_px: [f64; 2],
    /// Root of the area.
    pub size_px: f64,
    /// Mean of the map there, 0 to 1.
    pub score: f64,
}

/// The bulb: the patch that holds the best ring's centre, or else the largest.
pub(super) fn bulb(maps: &Maps, ring: Option<&RingProposal>) -> Option<Outline> {
    let patches = patches(&maps.bulb);
    let centre = ring.map(|r| maps.cell([r.ellipse.cx, r.ellipse.cy]));
    let holds = |patch: &&Vec<[usize; 2]>| {
        centre.is_some_and(|c| patch.contains(&c.map(|v| v.round().max(0.0) as usize)))
    };
    let patch = patches.iter().find(holds).or_else(|| patches.iter().max_by_key(|p| p.len()))?;
    if patch.len() < LEAST_BULB {
        return None;
    }
    let edge = edge_points(&maps.bulb, patch);
    let (mut centre, mut radius) = taubin_circle(&edge, None).ok()?;
    for _ in 0..4 {
        let near: Vec<[f64; 2]> =
            edge.iter().filter(|p| (apart(p, &centre) - radius).abs() < 0.12 * radius).copied().collect();
        (centre, radius) = taubin_circle(&near, None).ok()?;
    }
    let centre_px = [0, 1].map(|k| maps.origin_px[k] + maps.cell_px * centre[k]);
    Some(Outline { centre_px, radius_px: maps.cell_px * radius, score: mean(&maps.bulb, patch) })
}

/// The gun: the largest patch of its map.
pub(super) fn gun(maps: &Maps) -> Option<Place> {
    let patches = patches(&maps.gun);
    let patch = patches.iter().max_by_key(|p| p.len()).filter(|p| p.len() >= LEAST_GUN)?;
    let count = patch.len() as f64;
    let centre = [0, 1].map(|k| patch.iter().map(|c| c[k] as f64).sum::<f64>() / count);
    Some(Place {
        centre_px: [0, 1].map(|k| maps.origin_px[k] + maps.cell_px * centre[k]),
        size_px: maps.cell_px * count.sqrt(),
        score: mean(&maps.gun, patch),
    })
}

fn apart(a: &[f64; 2], b: &[f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn mean(map: &LightPlane, patch: &[[usize; 2]]) -> f64 {
    let sum: f64 = patch.iter().map(|&[x, y]| f64::from(map.at(x as isize, y as isize))).sum();
    sum / patch.len().max(1) as f64
}

/// Where the map falls through one half between a cell of the patch and its neighbour; not at the picture's edge.
fn edge_points(map: &LightPlane, patch: &[[usize; 2]]) -> Vec<[f64; 2]> {
    let mut points = Vec::new();
    for &[x, y] in patch {
        let (x, y) = (x as isize, y as isize);
        let here = map.at(x, y);
        for (dx, dy) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            // beyond the edge the map holds the edge's own value, which belongs
            let there = map.at(x + dx, y + dy);
            if there < BELONGS {
                let part = f64::from((here - BELONGS) / (here - there).max(1e-6));
                points.push([x as f64 + part * dx as f64, y as f64 + part * dy as f64]);
            }
        }
    }
    points
}

/// Connected cells that belong, patch by patch, column and row.
pub(super) fn patches(map: &LightPlane) -> Vec<Vec<[usize; 2]>> {
    let mut open: Vec<bool> = map.values.iter().map(|&v| v >= BELONGS).collect();
    let mut found = Vec::new();
    for start in 0..open.len() {
        if !std::mem::take(&mut open[start]) {
            continue;
        }
        let (mut patch, mut next) = (Vec::new(), vec![start]);
        while let Some(at) = next.pop() {
            let (x, y) = (at % map.width, at / map.width);
            patch.push([x, y]);
            let beside = [
                (x > 0).then(|| at - 1),
                (x + 1 < map.width).then_some(at + 1),
                (y > 0).then(|| at - map.width),
                (y + 1 < map.height).then_some(at + map.width),
            ];
            next.extend(beside.into_iter().flatten().filter(|&k| std::mem::take(&mut open[k])));
        }
        found.push(patch);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bulb_is_a_circle_also_where_the_picture_cuts_it() {
        let (width, height) = (100, 80);
        let soft = |x: usize, y: usize| {
            let r = (x as f64 - 20.0).hypot(y as f64 - 40.0);
            (0.5 - 0.4 * (r - 30.0)).clamp(0.0, 1.0) as f32
        };
        let values = (0..width * height).map(|k| soft(k % width, k / width)).collect();
        let bulb_map = LightPlane { width, height, values };
        let none = LightPlane { width, height, values: vec![0.0; width * height] };
        let maps = Maps {
            beam: none.clone(),
            bulb: bulb_map,
            gun: none.clone(),
            scale: none,
            origin_px: [0.0; 2],
            cell_px: 4.0,
        };
        let found = bulb(&maps, None);
        assert!(
            found.is_some_and(
                |o| (o.radius_px - 120.0).abs() < 1.5 && apart(&o.centre_px, &[80.0, 160.0]) < 1.5
            ),
            "{found:?}"
        );
        assert_eq!(gun(&maps), None);
    }
}
