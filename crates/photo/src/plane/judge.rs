//! What the calibrated plane says of the photograph: marks counted wrongly, a spacing that asks for a strange lens, a
//! picture cut down afterwards.

use nalgebra::DVector;

use super::model::Model;
use super::solve::{Solved, solve};
use super::{CameraHints, ScalePlane};
use crate::error::{PhotoCaveat, PhotoError};
use crate::scale::{Rhythm, ScaleFound};

/// Marks that miss their place by more than this on average point to a miscount or a bent scale.
const ALARM_RMS_MM: f64 = 0.03;
/// A lens that looks further from the picture's middle than this part of the longer side looks at no middle of its own.
const CROPPED: f64 = 0.1;
/// Smaller scatter than this, in units of what was expected, is not taken at its word.
const LEAST_SCATTER: f64 = 0.5;
/// Nor is it likely to have looked further out of the picture than this part of a side.
const OUTSIDE: f64 = 0.25;
/// What the fit must gain by it, in χ² of the scatter that the marks show. 14 would be one chance in a thousand for two unknowns and
/// independent marks; errors of print and lens hang together along a scale. Measured: 56 to 640 on six pictures cut down
/// afterwards, at most 34 on 174 scales of an independent renderer that were not.
const CROPPED_GAIN: f64 = 40.0;

/// The model and fit of a picture that was cut down afterwards, if the camera's word or the marks say that it was.
pub(super) fn cropped(
    model: &Model,
    centred: &Solved,
    size_px: [usize; 2],
    hints: &CameraHints,
) -> Option<(Model, Solved)> {
    let free = model.cropped(size_px);
    let all = |p: &DVector<f64>| free.residuals(p, 1);
    let solved = solve(&all, &centred.unknowns, free.priors(), free.stated(), [40, 3])?;
    let (camera, _) = free.camera(&solved.unknowns)?;
    let middle = size_px.map(|n| (n as f64 - 1.0) / 2.0);
    let aside = (camera.centre_px[0] - middle[0]).hypot(camera.centre_px[1] - middle[1]);
    let is_far = aside > CROPPED * size_px[0].max(size_px[1]) as f64;
    let gain = (centred.cost - solved.cost) / centred.scale.max(LEAST_SCATTER).powi(2);
    // who cuts a picture down keeps what it shows, and the lens looked at that
    let is_likely = (0..2).all(|k| {
        let side = size_px[k] as f64;
        (-OUTSIDE * side..(1.0 + OUTSIDE) * side).contains(&camera.centre_px[k])
    });
    let is_seen = is_far && is_likely && gain > CROPPED_GAIN;
    (is_seen || hints.is_cut_down).then_some((free, solved))
}

pub(super) fn cut_down(plane: &ScalePlane, size_px: [usize; 2]) -> PhotoCaveat {
    let [x, y] = plane.camera.centre_px;
    PhotoCaveat::new(
        "picture-cropped",
        format!(
            "the lens should have looked at the middle of the picture, pixel ({:.0}, {:.0}), but seems to have looked at ({x:.0}, {y:.0}): the photograph was probably cut down afterwards, which leaves the scale less certain",
            size_px[0] as f64 / 2.0,
            size_px[1] as f64 / 2.0,
        ),
        "give the photographs as the camera wrote them",
    )
}

/// Any one of these may have a harmless cause; two of them together are marks counted wrongly.
const ALARMS: [&str; 3] = ["scale-marks-scatter", "scale-marks-rejected", "scale-spacing-doubtful"];

pub(super) fn is_counted_rightly(plane: &ScalePlane) -> Result<(), PhotoError> {
    let alarms: Vec<&str> =
        plane.caveats.iter().filter(|c| ALARMS.contains(&c.code)).map(|c| c.sentence.as_str()).collect();
    match alarms.as_slice() {
        [first, second, ..] => Err(PhotoError::ScaleUnclear {
            why: format!("they were most likely counted wrongly: {first}; and {second}"),
        }),
        _ => Ok(()),
    }
}

