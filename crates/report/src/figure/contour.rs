//! Level lines and filled levels of a quantity on a grid, by linear interpolation along the cells' edges.

use std::collections::BTreeMap;

use super::panel::Map;

/// Corners of a cell in turn, as steps along x and y.
const CORNERS: [(usize, usize); 4] = [(0, 0), (1, 0), (1, 1), (0, 1)];

/// Lower corners of the cells whose four values are finite.
fn cells(map: &Map) -> impl Iterator<Item = (usize, usize)> + '_ {
    let (columns, rows) = (map.x.len().saturating_sub(1), map.y.len().saturating_sub(1));
    let whole = |i: usize, j: usize| CORNERS.iter().all(|(a, b)| map.at(i + a, j + b).is_finite());
    (0..rows).flat_map(move |j| (0..columns).map(move |i| (i, j))).filter(move |(i, j)| whole(*i, *j))
}

/// Areas where the quantity reaches a level: runs of whole cells in a row, and pieces of cells.
pub(super) fn reached(map: &Map, level: f64) -> Vec<Vec<[f64; 2]>> {
    let mut areas: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut run: Option<(usize, usize, usize)> = None;
    let close = |run: Option<(usize, usize, usize)>, areas: &mut Vec<Vec<[f64; 2]>>| {
        if let Some((from, to, j)) = run {
            let (x, y) = ([map.x[from], map.x[to]], [map.y[j], map.y[j + 1]]);
            areas.push(vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]]);
        }
    };
    for (i, j) in cells(map) {
        if CORNERS.iter().all(|(a, b)| map.at(i + a, j + b) >= level) {
            run = match run {
                Some((from, to, row)) if to == i && row == j => Some((from, i + 1, j)),
                other => {
                    close(other, &mut areas);
                    Some((i, i + 1, j))
                }
            };
            continue;
        }
        let piece = walk(map, i, j, level);
        if piece.len() > 2 {
            areas.push(piece.into_iter().map(|(place, _)| place).collect());
        }
    }
    close(run, &mut areas);
    areas
}

/// The part of a cell at or above a level, corner by corner; crossings carry the number of their edge.
fn walk(map: &Map, i: usize, j: usize, level: f64) -> Vec<([f64; 2], Option<usize>)> {
    let mut outline = Vec::new();
    for side in 0..4 {
        let (from, to) = (CORNERS[side], CORNERS[(side + 1) % 4]);
        let (a, b) = (map.at(i + from.0, j + from.1), map.at(i + to.0, j + to.1));
        let place = |corner: (usize, usize)| [map.x[i + corner.0], map.y[j + corner.1]];
        let (p, q) = (place(from), place(to));
        if a >= level {
            outline.push((p, None));
        }
        if (a >= level) != (b >= level) {
            let part = (level - a) / (b - a);
            let (low_i, low_j) = (i + from.0.min(to.0), j + from.1.min(to.1));
            let edge = 2 * (low_j * map.x.len() + low_i) + usize::from(from.0 == to.0);
            outline.push(([p[0] + part * (q[0] - p[0]), p[1] + part * (q[1] - p[1])], Some(edge)));
        }
    }
    outline
}

/// Level lines, each as long as it runs.
pub(super) fn lines(map: &Map, level: f64) -> Vec<Vec<[f64; 2]>> {
    let mut steps: Vec<[usize; 2]> = Vec::new();
    let mut places: BTreeMap<usize, [f64; 2]> = BTreeMap::new();
    for (i, j) in cells(map) {
        let outline = walk(map, i, j, level);
        // Between two crossings that follow each other on the outline runs the level line.
        for (index, (place, edge)) in outline.iter().enumerate() {
            let (next_place, next) = outline[(index + 1) % outline.len()];
            if let (Some(from), Some(to)) = (edge, next)
                && outline.len() > 2
            {
                places.insert(*from, *place);
                places.insert(to, next_place);
                steps.push([*from, to]);
            }
        }
    }
    join(&steps)
        .iter()
        .map(|chain| chain.iter().filter_map(|edge| places.get(edge).copied()).collect())
        .collect()
}

/// Joins steps that meet at an edge into chains.
fn join(steps: &[[usize; 2]]) -> Vec<Vec<usize>> {
    let mut at_edge: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (index, ends) in steps.iter().enumerate() {
        for end in ends {
            at_edge.entry(*end).or_default().push(index);
        }
    }
    let mut used = vec![false; steps.len()];
    let mut chains = Vec::new();
    // Open lines first, from their loose ends; what is left are closed ones.
    let loose = at_edge.iter().filter(|(_, steps)| steps.len() == 1).map(|(edge, _)| *edge);
    let starts: Vec<usize> = loose.chain(steps.iter().map(|s| s[0])).collect();
    for start in starts {
        let mut chain = vec![start];
        let mut edge = start;
        while let Some(step) = at_edge.get(&edge).and_then(|s| s.iter().find(|k| !used[**k])) {
            used[*step] = true;
            let [a, b] = steps[*step];
            edge = if a == edge { b } else { a };
            chain.push(edge);
        }
        if chain.len() > 1 {
            chains.push(chain);
        }
    }
    chains
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cone() -> Map {
        let axis: Vec<f64> = (-10..=10).map(f64::from).collect();
        let z = axis.iter().flat_map(|y| axis.iter().map(move |x| 10.0 - (x * x + y * y).sqrt())).collect();
        Map::new(axis.clone(), axis, z, vec![4.0], "")
    }

    #[test]
    fn the_level_line_of_a_cone_is_one_closed_circle() {
        let lines = lines(&cone(), 4.0);
        assert_eq!(lines.len(), 1);
        assert_eq!(lines[0].first(), lines[0].last());
        assert!(lines[0].iter().all(|[x, y]| ((x * x + y * y).sqrt() - 6.0).abs() < 0.03));
    }

    #[test]
    fn the_filled_level_of_a_cone_has_the_area_of_its_disc() {
        let doubled: f64 = reached(&cone(), 4.0)
            .iter()
            .map(|area| {
                let next = |k: usize| area[(k + 1) % area.len()];
                (0..area.len()).map(|k| area[k][0] * next(k)[1] - next(k)[0] * area[k][1]).sum::<f64>()
            })
            .sum();
        // π 6² = 113.1; chords of a grid of 1 lose about one percent.
        assert!((doubled / 2.0 - 113.1).abs() < 1.5, "{}", doubled / 2.0);
    }

    #[test]
    fn gaps_in_the_grid_stay_empty() {
        let mut map = cone();
        map.z[220] = f64::NAN;
        assert!(reached(&map, -100.0).iter().flatten().flatten().all(|v| v.is_finite()));
        map.z.truncate(30);
        assert!(lines(&map, 4.0).iter().flatten().flatten().all(|v| v.is_finite()));
    }
}
