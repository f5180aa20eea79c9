//! From the line seen in a band to the trace: the cross-section's middle at each station, which of them to believe, the
//! ellipse and how certain it is.

use super::Band;
use crate::ring::{Rejected, RingTrace, TracePoint};
use crate::ring_curve::{Offset, OpenCurve, correlated_neighbours, median};
use crate::ring_ellipse::{Ellipse, Weighted};
use crate::ring_follow::station;
use crate::trace::{LineFit, fit_line};
use crate::trace_shape::{FULL_WIDTH, Shape};

/// Standard uncertainty of the centre line that is the same all along it, in standard deviations of the beam: haze inside the
/// ring and a core at full scale lift one flank.
const COMMON_U_SIGMAS: f64 = 0.12;
/// The same of what varies slowly along it.
const SLOW_U_SIGMAS: f64 = 0.12;
/// Neither is smaller than this, in pixels: strong compression and sharpening move lines by it.
const LEAST_U_PX: f64 = 0.08;
/// Samples within so many standard deviations of the beam make a plain middle.
const REACH_SIGMAS: f64 = 1.8;
/// Relative standard uncertainty of the width.
const WIDTH_U: f64 = 0.15;

/// The line read to a part of its width.
#[derive(Debug, Clone)]
pub(crate) struct Settled {
    fits: Vec<Option<LineFit>>,
    weights: Vec<f64>,
    why: Vec<&'static str>,
    curve: OpenCurve,
    pub(super) sigma_px: f64,
    /// Orthogonal-distance ellipse through the believed stations.
    pub(crate) ellipse: Ellipse,
}

impl Band {
    /// Reads the middle of the cross-section at every station; `None` where too few can be believed.
    pub(crate) fn read(&self, elongation: f64) -> Option<Settled> {
        let values = self.light.mixed(&self.mixture);
        let m = self.light.raster.len();
        let sigma_px = self.width(&values).unwrap_or(self.sigma_px);
        let shape = Shape::gaussian(sigma_px);
        let reach = (REACH_SIGMAS * sigma_px).max(5.0 * self.light.raster.step);
        let fits: Vec<Option<LineFit>> = values
            .chunks_exact(m)
            .zip(&self.offset_px)
            .zip(&self.lit)
            .map(
                |((row, d), lit)| {
                    if *lit { fit_line(row, self.light.raster, &shape, *d, reach) } else { None }
                },
            )
            .collect();
        let mut why: Vec<&'static str> = Vec::with_capacity(fits.len());
        for (fit, (lit, usable)) in fits.iter().zip(self.lit.iter().zip(&self.usable)) {
            why.push(match fit {
                _ if !usable => "out of the picture, or left out",
                _ if !lit => "the line is not seen here",
                None => "no line fits the cross-section",
                Some(_) => "",
            });
        }
        let offset = |(t, f): (&f64, &Option<LineFit>)| {
            f.map(|f| Offset { t: *t, d: f.centre_px, u: f.u_px.max(0.05 * sigma_px) })
        };
        let start = self.dark_start();
        let (t, order) = self.order_from(start);
        let ordered: Vec<Option<LineFit>> = order.iter().filter_map(|&i| fits.get(i).copied()).collect();
        let points: Vec<Offset> = t.iter().zip(&ordered).filter_map(offset).collect();
        let degrees = 360.0 * points.len() as f64 / fits.len().max(1) as f64;
        let (curve, given) = OpenCurve::fitted(&points, (3.0 + degrees / 60.0).round() as usize)?;
        let mut weights = vec![0.0; fits.len()];
        let mut given = given.into_iter();
        for (&i, fit) in order.iter().zip(&ordered) {
            if fit.is_some() {
                let weight = given.next().unwrap_or(0.0);
                weights[i] = weight;
                if weight == 0.0 {
                    why[i] = "off the smooth line";
                }
            }
        }
        let ellipse = self.through(&fits, &weights, sigma_px, elongation)?;
        Some(Settled { fits, weights, why, curve, sigma_px, ellipse })
    }