/// Focal lengths, in picture widths, of lenses people use on a bench, from wide to a long one; and of those they use
/// mostly.
const USUAL_FOCAL_WIDTHS: [f64; 2] = [0.45, 6.0];
const COMMON_FOCAL_WIDTHS: [f64; 2] = [0.6, 4.2];
/// Beyond these even marks with a rhythm were counted wrongly: no camera on a bench has such a lens.
const POSSIBLE_FOCAL_WIDTHS: [f64; 2] = [0.3, 9.0];
/// A written focal length differs by no more than this factor, even from a cropped picture.
const WRITTEN_FACTOR: f64 = 1.8;

/// Pixels a millimetre at the stated distance, least and most, with a lens as people use it or, where the camera wrote its
/// focal length, with one not far from that; a scale may lean away or stand before the plane of the stated distance by a fifth.
pub fn likely_px_per_mm(hints: &CameraHints, size_px: [usize; 2]) -> Option<[f64; 2]> {
    let (distance_mm, _) = hints.distance_mm?;
    let side_px = size_px[0].max(size_px[1]) as f64;
    let [short, long] = hints.focal_px.map_or_else(
        || USUAL_FOCAL_WIDTHS.map(|widths| widths * side_px),
        |(written, _)| [written / WRITTEN_FACTOR, written * WRITTEN_FACTOR],
    );
    Some([0.8 * short / distance_mm, 1.2 * long / distance_mm])
}

/// A spacing that was only stated can't be defended by the marks; the camera's distance can: a wrong spacing asks for a
/// lens that nobody uses, or that the camera did not write down.
pub(super) fn stated_spacing_is_likely(
    found: &ScaleFound,
    plane: &mut ScalePlane,
    size_px: [usize; 2],
    hints: &CameraHints,
) -> Result<(), PhotoError> {
    // a row's rhythm stands for its spacing, a heavier line every so often for nothing but an even count
    let is_plain_row = found
        .rows
        .first()
        .is_some_and(|row| matches!(row.rhythm, Rhythm::None | Rhythm::Halvings { levels: 1 }));
    let is_plain = is_plain_row || !found.crossings.is_empty();
    let Some((distance_mm, _)) = hints.distance_mm else { return Ok(()) };
    // the fit weighs all it knows; here the stated distance speaks alone
    let focal_px =
        plane.camera.focal_px * distance_mm / plane.distance_seen_mm(size_px).unwrap_or(distance_mm);
    let widths = focal_px / size_px[0].max(size_px[1]) as f64;
    let unlike = hints.focal_px.map(|(written, _)| (focal_px / written).max(written / focal_px));
    let within = |range: [f64; 2]| (range[0]..=range[1]).contains(&widths);
    // lines both ways leave out or take twice only whole factors, which ask for a lens far stranger than one long by a little
    let usual = if is_plain_row { USUAL_FOCAL_WIDTHS } else { POSSIBLE_FOCAL_WIDTHS };
    let is_strange = !within(usual) || unlike.is_some_and(|u| u > WRITTEN_FACTOR);
    if (is_plain && is_strange) || !within(POSSIBLE_FOCAL_WIDTHS) {
        let why = match unlike {
            Some(u) if u > WRITTEN_FACTOR => format!(
                "at the stated spacing and camera distance the focal length would differ by a factor of {u:.1} from the one that the camera wrote down"
            ),
            _ => format!(
                "at the stated spacing and camera distance the lens would have {widths:.1} picture widths of focal length"
            ),
        };
        return Err(PhotoError::ScaleUnclear { why });
    }
    let odd =
        if is_plain { !within(COMMON_FOCAL_WIDTHS) && unlike.is_none() } else { !within(USUAL_FOCAL_WIDTHS) };
    if odd || (!is_plain && unlike.is_some_and(|u| u > WRITTEN_FACTOR)) {
        plane.caveats.push(PhotoCaveat::new(
            "scale-spacing-doubtful",
            format!("with the stated distance the lens would have a focal length of {widths:.1} picture widths, which is unusual"),
            "check the stated distance and the spacing of the marks",
        ));
    }
    Ok(())
}

