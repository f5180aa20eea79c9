//! The beam's cross-sections all along the ring: which channels to trust, their common shape, the centre at each station.

use crate::picture::Picture;
use crate::ring_curve::median;
use crate::ring_ellipse::Ellipse;
use crate::ring_follow::station;
use crate::trace::{LineFit, Profile, Raster, Rows, fit_line, read_channels};
use crate::trace_shape::{Lengths, Shape, ShapeFit, fit_shape};

/// Decay lengths tried for the inner haze, in units of the core's width: from hardly separate to a plain step.
const HAZE_LENGTHS: [f64; 4] = [1.5, 3.0, 7.0, 20.0];
/// Half-widths tried for the veil.
const VEIL_WIDTHS: [f64; 2] = [2.5, 5.0];
/// Exponents of the core tried, a Gaussian first: beams with a sharp top or a flat one. Larger ones are left out: they would fit
/// the sharp-edged outline of the bulb and let it pass for the beam.
const POWERS: [f64; 3] = [2.0, 1.5, 3.0];
/// Lengths with which the exponents are compared.
const FIRST_LENGTHS: Lengths = Lengths { haze: 3.0, veil: 2.5, power: 2.0 };
/// Another exponent than a Gaussian's must leave less than this part of the squares, each with the lengths that suit it best;
/// with one set of lengths for both, this part makes it worth trying.
const CLEARLY_BETTER: f64 = 0.7;
const PERHAPS_BETTER: f64 = 0.85;
/// A channel is trusted when at most this part of its core samples is saturated.
const MOST_SATURATED: f64 = 0.03;
/// Cross-sections within which the shape is taken as one, in degrees of arc.
const SECTOR_DEG: f64 = 15.0;

/// Profiles read at every station about the followed line.
pub(crate) struct CrossSections {
    pub(crate) t: Vec<f64>,
    /// Offset of each profile's middle from the base ellipse in pixels.
    pub(crate) middle_px: Vec<f64>,
    pub(crate) profiles: Vec<Profile>,
    pub(crate) raster: Raster,
    /// Part of the core samples that are saturated in every channel used.
    pub(crate) saturated: f64,
    /// Weight of each channel.
    pub(crate) weights: [f32; 3],
    /// How like the beam's usual colour each station's line is: cosine between the two, `None` where it can't be told.
    pub(crate) likeness: Vec<Option<f64>>,
}

/// The shape of the cross-section in one sector of the ring.
#[derive(Debug, Clone)]
pub(crate) struct Sector {
    pub(crate) t: f64,
    pub(crate) fit: ShapeFit,
}

impl CrossSections {
    /// Reads all stations, `offsets` from the base ellipse, and joins the channels in which the beam stands clear.
    pub(crate) fn read(
        picture: &Picture,
        base: &Ellipse,
        t: &[f64],
        offsets: &[f64],
        sigma_px: f64,
        rows: Rows,
        lit: &[bool],
    ) -> Option<Self> {
        let step = (sigma_px / 4.0).max(0.5);
        let raster = Raster { step, half: ((7.0 * sigma_px).max(6.0) / step).ceil() as usize };
        let mut channels = vec![Vec::with_capacity(t.len()); picture.channels()];
        for (&t, &d) in t.iter().zip(offsets) {
            let read = read_channels(picture, &station(base, t, d), raster, rows);
            channels.iter_mut().zip(read).for_each(|(profiles, profile)| profiles.push(profile));
        }
        let quality: Vec<Quality> = channels.iter().map(|p| Quality::of(p, lit, raster, sigma_px)).collect();
        let (weights, saturated) = channel_weights(&quality)?;
        let join = |i: usize| -> Profile {
            (0..raster.len())
                .map(|k| {
                    let used = channels.iter().zip(weights).filter(|(_, w)| *w > 0.0);
                    used.map(|(p, w)| w * p.get(i).and_then(|p| p.get(k)).copied().unwrap_or(f32::NAN)).sum()
                })
                .collect()
        };
        let profiles = (0..t.len()).map(join).collect();
        let likeness = likeness(&channels, &quality, lit, raster, sigma_px);
        Some(Self {
            t: t.to_vec(),
            middle_px: offsets.to_vec(),
            profiles,
            raster,
            saturated,
            weights,
            likeness,
        })
    }

    /// First centres, with a bare Gaussian close to the top: one a station, offset from the base ellipse.
    pub(crate) fn first_centres(&self, sigma_px: f64) -> Vec<Option<LineFit>> {
        let shape = Shape::gaussian(sigma_px);
        let fit = |(p, middle): (&Profile, &f64)| {
            let found = fit_line(p, self.raster, &shape, 0.0, (2.5 * sigma_px).max(4.0))?;
            Some(LineFit { centre_px: found.centre_px + middle, ..found })
        };
        self.profiles.iter().zip(&self.middle_px).map(fit).collect()
    }