    /// Standard deviation of the middle cross-section where the line is brightest, pixels.
    fn width(&self, values: &[f32]) -> Option<f64> {
        let raster = self.light.raster;
        let m = raster.len();
        let mut rows: Vec<(f64, usize)> = self
            .height
            .iter()
            .zip(&self.lit)
            .enumerate()
            .filter(|(_, (_, l))| **l)
            .map(|(i, (h, _))| (*h, i))
            .collect();
        rows.sort_by(|a, b| b.0.total_cmp(&a.0));
        rows.truncate((rows.len() / 2).max(8));
        let half = ((super::SIDE + 0.5) * self.sigma_px / raster.step).ceil() as isize;
        let middle: Vec<f64> = (-half..=half)
            .map(|j| {
                let at = |i: usize| -> Option<f64> {
                    let top = (self.offset_px.get(i)? / raster.step).round() as isize + raster.half as isize;
                    let k = usize::try_from(top + j).ok().filter(|k| *k < m)?;
                    values.get(i * m + k).map(|v| f64::from(*v))
                };
                median(rows.iter().filter_map(|(_, i)| at(*i)).collect())
            })
            .collect();
        let full = crate::ring_follow::half_width(&middle, half as usize)? * raster.step;
        Some((full / FULL_WIDTH).clamp(0.6 * self.sigma_px, 1.6 * self.sigma_px).max(0.6))
    }

    /// The station in the middle of the longest stretch on which nothing is seen.
    pub(super) fn dark_start(&self) -> usize {
        let n = self.lit.len();
        let (mut best, mut length) = (0, 0);
        let mut run = 0;
        for k in 0..2 * n {
            if self.lit.get(k % n) == Some(&true) {
                run = 0;
            } else {
                run += 1;
                if run > length && run <= n {
                    (best, length) = (k - run / 2, run);
                }
            }
        }
        best % n.max(1)
    }

    /// Stations from there on, with growing parameters.
    pub(super) fn order_from(&self, start: usize) -> (Vec<f64>, Vec<usize>) {
        let n = self.t.len();
        let turn = |k: usize| if start + k >= n { std::f64::consts::TAU } else { 0.0 };
        let order: Vec<usize> = (0..n).map(|k| (start + k) % n).collect();
        let t = order.iter().enumerate().map(|(k, &i)| self.t[i] + turn(k)).collect();
        (t, order)
    }

    fn through(
        &self,
        fits: &[Option<LineFit>],
        weights: &[f64],
        sigma_px: f64,
        elongation: f64,
    ) -> Option<Ellipse> {
        let floor = 0.05 * sigma_px;
        let mut points = Vec::new();
        for ((fit, w), t) in fits.iter().zip(weights).zip(&self.t) {
            if let Some(fit) = fit.filter(|_| *w > 0.0) {
                let place = station(&self.base, *t, fit.centre_px);
                points.push(Weighted {
                    x: place.x,
                    y: place.y,
                    weight: w * (floor / fit.u_px.max(floor)).powi(2),
                });
            }
        }
        if points.len() < 8 {
            return None;
        }
        let off = |e: &Ellipse| {
            1.4826 * median(points.iter().map(|p| e.distance(p.x, p.y).abs()).collect::<Vec<f64>>())
        };
        let first = self.fitted(self.base, points.clone(), 0.0, elongation, 12)?;
        let scatter = off(&first);
        self.fitted(first, points, scatter, elongation, 12).filter(|e| e.is_sound(3.0))
    }
}

impl Settled {
    /// Offset of the line's middle from the base at a station, where it was read, pixels.
    pub(super) fn offset(&self, i: usize) -> Option<f64> {
        self.fits.get(i).copied().flatten().map(|fit| fit.centre_px)
    }

