//! Pitch and diameter of a piece of a predicted path: a cylinder through it, and the advance along its axis.

use std::f64::consts::TAU;

use arcmass_fit::{Scatter, Settings, fit_circle, least_squares};

/// Part of a turn below which pitch and diameter stand in for each other.
const LEAST_TURNS: f64 = 0.5;

/// Diameter and pitch of the helix that runs through a piece of a path, mm; the pitch has no sign.
///
/// A cylinder is fitted by orthogonal distance, its axis free to lean from the coils' and to stand beside it; the pitch is
/// the slope of the advance along that axis against the turns about it.
///
/// - **Takes** points in order along the path, less than half a turn apart.
/// - **Gives** nothing for less than half a turn.
pub(super) fn helix_of(points: &[[f64; 3]]) -> Option<(f64, f64)> {
    let mean = |axis: usize| points.iter().map(|p| p[axis]).sum::<f64>() / points.len() as f64;
    let middle = [0, 1, 2].map(mean);
    let flat: Vec<[f64; 2]> = points.iter().map(|p| [p[0], p[1]]).collect();
    let circle = fit_circle(&flat, None, Scatter::Known(1.0)).ok()?;
    let start = [circle.centre[0], circle.centre[1], 0.0, 0.0, circle.radius];
    let residuals = |v: &[f64]| {
        let cylinder = Cylinder::of(v, middle[2]);
        points.iter().map(|p| cylinder.place(*p)[0] - v[4]).collect()
    };
    let settings = Settings { scales: Some(vec![1.0, 1.0, 0.01, 0.01, 1.0]), ..Settings::default() };
    let fit = least_squares(&start, residuals, &settings).ok()?;
    let cylinder = Cylinder::of(&fit.parameters, middle[2]);
    let mut turned = 0.0;
    let mut before = None;
    let rows: Vec<[f64; 2]> = points
        .iter()
        .map(|p| {
            let [_, angle, along] = cylinder.place(*p);
            let step = before.map_or(0.0, |before: f64| (angle - before + 1.5 * TAU) % TAU - 0.5 * TAU);
            before = Some(angle);
            turned += step;
            [turned / TAU, along]
        })
        .collect();
    if turned.abs() < LEAST_TURNS * TAU {
        return None;
    }
    let count = rows.len() as f64;
    let [turns, along] = [0, 1].map(|k| rows.iter().map(|row| row[k]).sum::<f64>() / count);
    let square = rows.iter().map(|row| (row[0] - turns).powi(2)).sum::<f64>();
    let product = rows.iter().map(|row| (row[0] - turns) * (row[1] - along)).sum::<f64>();
    Some((2.0 * fit.parameters[4].abs(), (product / square).abs()))
}

/// An axis: where it crosses the plane z = `z`, and how it leans towards x and y.
struct Cylinder {
    foot: [f64; 3],
    axis: [f64; 3],
}

impl Cylinder {
    fn of(v: &[f64], z: f64) -> Self {
        let length = (1.0 + v[2] * v[2] + v[3] * v[3]).sqrt();
        Self { foot: [v[0], v[1], z], axis: [v[2] / length, v[3] / length, 1.0 / length] }
    }

    /// Distance from the axis, angle about it, and place along it.
    fn place(&self, p: [f64; 3]) -> [f64; 3] {
        let off = [0, 1, 2].map(|k| p[k] - self.foot[k]);
        let along: f64 = off.iter().zip(self.axis).map(|(o, a)| o * a).sum();
        let out = [0, 1, 2].map(|k| off[k] - along * self.axis[k]);
        let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let [ax, ay, az] = self.axis;
        // two directions across the axis, at right angles to each other; the axis never lies along x
        let one = [1.0 - ax * ax, -ax * ay, -ax * az];
        let two = [0.0, az, -ay];
        [dot(out, out).sqrt(), dot(out, two).atan2(dot(out, one)), along]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn helix(lean: f64, turns: f64) -> Vec<[f64; 3]> {
        let (sine, cosine) = lean.sin_cos();
        (0..200)
            .map(|k| {
                let turn = turns * f64::from(k) / 199.0;
                let [x, y, z] = [37.0 * (TAU * turn).cos(), 37.0 * (TAU * turn).sin(), -31.0 * turn];
                [4.0 + x, -7.0 + cosine * y - sine * z, 11.0 + sine * y + cosine * z]
            })
            .collect()
    }

    #[test]
    fn a_leaning_helix_keeps_its_pitch_and_diameter() {
        for lean in [0.0, 0.04, -0.1] {
            let (diameter, pitch) = helix_of(&helix(lean, 2.3)).unwrap();
            assert!(
                (diameter - 74.0).abs() < 1e-6 && (pitch - 31.0).abs() < 1e-6,
                "{lean}: {diameter}, {pitch}"
            );
        }
    }

    #[test]
    fn a_short_piece_has_none() {
        assert_eq!(helix_of(&helix(0.0, 0.4)), None);
        assert_eq!(helix_of(&[]), None);
        assert_eq!(helix_of(&[[0.0; 3]; 5]), None);
    }
}
