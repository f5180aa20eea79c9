//! Orders the stations along the beam: from the muzzle on, where the gun's place can be told.

use crate::error::PhotoError;
use crate::picture::Picture;
use crate::ring_cross::shape_at;
use crate::ring_curve::median;
use crate::ring_follow::station;
use crate::ring_gun::{Lit, gun_gap};
use crate::ring_line::{Line, SHORTEST_ARC_DEG};
use crate::trace::LineFit;
use crate::trace_shape::FULL_WIDTH;

impl Line {
    /// Orders the stations along the beam where the gun's place can be told, and draws the smooth line from there on.
    pub(crate) fn ordered_by_travel(mut self, picture: &Picture) -> Result<Self, PhotoError> {
        let typical = median(self.kept(|f| f.height));
        let one = |((fit, &t), &w): ((&Option<LineFit>, &f64), &f64)| {
            let place =
                station(&self.base, t, fit.filter(|_| w > 0.0).map_or(self.curve.at(t), |f| f.centre_px));
            let width = shape_at(&self.sectors, t).map_or(1.0, |s| s.full_width_px());
            let dark = fit.is_none_or(|f| {
                f.height < 0.3 * typical || (f.centre_px - self.curve.at(t)).abs() > 0.5 * width
            });
            Lit { x: place.x, y: place.y, dark, beam: fit.filter(|_| w > 0.0).map(|f| [f.height, width]) }
        };
        let lit: Vec<Lit> = self.fits.iter().zip(&self.followed.t).zip(&self.weights).map(one).collect();
        let least = (3.0 * self.followed.sigma_px / self.followed.spacing_px).ceil() as usize;
        let Some(gap) = gun_gap(picture, &lit, least.max(3)) else { return Ok(self) };
        let n = lit.len();
        // the split lies in the middle of the gap
        let blind = (gap.after + n - gap.before) % n;
        let split = (gap.before + blind.div_ceil(2)) % n;
        self.split_at(split);
        self.forward = Some(gap.forward);
        let seen = 360.0 * lit.iter().filter(|l| l.beam.is_some()).count() as f64 / n as f64;
        self.judge(seen).ok_or(PhotoError::ArcTooShort { seen_deg: seen, needed_deg: SHORTEST_ARC_DEG })?;
        Ok(self)
    }

    /// Makes station `split` the first one; parameters keep growing.
    pub(crate) fn split_at(&mut self, split: usize) {
        let start = self.followed.t.get(split).copied().unwrap_or(0.0);
        let turn = std::f64::consts::TAU;
        for t in self
            .followed
            .t
            .iter_mut()
            .chain(self.sectors.iter_mut().map(|s| &mut s.t))
            .filter(|t| **t < start)
        {
            *t += turn;
        }
        self.sectors.sort_by(|a, b| a.t.total_cmp(&b.t));
        self.followed.t.rotate_left(split);
        self.followed.lit.rotate_left(split);
        self.fits.rotate_left(split);
        self.cross.likeness.rotate_left(split);
    }

    /// Where the beam comes out of the gun: the first place where it stands at half its later height.
    pub(crate) fn muzzle_px(&self, picture: &Picture) -> Option<[f64; 2]> {
        let n = self.fits.len();
        let order: Vec<usize> = if self.forward? { (0..n).collect() } else { (0..n).rev().collect() };
        let first = order.iter().position(|&i| self.weights.get(i).is_some_and(|w| *w > 0.0))?;
        let heights =
            order.iter().skip(first).take(n / 36).filter_map(|&i| self.fits.get(i).copied().flatten());
        let typical = median(heights.map(|f| f.height).collect());
        let near = |i: usize| -> bool {
            let (Some(Some(f)), Some(&t)) = (self.fits.get(i), self.followed.t.get(i)) else { return false };
            f.height > 0.5 * typical && (f.centre_px - self.curve.at(t)).abs() < self.followed.sigma_px
        };
        let back = order.get(..first)?.iter().rev().take_while(|&&i| near(i)).count();
        let t = *self.followed.t.get(*order.get(first - back)?)?;
        let place = station(&self.base, t, self.curve.at(t));
        let margin = 4.0 * FULL_WIDTH * self.followed.sigma_px;
        let (right, low) = (picture.width() as f64 - margin, picture.height() as f64 - margin);
        if place.x < margin || place.y < margin || place.x > right || place.y > low {
            return None; // the frame cuts the beam here
        }
        self.is_dark_behind(picture, t).then_some([place.x, place.y])
    }

    /// Whether the light falls to half within three beam widths behind the muzzle: else the line was lost, not its start found.
    pub(crate) fn is_dark_behind(&self, picture: &Picture, t: f64) -> bool {
        let Some(shape) = shape_at(&self.sectors, t) else { return false };
        let width = shape.full_width_px();
        let back = if self.forward == Some(true) { -1.0 } else { 1.0 };
        let light = |t: f64| -> f64 {
            let s = station(&self.base, t, self.curve.at(t));
            self.cross
                .weights
                .iter()
                .enumerate()
                .map(|(c, w)| f64::from(w * picture.sample(s.x, s.y, c)))
                .sum()
        };
        let inside = light(t - back * 2.0 * width / self.base.r);
        (0..12).map(|k| 0.25 * f64::from(k) * width / self.base.r).any(|d| light(t + back * d) < 0.5 * inside)
    }
}