    /// The finished trace, its points in order round the ring from the widest dark stretch on.
    pub(crate) fn trace(&self, band: &Band) -> RingTrace {
        let residual = |i: usize, t: f64| {
            let fit = self.fits.get(i).copied().flatten()?;
            (self.weights.get(i).is_some_and(|w| *w > 0.0)).then(|| fit.centre_px - self.curve.at(t))
        };
        let (t, order) = band.order_from(band.dark_start());
        let residuals: Vec<Option<f64>> = order.iter().zip(&t).map(|(&i, &t)| residual(i, t)).collect();
        let known: Vec<f64> = residuals.iter().flatten().copied().collect();
        let count = known.len().max(1) as f64;
        let scatter_px = (known.iter().map(|r| r * r).sum::<f64>() / count).sqrt();
        let points = self.points(band, &order, scatter_px);
        let (mut squares, mut believed) = (0.0, 0.0_f64);
        for p in points.iter().filter(|p| p.accepted) {
            squares += self.ellipse.distance(p.x_px, p.y_px).powi(2);
            believed += 1.0;
        }
        let correlation_length_px = band.spacing_px * correlated_neighbours(&residuals);
        let half = 0.5 * FULL_WIDTH * self.sigma_px;
        let u_half = WIDTH_U * half;
        RingTrace {
            muzzle_px: None,
            travel_known: false,
            arc_seen_deg: 360.0 * known.len() as f64 / residuals.len().max(1) as f64,
            ellipse: self.ellipse,
            centre_px: [self.ellipse.cx, self.ellipse.cy],
            semi_axes_px: self.ellipse.semi_axes(),
            axis_angle_deg: self.ellipse.axis_angle_deg(),
            beam_width_px: [2.0 * half, 2.0 * u_half],
            edges_px: [[half, u_half]; 2],
            correlation_length_px,
            effective_points: count * band.spacing_px / correlation_length_px.max(1e-9),
            scatter_px,
            out_of_ellipse_px: (squares / believed.max(1.0) - scatter_px * scatter_px).max(0.0).sqrt(),
            slow_u_px: (SLOW_U_SIGMAS * self.sigma_px).max(LEAST_U_PX),
            common_u_px: (COMMON_U_SIGMAS * self.sigma_px).max(LEAST_U_PX),
            channel_weights: band.mixture.0,
            rejected: self.rejected(band),
            caveats: Vec::new(),
            points,
        }
    }

    fn points(&self, band: &Band, order: &[usize], scatter_px: f64) -> Vec<TracePoint> {
        let half = 0.5 * FULL_WIDTH * self.sigma_px;
        let mut points = Vec::new();
        for (k, &i) in order.iter().enumerate() {
            let (Some(Some(fit)), Some(weight), Some(&t)) =
                (self.fits.get(i), self.weights.get(i), band.t.get(i))
            else {
                continue;
            };
            let place = station(&band.base, t, fit.centre_px);
            points.push(TracePoint {
                x_px: place.x,
                y_px: place.y,
                normal: [place.nx, place.ny],
                u_px: fit.u_px.max(scatter_px),
                width_px: 2.0 * half,
                edges_px: [half; 2],
                // the light was read as its square root
                brightness: (fit.ground.max(0.0) + fit.height).powi(2) - fit.ground.max(0.0).powi(2),
                s_px: k as f64 * band.spacing_px,
                accepted: *weight > 0.0,
            });
        }
        let first = points.iter().find(|p| p.accepted).map_or(0.0, |p| p.s_px);
        points.iter_mut().for_each(|p| p.s_px -= first);
        points
    }

    fn rejected(&self, band: &Band) -> Vec<Rejected> {
        let mut out: Vec<Rejected> = Vec::new();
        for (i, why) in self.why.iter().enumerate().filter(|(_, why)| !why.is_empty()) {
            let offset = self.fits.get(i).copied().flatten().map(|fit| fit.centre_px);
            let place = match (offset, band.t.get(i)) {
                (Some(d), Some(&t)) => {
                    let s = station(&band.base, t, d);
                    [s.x, s.y]
                }
                _ => band.place(i),
            };
            match out.iter_mut().find(|r| r.why == *why) {
                Some(r) => r.points_px.push(place),
                None => out.push(Rejected { points_px: vec![place], why: (*why).to_owned() }),
            }
        }
        out
    }
}
