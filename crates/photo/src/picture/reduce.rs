//! A picture reduced by whole blocks of pixels, for searching.

use crate::picture::{LightPlane, Picture, Samples};

impl Picture {
    /// Mean of the encoded channel over blocks of `factor` × `factor` pixels, an incomplete last block left out.
    ///
    /// The centre of block (i, j) lies at pixel `factor · i + (factor − 1) / 2`. Encoded values, for searching only:
    /// the encoding is close to what the eye sees and keeps a dim beam visible beside a bright lamp.
    pub fn reduced(&self, factor: usize, channel: usize) -> LightPlane {
        let channel = channel.min(self.channels - 1);
        Blocks::of(self, factor).plane(self, |pixels, channels| {
            pixels.iter().skip(channel).step_by(channels).map(|&sum| u64::from(sum)).sum()
        })
    }

    /// The same over all channels together.
    pub fn reduced_mean(&self, factor: usize) -> LightPlane {
        let mut plane =
            Blocks::of(self, factor).plane(self, |pixels, _| pixels.iter().map(|&sum| u64::from(sum)).sum());
        let share = 1.0 / self.channels as f32;
        plane.values.iter_mut().for_each(|v| *v *= share);
        plane
    }

    /// Size in the file's own rows, before turning: width and height.
    fn stored_size(&self) -> [usize; 2] {
        if self.step_x.unsigned_abs() == self.channels {
            [self.width, self.height]
        } else {
            [self.height, self.width]
        }
    }

    /// Adds one stored row's encoded samples to a row of sums.
    fn add_stored_row(&self, row: usize, sums: &mut [u32]) {
        let from = row * sums.len();
        match &self.samples {
            Samples::Eight(v) => {
                for (sum, &s) in sums.iter_mut().zip(v.get(from..).unwrap_or_default()) {
                    *sum += u32::from(s);
                }
            }
            Samples::Sixteen(v) => {
                for (sum, &s) in sums.iter_mut().zip(v.get(from..).unwrap_or_default()) {
                    *sum += u32::from(s);
                }
            }
        }
    }
}

/// Blocks of pixels as they lie in the file's rows, so that every sample is read once and in order.
struct Blocks {
    factor: usize,
    /// Whole blocks along the upright picture's sides.
    wide: usize,
    high: usize,
    /// First stored column and row that belong to a block: an incomplete block is left out at the upright right and foot,
    /// wherever these are stored.
    from: [usize; 2],
}

impl Blocks {
    fn of(picture: &Picture, factor: usize) -> Self {
        let factor = factor.max(1);
        let (wide, high) = (picture.width / factor, picture.height / factor);
        let is_turned = picture.step_x.unsigned_abs() != picture.channels;
        let [rest_x, rest_y] = [picture.width - wide * factor, picture.height - high * factor];
        let left_out = |step: isize, rest: usize| if step < 0 { rest } else { 0 };
        let (x, y) = (left_out(picture.step_x, rest_x), left_out(picture.step_y, rest_y));
        Self { factor, wide, high, from: if is_turned { [y, x] } else { [x, y] } }
    }

    /// Means of what `of_block` adds up from one block's sums of columns (all channels of each pixel in turn).
    fn plane(&self, picture: &Picture, of_block: impl Fn(&[u32], usize) -> u64) -> LightPlane {
        let [stored_width, _] = picture.stored_size();
        let channels = picture.channels;
        let is_turned = picture.step_x.unsigned_abs() != channels;
        let (across, down) = if is_turned { (self.high, self.wide) } else { (self.wide, self.high) };
        // a block's place in the upright plane from its place in the file
        let flip = |k: usize, step: isize, count: usize| if step < 0 { count - 1 - k } else { k };
        let place = |i: usize, j: usize| {
            let (x, y) = if is_turned { (j, i) } else { (i, j) };
            flip(y, picture.step_y, self.high) * self.wide + flip(x, picture.step_x, self.wide)
        };
        let full = if picture.is_sixteen_bit() { 65535.0 } else { 255.0 };
        let scale = 1.0 / (self.factor * self.factor) as f32 / full;
        let mut values = vec![0.0_f32; self.wide * self.high];
        let mut sums = vec![0_u32; stored_width * channels];
        for j in 0..down {
            sums.fill(0);
            let first = self.from[1] + j * self.factor;
            (first..first + self.factor).for_each(|row| picture.add_stored_row(row, &mut sums));
            let columns = sums.get(self.from[0] * channels..).unwrap_or_default();
            for (i, block) in columns.chunks_exact(self.factor * channels).take(across).enumerate() {
                if let Some(value) = values.get_mut(place(i, j)) {
                    *value = of_block(block, channels) as f32 * scale;
                }
            }
        }
        LightPlane { width: self.wide, height: self.high, values }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::ShotFacts;

    fn numbered(tag: u8) -> Picture {
        let facts = ShotFacts { orientation_tag: tag, ..ShotFacts::default() };
        let Some(p) = Picture::from_samples(Samples::Eight(vec![0, 1, 2, 3, 4, 5]), 3, 2, 1, facts) else {
            unreachable!("six samples fit 3 × 2");
        };
        p
    }

    #[test]
    fn reducing_keeps_the_mean_of_each_block() {
        let p = numbered(6);
        let half = p.reduced(2, 0);
        assert_eq!((half.width, half.height), (1, 1));
        assert!((half.at(0, 0) * 255.0 - 2.0).abs() < 1e-5, "mean of 3, 0, 4, 1");
    }

    #[test]
    fn blocks_of_a_picture_turned_any_way_hold_their_own_pixels() {
        // sides that leave incomplete blocks at the foot and at the right of the upright picture
        let (width, height, factor) = (11, 8, 3);
        for tag in 1..=8 {
            for channels in [1, 3] {
                let samples = (0..width * height * channels).map(|k| (k * 37 % 251) as u8).collect();
                let facts = ShotFacts { orientation_tag: tag, ..ShotFacts::default() };
                let Some(p) = Picture::from_samples(Samples::Eight(samples), width, height, channels, facts)
                else {
                    unreachable!("the samples fit")
                };
                let mean = p.reduced_mean(factor);
                let planes: Vec<LightPlane> = (0..channels).map(|c| p.reduced(factor, c)).collect();
                assert_eq!((mean.width, mean.height), (p.width() / factor, p.height() / factor));
                for j in 0..mean.height {
                    for i in 0..mean.width {
                        let block = (0..factor * factor).map(|k| {
                            ((i * factor + k % factor) as isize, (j * factor + k / factor) as isize)
                        });
                        let of = |c: usize| {
                            block.clone().map(|(x, y)| p.encoded(x, y, c)).sum::<f32>()
                                / (factor * factor) as f32
                        };
                        let at = |plane: &LightPlane| plane.at(i as isize, j as isize);
                        for (c, plane) in planes.iter().enumerate() {
                            assert!((at(plane) - of(c)).abs() < 1e-5, "tag {tag}, block {i}, {j}");
                        }
                        let all = (0..channels).map(of).sum::<f32>() / channels as f32;
                        assert!((at(&mean) - all).abs() < 1e-5, "tag {tag}, block {i}, {j}");
                    }
                }
            }
        }
    }
}
