//! From the believed stations to the finished trace: points, ellipse, uncertainty, what was left out, caveats.

use crate::error::{PhotoCaveat, PhotoError};
use crate::picture::Picture;
use crate::ring::{Rejected, RingTrace, TracePoint, WHOLE_DEG};
use crate::ring_cross::{Sector, shape_at};
use crate::ring_curve::{correlated_neighbours, median};
use crate::ring_ellipse::Weighted;
use crate::ring_follow::station;
use crate::ring_line::{DOUBLED, Line, MOST_SATURATED, SHORTEST_ARC_DEG, faint};
use crate::trace_shape::FULL_WIDTH;

/// Arc below which a caveat is said: the ellipse's short axis then leans on an assumption of roundness.
const SHORT_ARC_DEG: f64 = 150.0;
/// Doubled arc from which it is said.
const DOUBLED_SAID_DEG: f64 = 20.0;

/// What moves slowly along the beam, and what is the same all along it, is not seen in the scatter about a smooth line: it
/// grows with the beam's width (skew of its cross-section, haze) and does not vanish for a thin one (sampling, glass).
/// Measured against drawn beams of five cross-sections with a known centre line; the widths are standard deviations.
const SLOW_U_PX: f64 = 0.02;
const SLOW_U_WIDTHS: f64 = 0.008;
/// Part of the widths' spread along the beam: what makes the line wider on one side may lie beside it.
const UNEVEN_U: f64 = 0.1;
const COMMON_U_PX: f64 = 0.015;
const COMMON_U_WIDTHS: f64 = 0.01;
/// The same where a second turn was told apart: over the arc where both run into each other its place hangs on the ratio of
/// their light. Measured on drawn helices, whose first turn was missed by 0.1 to 0.2 standard deviations of the beam.
const BESIDE_SECOND_U_WIDTHS: f64 = 0.15;

/// The same of a beam wider than this part of the diameter, as hand-held cameras show it: sharpening, smoothing and glow that
/// fills the bulb move its middle. Measured on photographs drawn as found in laboratories (0.06 standard deviations r.m.s.).
const WIDE_BEAM: f64 = 0.03;
const WIDE_U_WIDTHS: f64 = 0.06;
/// The same where the core is at full scale: what is left are flanks, and the haze inside lifts one of them. Measured on drawn
/// beams overexposed by three to ten, which were missed by up to 0.1 standard deviations of the beam.
const SATURATED_U_WIDTHS: f64 = 0.07;
/// Relative standard uncertainty of widths and edges where the core is at full scale all over its width (common sense, no source:
/// a beam ten times overexposed has its half height at twice the width it seems to have).
const FLANKS_U: f64 = 0.3;