    /// Shapes sector by sector, from the middle profile about the line `centre_px` (offset at each station).
    ///
    /// Where another line runs beside the beam, the bulb's outline or a reflection, its samples are left out of all that
    /// follows.
    pub(crate) fn sectors(&mut self, centre_px: &[f64], good: &[bool], sigma_px: f64) -> Vec<Sector> {
        let used: Vec<usize> = (0..self.t.len()).filter(|&i| good.get(i) == Some(&true)).collect();
        let per = ((SECTOR_DEG / 360.0 * self.t.len() as f64) as usize).clamp(8, used.len().max(8));
        let mut groups: Vec<(f64, Vec<f32>)> = Vec::new();
        for g in used.chunks(per).filter(|g| 2 * g.len() >= per) {
            let mut middle = self.middle_profile(g, centre_px);
            let limits = clear_of_neighbours(&middle, self.raster, sigma_px);
            for (k, value) in middle.iter_mut().enumerate() {
                let d = self.raster.at(k);
                if d < limits[0] || d > limits[1] {
                    *value = f32::NAN;
                }
            }
            self.leave_out(g, centre_px, limits);
            let t = g.iter().filter_map(|&i| self.t.get(i)).sum::<f64>() / g.len() as f64;
            groups.push((t, middle));
        }
        let fit = |lengths: Lengths| -> Vec<Option<Sector>> {
            let one = |(t, p): &(f64, Vec<f32>)| {
                Some(Sector { t: *t, fit: fit_shape(p, self.raster, sigma_px, lengths)? })
            };
            groups.iter().map(one).collect()
        };
        let chosen = |power: f64| -> Vec<Option<Sector>> {
            let all =
                HAZE_LENGTHS.iter().flat_map(|&haze| VEIL_WIDTHS.map(|veil| Lengths { haze, veil, power }));
            let trials: Vec<Vec<Option<Sector>>> = all.map(fit).collect();
            (0..groups.len()).map(|i| best_trial(&trials, i)).collect()
        };
        let gaussian = chosen(POWERS[0]);
        let other = likely_power(fit).map(chosen);
        let best = other.filter(|other| part_left(other, &gaussian) < CLEARLY_BETTER).unwrap_or(gaussian);
        best.into_iter().flatten().map(Sector::tabulated).collect()
    }

    /// Leaves out the samples of a group's profiles that lie outside `limits` about the line.
    fn leave_out(&mut self, group: &[usize], centre_px: &[f64], limits: [f64; 2]) {
        if limits == NO_NEIGHBOUR {
            return;
        }
        for &i in group {
            let (Some(profile), Some(centre), Some(middle)) =
                (self.profiles.get_mut(i), centre_px.get(i), self.middle_px.get(i))
            else {
                continue;
            };
            for (k, value) in profile.iter_mut().enumerate() {
                let d = self.raster.at(k) + middle - centre;
                if d < limits[0] || d > limits[1] {
                    *value = f32::NAN;
                }
            }
        }
    }

    /// Median of the profiles of a group, each moved so that the line's centre lies in the middle.
    fn middle_profile(&self, group: &[usize], centre_px: &[f64]) -> Vec<f32> {
        let moved = |i: usize, k: usize| -> Option<f64> {
            let shift = (centre_px.get(i)? - self.middle_px.get(i)?) / self.raster.step;
            let place = k as f64 + shift;
            let low = place.floor();
            let part = place - low;
            let p = self.profiles.get(i)?;
            let (a, b) = (*p.get(low as usize)?, *p.get(low as usize + 1)?);
            let value = f64::from(a) * (1.0 - part) + f64::from(b) * part;
            (low >= 0.0 && value.is_finite()).then_some(value)
        };
        (0..self.raster.len())
            .map(|k| {
                let values: Vec<f64> = group.iter().filter_map(|&i| moved(i, k)).collect();
                if 2 * values.len() < group.len() { f32::NAN } else { median(values) as f32 }
            })
            .collect()
    }

    /// Final centres with the sectors' shapes, offset from the base ellipse.
    pub(crate) fn centres(&self, start_px: &[f64], sectors: &[Sector]) -> Vec<Option<LineFit>> {
        let fit = |(i, p): (usize, &Profile)| {
            let shape = shape_at(sectors, *self.t.get(i)?)?;
            let middle = self.middle_px.get(i)?;
            let found =
                fit_line(p, self.raster, &shape, start_px.get(i)? - middle, (4.5 * shape.sigma_px).max(5.0))?;
            Some(LineFit { centre_px: found.centre_px + middle, ..found })
        };
        self.profiles.iter().enumerate().map(fit).collect()
    }
}