pub(super) fn judge_marks(plane: &mut ScalePlane, solved: &Solved) {
    let (mut sum, mut count) = (0.0, 0_usize);
    let mut rejected = Vec::new();
    for (k, (r, w)) in solved.residuals.iter().zip(&solved.weights).enumerate() {
        let Some(Some(owner)) = plane.model.owners.get(k).copied() else { continue };
        if *w > 0.05 {
            sum += (r * plane.model.u_px(k) / plane.model.px_per_mm()).powi(2);
            count += 1;
        } else {
            rejected.push(owner);
        }
    }
    rejected.sort_unstable();
    rejected.dedup();
    plane.points_used = count;
    plane.residual_rms_mm = (sum / count.max(1) as f64).sqrt();
    plane.rejected = rejected;
}

pub(super) fn with_caveats(
    mut plane: ScalePlane,
    found: &ScaleFound,
    hints: &CameraHints,
    ambiguous: bool,
) -> ScalePlane {
    let mut say =
        |code, sentence: String, remedy: &str| plane.caveats.push(PhotoCaveat::new(code, sentence, remedy));
    if plane.residual_rms_mm > ALARM_RMS_MM {
        say(
            "scale-marks-scatter",
            format!(
                "the marks miss their places by {:.3} mm on average; a sharp scale stays below {ALARM_RMS_MM} mm",
                plane.residual_rms_mm
            ),
            "check the numbers of the marks on the drawn-back photograph; is the scale bent, or out of focus?",
        );
    }
    let marks = found.rows.iter().map(|r| r.marks.len()).sum::<usize>() + found.crossings.len();
    if 5 * plane.rejected.len() > marks && marks > 0 {
        say(
            "scale-marks-rejected",
            format!("{} of {marks} marks do not fit the others and were rejected", plane.rejected.len()),
            "check the numbers of the marks on the drawn-back photograph",
        );
    }
    if ambiguous {
        say(
            "plane-tilt-ambiguous",
            format!(
                "two directions of the camera's tilt fit the marks alike; one of {:.1}° was taken",
                plane.tilt_deg
            ),
            "state the camera's distance, or photograph a scale that fills more of the frame",
        );
    }
    if plane.model.is_few {
        // the marks between labels may have been made into more points
        let points = if found.labels > 0 { found.labels } else { found.hand_marks.len() };
        let what = if found.caveats.iter().any(|caveat| caveat.code == "scale-by-rhythm") {
            "the marks of one scale give its size".to_owned()
        } else {
            format!("{points} points marked by hand give the scale's size")
        };
        say(
            "scale-few-points",
            format!("{what} but not the tilt of its plane, which is taken to be parallel to the ring"),
            "mark four points or more, not on one line, if the scale is not parallel to the coils",
        );
    }
    if hints.distance_mm.is_none() && hints.focal_px.is_none() && plane.tilt_deg > 3.0 && !plane.model.is_few
    {
        say(
            "camera-distance-unknown",
            "neither the camera's distance nor its focal length is known; the tilt of the scale rests on the marks alone".into(),
            "state the distance from the lens to the bulb's centre in the bench file",
        );
    }
    plane
}

impl ScalePlane {
    /// Distance from the lens to the point of the plane seen in the picture's middle.
    fn distance_seen_mm(&self, size_px: [usize; 2]) -> Option<f64> {
        let p = self.to_plane(size_px.map(|n| (n as f64 - 1.0) / 2.0))?;
        let c = self.camera_mm;
        Some(((c[0] - p[0]).powi(2) + (c[1] - p[1]).powi(2) + c[2] * c[2]).sqrt())
    }
}