impl Line {
    /// The finished trace.
    pub(crate) fn finished(self, picture: &Picture) -> Result<RingTrace, PhotoError> {
        let residuals = self.residuals();
        let known: Vec<f64> = residuals.iter().flatten().copied().collect();
        let arc_seen_deg = 360.0 * known.len() as f64 / residuals.len() as f64;
        if arc_seen_deg < SHORTEST_ARC_DEG {
            return Err(PhotoError::ArcTooShort { seen_deg: arc_seen_deg, needed_deg: SHORTEST_ARC_DEG });
        }
        let scatter_px = (known.iter().map(|r| r * r).sum::<f64>() / known.len() as f64).sqrt();
        let stated = median(
            self.fits
                .iter()
                .zip(&self.weights)
                .filter(|(_, w)| **w > 0.0)
                .filter_map(|(f, _)| f.map(|f| f.u_px))
                .collect(),
        );
        let widen = (1.4826 * median(known.iter().map(|r| r.abs()).collect()) / stated.max(1e-9)).max(1.0);
        let points = self.points(widen);
        let weighted: Vec<Weighted> = points
            .iter()
            .filter(|p| p.accepted)
            .map(|p| Weighted { x: p.x_px, y: p.y_px, weight: p.u_px.powi(-2) })
            .collect();
        let ellipse = self.base.fitted(&weighted, 1e6, 30).ok_or_else(faint)?;
        let out =
            weighted.iter().map(|w| ellipse.distance(w.x, w.y).powi(2)).sum::<f64>() / weighted.len() as f64;
        let spacing = self.followed.spacing_px;
        let correlation_length_px = spacing * correlated_neighbours(&residuals);
        let arc_px = known.len() as f64 * spacing;
        let widths: Vec<f64> = points.iter().filter(|p| p.accepted).map(|p| p.width_px).collect();
        let width = median(widths.clone());
        let u_width = self.sectors_u(|sector| sector.fit.shape.full_width_px(), width);
        let uneven = self.uneven_width();
        let is_beside = self.is_beside_second || self.doubled_deg() > DOUBLED_SAID_DEG;
        let is_wide = width > WIDE_BEAM * 2.0 * ellipse.r;
        let common_widths = if is_beside {
            BESIDE_SECOND_U_WIDTHS
        } else if self.cross.saturated > MOST_SATURATED {
            SATURATED_U_WIDTHS
        } else if is_wide {
            WIDE_U_WIDTHS
        } else {
            COMMON_U_WIDTHS
        };
        Ok(RingTrace {
            muzzle_px: self.muzzle_px(picture),
            travel_known: self.forward.is_some(),
            arc_seen_deg,
            ellipse,
            centre_px: [ellipse.cx, ellipse.cy],
            semi_axes_px: ellipse.semi_axes(),
            axis_angle_deg: ellipse.axis_angle_deg(),
            beam_width_px: [width, u_width],
            edges_px: [0, 1].map(|side| self.edge(side)),
            correlation_length_px,
            effective_points: arc_px / correlation_length_px,
            scatter_px,
            out_of_ellipse_px: (out - scatter_px * scatter_px).max(0.0).sqrt(),
            slow_u_px: SLOW_U_PX
                .hypot(SLOW_U_WIDTHS * width / FULL_WIDTH)
                .hypot(UNEVEN_U * uneven / FULL_WIDTH),
            common_u_px: COMMON_U_PX.hypot(common_widths * width / FULL_WIDTH),
            channel_weights: self.cross.weights,
            rejected: self.rejected(),
            caveats: self.caveats(arc_seen_deg),
            points,
        })
    }

    /// Distance of the inner (0) or outer (1) edge from the centre line with its standard uncertainty, over the sectors.
    fn edge(&self, side: usize) -> [f64; 2] {
        let of = |sector: &Sector| sector.fit.shape.edges_px().get(side).copied().unwrap_or(0.0);
        let middle = median(self.sectors.iter().map(of).collect());
        [middle, self.sectors_u(of, middle)]
    }

    /// Standard uncertainty of a median over the sectors, from their scatter about it.
    fn sectors_u(&self, of: impl Fn(&Sector) -> f64, middle: f64) -> f64 {
        let off = self.sectors.iter().map(|sector| (of(sector) - middle).abs()).collect();
        let scatter = 1.4826 * median(off) / (self.sectors.len() as f64).sqrt();
        // where the top is cut off nobody knows what half of it is
        if self.has_flanks_only { scatter.hypot(FLANKS_U * middle) } else { scatter }
    }

    /// Arc over which the cross-section is not that of one line, in degrees.
    fn doubled_deg(&self) -> f64 {
        let doubled = self.why.iter().filter(|w| **w == DOUBLED).count();
        360.0 * doubled as f64 / self.why.len() as f64
    }

    /// Spread of the beam's width over the sectors: the middle eight tenths.
    fn uneven_width(&self) -> f64 {
        let mut widths: Vec<f64> = self.sectors.iter().map(|s| s.fit.shape.full_width_px()).collect();
        widths.sort_by(f64::total_cmp);
        let at = |share: f64| widths.get((share * widths.len() as f64) as usize).copied().unwrap_or(0.0);
        (at(0.9) - at(0.1)).max(0.0)
    }