impl Sector {
    /// The same with its shape's table, for values at many places.
    fn tabulated(self) -> Self {
        let shape = self.fit.shape.clone().tabulated();
        Self { fit: ShapeFit { shape, ..self.fit }, ..self }
    }

    /// Root mean square of what the shape leaves unexplained, against the beam's height.
    pub(crate) fn misfit(&self, samples: usize) -> f64 {
        (self.fit.squares / samples.max(1) as f64).sqrt() / self.fit.height
    }
}

/// Limits where nothing stands beside the beam.
const NO_NEIGHBOUR: [f64; 2] = [f64::NEG_INFINITY, f64::INFINITY];
/// A rise beyond the dip, in parts of the beam's height over it, that is another line; noise and JPEG stay below.
const RISE: f64 = 0.1;

/// How far from the middle the light only falls: up to the dips before neighbouring lines.
fn clear_of_neighbours(middle: &[f32], raster: Raster, sigma_px: f64) -> [f64; 2] {
    let from = (1.8 * sigma_px / raster.step).ceil() as usize;
    let Some(top) = middle.get(raster.half).map(|&v| f64::from(v)).filter(|v| v.is_finite()) else {
        return NO_NEIGHBOUR;
    };
    [-1.0, 1.0].map(|side: f64| {
        let (mut low, mut place) = (f64::INFINITY, f64::INFINITY);
        for steps in from..=raster.half {
            let k = if side < 0.0 { raster.half - steps } else { raster.half + steps };
            let Some(value) = middle.get(k).map(|&v| f64::from(v)).filter(|v| v.is_finite()) else {
                continue;
            };
            if value < low {
                (low, place) = (value, steps as f64 * raster.step);
            } else if value - low > RISE * (top - low) {
                return side * place;
            }
        }
        side * f64::INFINITY
    })
}

/// The exponent other than a Gaussian's that may suit the sectors better: one for the whole ring, since the gun makes it.
fn likely_power(fit: impl Fn(Lengths) -> Vec<Option<Sector>>) -> Option<f64> {
    let with = |power: f64| fit(Lengths { power, ..FIRST_LENGTHS });
    let gaussian = with(POWERS[0]);
    let others = POWERS.iter().skip(1).map(|&power| (part_left(&with(power), &gaussian), power));
    others.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|best| best.0 < PERHAPS_BETTER).map(|best| best.1)
}

/// Part of the squares that one fit of the sectors leaves against another, the median over them.
fn part_left(fits: &[Option<Sector>], against: &[Option<Sector>]) -> f64 {
    let squares = |s: &Sector| s.fit.squares / (s.fit.height * s.fit.height);
    let ratio = |(a, b): (&Option<Sector>, &Option<Sector>)| {
        Some(squares(a.as_ref()?) / squares(b.as_ref()?).max(1e-12))
    };
    let ratios: Vec<f64> = fits.iter().zip(against).filter_map(ratio).collect();
    if ratios.is_empty() { 1.0 } else { median(ratios) }
}

/// The fit of sector `i` whose lengths suit it and its two neighbours best: lengths change slowly along the beam.
fn best_trial(trials: &[Vec<Option<Sector>>], i: usize) -> Option<Sector> {
    let cost = |trial: &[Option<Sector>]| -> f64 {
        let near = trial.get(i.saturating_sub(1)..(i + 2).min(trial.len())).unwrap_or_default();
        near.iter().map(|s| s.as_ref().map_or(1.0, |s| s.fit.squares / (s.fit.height * s.fit.height))).sum()
    };
    let fitted = trials.iter().filter(|t| t.get(i).is_some_and(Option::is_some));
    fitted.min_by(|a, b| cost(a).total_cmp(&cost(b)))?.get(i)?.clone()
}

/// Shape at `t`, blended between the nearest two sectors.
pub(crate) fn shape_at(sectors: &[Sector], t: f64) -> Option<Shape> {
    let after = sectors.partition_point(|s| s.t < t);
    match (after.checked_sub(1).and_then(|i| sectors.get(i)), sectors.get(after)) {
        (Some(a), Some(b)) => Some(a.fit.shape.blend(&b.fit.shape, (t - a.t) / (b.t - a.t).max(1e-9))),
        (Some(one), None) | (None, Some(one)) => Some(one.fit.shape.clone()),
        (None, None) => None,
    }
}

