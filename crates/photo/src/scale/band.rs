//! Where rows of parallel marks run on a photograph: local directions vote for straight bands.

use crate::picture::LightPlane;

/// Side of a cell of summed gradients, in pixels of the searched picture.
const CELL_PX: usize = 8;
/// Tiles kept, strongest first: a ruler across a 12 megapixel frame fills about 3 000.
const MOST_TILES: usize = 20_000;
/// Under perspective the marks lean against the ruler's edge: at 25° of tilt by up to 6°.
const LEAN_DEG: i32 = 8;
/// Bins of direction, one a degree.
const DIRECTIONS: i32 = 180;

/// A straight row of marks, in pixels of the searched picture.
#[derive(Debug, Clone)]
pub(crate) struct Band {
    /// A point on the row.
    pub(crate) origin: [f64; 2],
    /// Unit vector along the row, x > 0 or straight down.
    pub(crate) along: [f64; 2],
    /// First and last position along the row, from `origin`.
    pub(crate) range: [f64; 2],
    /// Direction of the marks: offset along the row for one pixel across, `lean[0] + lean[1] · s`.
    pub(crate) lean: [f64; 2],
}

impl Band {
    /// Whether the row runs at an angle of more than about 17° to another.
    pub(crate) fn is_across(&self, other: &Self) -> bool {
        (self.along[0] * other.along[1] - self.along[1] * other.along[0]).abs() > 0.3
    }
}

#[derive(Debug, Clone, Copy)]
struct Tile {
    x: f64,
    y: f64,
    /// Direction of the gradient, radians, 0 to π.
    direction: f64,
    weight: f64,
}

/// Sums over one cell: gx², gy², gx gy, gx, gy, |g|.
type Sums = [f32; 6];

/// The candidates for rows of marks, best first, at most `count`.
pub(crate) fn find_bands(plane: &LightPlane, allowed: &dyn Fn(f64, f64) -> bool, count: usize) -> Vec<Band> {
    let mut tiles = tiles(plane);
    tiles.retain(|t| allowed(t.x, t.y));
    let mut bands = Vec::new();
    while bands.len() < count && tiles.len() >= 6 {
        let Some((direction, offset)) = strongest_line(&tiles, plane) else { break };
        let (band, rest) = claim(&tiles, direction, offset);
        if rest.len() == tiles.len() {
            break;
        }
        tiles = rest;
        bands.extend(band);
    }
    bands
}

fn tiles(plane: &LightPlane) -> Vec<Tile> {
    let (columns, rows) = (plane.width / CELL_PX, plane.height / CELL_PX);
    if columns < 3 || rows < 3 {
        return Vec::new();
    }
    let cells = cells(plane, columns, rows);
    let mut found = Vec::with_capacity(columns * rows);
    for j in 1..rows - 1 {
        for i in 1..columns - 1 {
            let mut s = [0.0_f32; 6];
            for cell in (j - 1..=j + 1).flat_map(|r| &cells[r * columns + i - 1..r * columns + i + 2]) {
                s.iter_mut().zip(cell).for_each(|(a, b)| *a += b);
            }
            found.push((i, j, s));
        }
    }
    let mut energies: Vec<f32> = found.iter().map(|(_, _, s)| s[0] + s[1]).collect();
    let at = energies.len() / 4;
    let quiet = *energies.select_nth_unstable_by(at, f32::total_cmp).1;
    let mut tiles: Vec<Tile> = found.iter().filter_map(|(i, j, s)| tile(*i, *j, s, quiet)).collect();
    tiles.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    tiles.truncate(MOST_TILES);
    // one very contrasty patch must not outvote a long row
    if let Some(cap) = tiles.get(tiles.len() / 10).map(|t| t.weight) {
        tiles.iter_mut().for_each(|t| t.weight = t.weight.min(cap));
    }
    tiles
}

fn cells(plane: &LightPlane, columns: usize, rows: usize) -> Vec<Sums> {
    let mut cells = vec![[0.0_f32; 6]; columns * rows];
    let w = plane.width;
    let last = (rows * CELL_PX).min(plane.height - 1);
    for y in 1..last {
        let (above, here, below) = (
            &plane.values[(y - 1) * w..y * w],
            &plane.values[y * w..(y + 1) * w],
            &plane.values[(y + 1) * w..],
        );
        let line = &mut cells[y / CELL_PX * columns..(y / CELL_PX + 1) * columns];
        for (i, cell) in line.iter_mut().enumerate() {
            let from = (i * CELL_PX).max(1);
            let to = ((i + 1) * CELL_PX).min(w - 1);
            let mut s = [0.0_f32; 6];
            for x in from..to {
                let gx = here[x + 1] - here[x - 1];
                let gy = below[x] - above[x];
                let (xx, yy) = (gx * gx, gy * gy);
                s[0] += xx;
                s[1] += yy;
                s[2] += gx * gy;
                s[3] += gx;
                s[4] += gy;
                s[5] += (xx + yy).sqrt();
            }
            cell.iter_mut().zip(&s).for_each(|(a, b)| *a += b);
        }
    }
    cells
}