    pub(crate) fn points(&self, widen: f64) -> Vec<TracePoint> {
        let mut points = Vec::new();
        for (i, (fit, &t)) in self.fits.iter().zip(&self.followed.t).enumerate() {
            let (Some(fit), Some(&weight), Some(shape)) =
                (fit, self.weights.get(i), shape_at(&self.sectors, t))
            else {
                continue;
            };
            let place = station(&self.base, t, fit.centre_px);
            points.push(TracePoint {
                x_px: place.x,
                y_px: place.y,
                normal: [place.nx, place.ny],
                u_px: fit.u_px * widen,
                width_px: shape.full_width_px(),
                edges_px: shape.edges_px(),
                brightness: fit.height,
                s_px: i as f64 * self.followed.spacing_px,
                accepted: weight > 0.0,
            });
        }
        self.order_by_travel(&mut points);
        points
    }

    /// Puts the points in the electrons' order, where known, and counts the arc from the first believed one.
    pub(crate) fn order_by_travel(&self, points: &mut [TracePoint]) {
        if self.forward == Some(false) {
            points.reverse();
            for point in points.iter_mut() {
                point.s_px = -point.s_px;
            }
        }
        let start = points.iter().find(|p| p.accepted).map_or(0.0, |p| p.s_px);
        for point in points {
            point.s_px -= start;
        }
    }

    pub(crate) fn rejected(&self) -> Vec<Rejected> {
        let mut out: Vec<Rejected> = Vec::new();
        for (i, why) in self.why.iter().enumerate().filter(|(_, w)| !w.is_empty()) {
            let (Some(&t), Some(fit)) = (self.followed.t.get(i), self.fits.get(i)) else { continue };
            let place = station(&self.base, t, fit.map_or(self.curve.at(t), |f| f.centre_px));
            match out.iter_mut().find(|r| r.why == *why) {
                Some(r) => r.points_px.push([place.x, place.y]),
                None => out.push(Rejected { points_px: vec![[place.x, place.y]], why: (*why).to_owned() }),
            }
        }
        out
    }

    pub(crate) fn caveats(&self, arc_seen_deg: f64) -> Vec<PhotoCaveat> {
        let mut caveats = Vec::new();
        if arc_seen_deg < SHORT_ARC_DEG {
            caveats.push(PhotoCaveat::new(
                "short-arc",
                format!("only {arc_seen_deg:.0}° of the ring is bright enough to follow"),
                "darken the room or expose for longer, then photograph again",
            ));
        }
        if self.cross.saturated > MOST_SATURATED {
            caveats.push(PhotoCaveat::new(
                "saturated-beam",
                format!(
                    "the beam must not be overexposed; {:.0} % of its core is at full scale",
                    100.0 * self.cross.saturated
                ),
                "expose for a shorter time, then photograph again",
            ));
        }
        if arc_seen_deg > WHOLE_DEG {
            caveats.push(PhotoCaveat::new(
                "no-gap-for-the-gun",
                "the beam should be hidden where the gun stands; this line is seen all round and may be the bulb's outline",
                "check the overlay; if the wrong line was taken, state the bulb's radius or mark points on the beam by hand",
            ));
        }
        if self.is_beside_second {
            caveats.push(PhotoCaveat::new(
                "second-turn",
                "the path should close or its turns stand clear of each other; two turns lie side by side, and the brighter one was taken for the first",
                "turn the tube until the path closes or its turns stand clear of each other, then photograph again",
            ));
        }
        let doubled = self.doubled_deg();
        if doubled > DOUBLED_SAID_DEG {
            caveats.push(PhotoCaveat::new(
                "doubled-line",
                format!("the beam should be one line; over {doubled:.0}° something lies beside it, such as a second turn or a reflection"),
                "turn the tube until the path closes or its turns stand clear of each other, then photograph again",
            ));
        }
        caveats
    }
}