/// Cosine between each station's colour and the median colour of the lit ones.
fn likeness(
    channels: &[Vec<Profile>],
    quality: &[Quality],
    lit: &[bool],
    raster: Raster,
    sigma_px: f64,
) -> Vec<Option<f64>> {
    let count = channels.first().map_or(0, Vec::len);
    if channels.len() < 3 {
        return vec![None; count];
    }
    let colour = |i: usize| -> Option<[f64; 3]> {
        let mut heights = [0.0; 3];
        for ((h, profiles), q) in heights.iter_mut().zip(channels).zip(quality) {
            *h = core_height(profiles.get(i)?, raster, sigma_px)? / q.noise;
        }
        // below some eight times the noise the colour of one cross-section says nothing
        (heights.iter().map(|h| h * h).sum::<f64>().sqrt() > 8.0).then_some(heights)
    };
    let colours: Vec<Option<[f64; 3]>> = (0..count).map(colour).collect();
    let seen = || colours.iter().zip(lit).filter(|(_, l)| **l).filter_map(|(c, _)| *c);
    let usual = [0, 1, 2].map(|k| median(seen().map(|c| c[k]).collect()));
    let dot = |a: &[f64; 3], b: &[f64; 3]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let cosine = |c: &[f64; 3]| dot(c, &usual) / (dot(c, c) * dot(&usual, &usual)).sqrt().max(1e-12);
    colours.iter().map(|c| c.as_ref().map(cosine)).collect()
}

/// Mean of the core above the mean of both sides three widths away; `None` with saturated samples.
fn core_height(profile: &[f32], raster: Raster, sigma_px: f64) -> Option<f64> {
    let mean = |from: f64, to: f64| -> Option<f64> {
        let inside = (0..raster.len()).filter(|&k| (from..=to).contains(&raster.at(k).abs()));
        let values: Vec<f64> = inside.filter_map(|k| profile.get(k)).map(|&v| f64::from(v)).collect();
        let total: f64 = values.iter().sum();
        (!values.is_empty() && total.is_finite()).then(|| total / values.len() as f64)
    };
    Some(mean(0.0, sigma_px.max(raster.step))? - mean(2.5 * sigma_px, 3.5 * sigma_px + raster.step)?)
}

/// How well the beam shows in one channel.
#[derive(Debug, Clone, Copy)]
struct Quality {
    height: f64,
    noise: f64,
    saturated: f64,
}

impl Quality {
    fn of(profiles: &[Profile], lit: &[bool], raster: Raster, sigma_px: f64) -> Self {
        let profiles: Vec<&Profile> = profiles.iter().zip(lit).filter(|(_, l)| **l).map(|(p, _)| p).collect();
        let core = (sigma_px / raster.step).ceil() as usize;
        let side = ((3.5 * sigma_px / raster.step) as usize).min(raster.half);
        let column = |k: usize| -> Vec<f64> {
            profiles
                .iter()
                .filter_map(|p| p.get(k))
                .filter(|v| v.is_finite())
                .map(|&v| f64::from(v))
                .collect()
        };
        let blank = |p: &&&Profile| {
            (raster.half - core..=raster.half + core).any(|k| p.get(k).is_some_and(|v| v.is_nan()))
        };
        let saturated = profiles.iter().filter(blank).count() as f64 / profiles.len().max(1) as f64;
        // where the core is blanked its height is read at one width from the middle
        let at = if saturated > 0.5 { core } else { 0 };
        let top = median(column(raster.half + at)).max(median(column(raster.half - at)));
        let height = top - median(column(raster.half + side)).max(median(column(raster.half - side)));
        let differences: Vec<f64> = profiles
            .iter()
            .flat_map(|p| {
                p.iter().take(raster.half / 3).zip(p.iter().skip(1)).map(|(a, b)| f64::from((a - b).abs()))
            })
            .filter(|d| d.is_finite())
            .collect();
        Self { height, noise: (median(differences) / 0.954).max(2e-5), saturated }
    }
}

/// Weights of the channels and the part of saturated cores; `None` when the beam shows in none.
fn channel_weights(quality: &[Quality]) -> Option<([f32; 3], f64)> {
    let visible = |q: &Quality| q.height > 2.0 * q.noise;
    let clean: Vec<bool> = quality.iter().map(|q| visible(q) && q.saturated <= MOST_SATURATED).collect();
    let some_clean = clean.contains(&true);
    let strength = |q: &Quality| q.height / q.noise;
    let used: Vec<bool> =
        quality.iter().zip(&clean).map(|(q, &c)| if some_clean { c } else { visible(q) }).collect();
    let best = quality.iter().zip(&used).filter(|(_, u)| **u).map(|(q, _)| strength(q)).fold(0.0, f64::max);
    let mut weights = [0.0_f32; 3];
    for ((w, q), &u) in weights.iter_mut().zip(quality).zip(&used) {
        if u && strength(q) > 0.3 * best {
            *w = (q.height / (q.noise * q.noise)) as f32;
        }
    }
    let total: f32 = weights.iter().sum();
    if total <= 0.0 {
        return None;
    }
    let chosen = quality.iter().zip(&weights).filter(|(_, w)| **w > 0.0);
    let saturated = chosen.map(|(q, _)| q.saturated).fold(0.0, f64::max);
    Some((weights.map(|w| w / total), saturated))
}
