//! A simulated hand: three clicks on the beam and two on numbered marks, on the picture scaled to a page's width.

use std::path::Path;

use super::super::dice::Dice;
use super::scene::PHOTO;
use super::truth::{Label, Truth};

/// Width of the picture on the page, and by how much a hand misses there, in the page's pixels.
const PAGE_PX: f64 = 1200.0;
const MISSES_PX: [f64; 2] = [2.0, 4.0];

/// Which marks are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marks {
    None,
    Beam,
    BeamAndScale,
}

/// Writes `marks/`, or takes it away; false where there is nothing to click.
pub(super) fn write(folder: &Path, truth: &Truth, marks: Marks, seed: u64) -> Result<bool, String> {
    let path = folder.join("marks").join(format!("{PHOTO}.csv"));
    let _ = std::fs::remove_file(&path);
    if marks == Marks::None {
        return Ok(true);
    }
    let mut dice = Dice::new(seed ^ 0x00C1_1C45);
    let rough = dice.between(MISSES_PX[0], MISSES_PX[1]) * f64::from(truth.size_px[0]) / PAGE_PX;
    // so much in all, not in each direction
    let mut missed = |px: [f64; 2]| px.map(|v| v + rough * std::f64::consts::FRAC_1_SQRT_2 * dice.normal());
    let mut text = "what,x_px,y_px,along_mm\n".to_owned();
    let Some(points) = on_beam(truth) else { return Ok(false) };
    for px in points {
        let [x, y] = missed(px);
        text.push_str(&format!("beam,{x:.1},{y:.1},\n"));
    }
    if marks == Marks::BeamAndScale {
        let Some(labels) = on_scale(truth) else { return Ok(false) };
        for label in labels {
            let [x, y] = missed(label.px);
            text.push_str(&format!("scale,{x:.1},{y:.1},{:.0}\n", label.along_mm));
        }
    }
    std::fs::create_dir_all(folder.join("marks")).map_err(|fault| fault.to_string())?;
    std::fs::write(&path, text).map_err(|fault| fault.to_string())?;
    Ok(true)
}

/// Three points spread over what can be seen of the beam: a sixth, a half and five sixths of the way along it.
fn on_beam(truth: &Truth) -> Option<[[f64; 2]; 3]> {
    let seen: Vec<[f64; 2]> =
        truth.beam_px.iter().zip(&truth.beam_visible).filter(|(_, seen)| **seen).map(|(px, _)| *px).collect();
    let at = |share: f64| seen.get((share * seen.len() as f64) as usize).copied();
    Some([at(1.0 / 6.0)?, at(0.5)?, at(5.0 / 6.0)?])
}

/// The two visible labels that lie farthest apart.
pub(super) fn on_scale(truth: &Truth) -> Option<[&Label; 2]> {
    let mut seen = truth.labels.iter().filter(|label| label.is_visible);
    let first = seen.next()?;
    seen.next_back().map(|last| [first, last])
}