/// A tile counts if its gradients share a direction (lines) and cancel (both sides of each line, not one edge).
fn tile(i: usize, j: usize, s: &Sums, quiet: f32) -> Option<Tile> {
    let energy = s[0] + s[1];
    if energy <= 2.0 * quiet || energy <= 1e-9 {
        return None;
    }
    let coherence = (s[0] - s[1]).hypot(2.0 * s[2]) / energy;
    let balance = 1.0 - s[3].hypot(s[4]) / s[5].max(1e-12);
    let weight = (energy - 2.0 * quiet).sqrt() * coherence * coherence * balance * balance;
    let direction = 0.5 * f64::from(2.0 * s[2]).atan2(f64::from(s[0] - s[1]));
    let centre = |k: usize| (k * CELL_PX) as f64 + (CELL_PX as f64 - 1.0) / 2.0;
    let direction = direction.rem_euclid(std::f64::consts::PI);
    (weight > 0.0).then(|| Tile { x: centre(i), y: centre(j), direction, weight: f64::from(weight) })
}

/// Direction (radians) and offset of the line with most votes.
fn strongest_line(tiles: &[Tile], plane: &LightPlane) -> Option<(f64, f64)> {
    let reach = (plane.width as f64).hypot(plane.height as f64);
    let offsets = (2.0 * reach / CELL_PX as f64) as usize + 2;
    let mut votes = vec![0.0_f32; DIRECTIONS as usize * offsets];
    let turn: Vec<(f64, f64)> = (0..DIRECTIONS).map(|d| f64::from(d).to_radians().sin_cos()).collect();
    for t in tiles {
        let near = t.direction.to_degrees().round() as i32;
        for d in near - LEAN_DEG..=near + LEAN_DEG {
            let bin = d.rem_euclid(DIRECTIONS) as usize;
            let (sin, cos) = turn[bin];
            let offset = ((t.y * cos - t.x * sin + reach) / CELL_PX as f64) as usize;
            let part = 1.0 - f64::from((d - near).abs()) / f64::from(LEAN_DEG + 4);
            votes[bin * offsets + offset.min(offsets - 1)] += (t.weight * part) as f32;
        }
    }
    let (best, _) = votes.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    let direction = (best / offsets) as f64;
    let offset = ((best % offsets) as f64 + 0.5) * CELL_PX as f64 - reach;
    Some((direction.to_radians(), offset))
}

/// Splits the tiles into those of one line, made a band, and the rest.
fn claim(tiles: &[Tile], direction: f64, offset: f64) -> (Option<Band>, Vec<Tile>) {
    let (sin, cos) = direction.sin_cos();
    let lean = |t: &Tile| {
        let d = t.direction - direction;
        d - (d / std::f64::consts::PI).round() * std::f64::consts::PI
    };
    let close = |t: &Tile, cells: f64| {
        (t.y * cos - t.x * sin - offset).abs() < cells * CELL_PX as f64
            && lean(t).abs() < f64::from(LEAN_DEG + 4).to_radians()
    };
    let at = |t: &Tile| t.x * cos + t.y * sin;
    let mut own: Vec<&Tile> = tiles.iter().filter(|t| close(t, 2.0)).collect();
    own.sort_by(|a, b| at(a).total_cmp(&at(b)));
    let own = heaviest_piece(own, at);
    let side = CELL_PX as f64;
    let range = [own.first().map_or(0.0, |t| at(t) - side), own.last().map_or(0.0, |t| at(t) + side)];
    let is_taken = |t: &Tile| close(t, 2.5) && (range[0]..=range[1]).contains(&at(t));
    let rest = tiles.iter().filter(|t| !is_taken(t)).copied().collect();
    (band(&own, [cos, sin], offset, &lean), rest)
}

/// A gap on a line longer than this, in lengths of the longer piece beside it, parts two things: a ruler and the windings of a
/// coil, or the two sides of one. A ruler that is partly covered stays whole.
const LONGEST_GAP: f64 = 0.8;

/// The piece of a line with most weight; the tiles come in order along it.
fn heaviest_piece(tiles: Vec<&Tile>, at: impl Fn(&Tile) -> f64) -> Vec<&Tile> {
    let mut pieces: Vec<Vec<&Tile>> = Vec::new();
    for tile in tiles {
        match pieces.last_mut().and_then(|piece| Some((at(piece.last()?), piece))) {
            Some((last, piece)) if at(tile) - last < 4.0 * CELL_PX as f64 => piece.push(tile),
            _ => pieces.push(vec![tile]),
        }
    }
    let ends = |piece: &[&Tile]| Some((at(piece.first()?), at(piece.last()?)));
    // the closest two first, as long as the gap between them is short for either
    loop {
        let gap = |pair: &[Vec<&Tile>]| {
            let (a, b) = (ends(pair.first()?)?, ends(pair.get(1)?)?);
            let gap = (b.0 - a.1) / (a.1 - a.0).max(b.1 - b.0).max(CELL_PX as f64);
            (gap < LONGEST_GAP).then_some(gap)
        };
        let gaps = pieces.windows(2).enumerate().filter_map(|(k, pair)| Some((k, gap(pair)?)));
        let Some((k, _)) = gaps.min_by(|a, b| a.1.total_cmp(&b.1)) else { break };
        let next = pieces.remove(k + 1);
        pieces[k].extend(next);
    }
    let weight = |piece: &Vec<&Tile>| piece.iter().map(|t| t.weight).sum::<f64>();
    pieces.into_iter().max_by(|a, b| weight(a).total_cmp(&weight(b))).unwrap_or_default()
}

fn band(own: &[&Tile], along: [f64; 2], offset: f64, lean: &dyn Fn(&Tile) -> f64) -> Option<Band> {
    let at = |t: &Tile| t.x * along[0] + t.y * along[1];
    let across = |t: &Tile| t.y * along[0] - t.x * along[1] - offset;
    let (first, last) = (at(own.first()?), at(own.last()?));
    let middle = (first + last) / 2.0;
    let line = weighted_line(own.iter().map(|t| (at(t) - middle, across(t), t.weight)));
    let slant = weighted_line(own.iter().map(|t| (at(t) - middle, lean(t), t.weight)));
    // a row seen over a few tiles has no measurable turn of its marks
    let long = last - first > 40.0 * CELL_PX as f64;
    let (row, turn) = if long { (line, slant) } else { ([line[0], 0.0], [slant[0], 0.0]) };
    let normal = [-along[1], along[0]];
    let origin = [
        along[0] * middle + normal[0] * (offset + row[0]),
        along[1] * middle + normal[1] * (offset + row[0]),
    ];
    let turned = [along[0] + normal[0] * row[1], along[1] + normal[1] * row[1]];
    let length = turned[0].hypot(turned[1]);
    // the mark runs at right angles to its gradient, which leans by `turn` against the voted direction
    let lean = [-(turn[0] - row[1]), -turn[1]];
    Some(Band {
        origin,
        along: [turned[0] / length, turned[1] / length],
        range: [first - middle, last - middle],
        lean,
    })
}

/// Intercept and slope by weighted least squares with two rounds of trimming at twice the mean distance.
fn weighted_line(points: impl Iterator<Item = (f64, f64, f64)>) -> [f64; 2] {
    let mut points: Vec<_> = points.collect();
    let mut line = [0.0, 0.0];
    for _ in 0..3 {
        let (mut w, mut x, mut y) = (0.0, 0.0, 0.0);
        for p in &points {
            (w, x, y) = (w + p.2, x + p.2 * p.0, y + p.2 * p.1);
        }
        if w <= 0.0 {
            return line;
        }
        let (x, y) = (x / w, y / w);
        let (mut xx, mut xy) = (0.0, 0.0);
        for p in &points {
            (xx, xy) = (xx + p.2 * (p.0 - x).powi(2), xy + p.2 * (p.0 - x) * (p.1 - y));
        }
        let slope = if xx > 0.0 { xy / xx } else { 0.0 };
        line = [y - slope * x, slope];
        let off = |p: &(f64, f64, f64)| (p.1 - line[0] - line[1] * p.0).abs();
        let mean = points.iter().map(|p| p.2 * off(p)).sum::<f64>() / w;
        points.retain(|p| off(p) <= 2.5 * mean + 1e-9);
    }
    line
}
