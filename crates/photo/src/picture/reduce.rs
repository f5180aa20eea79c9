//! A picture reduced by whole blocks of pixels, for searching.

use crate::picture::{LightPlane, Picture, Samples};

impl Picture {
    /// Mean of the encoded channel over blocks of `factor` × `factor` pixels, an incomplete last block left out.
    ///
    /// The centre of block (i, j) lies at pixel `factor · i + (factor − 1) / 2`. Encoded values, for searching only:
    /// the encoding is close to what the eye sees and keeps a dim beam visible beside a bright lamp.
    pub fn reduced(&self, factor: usize, channel: usize) -> LightPlane {
        Blocks::of(self, factor).plane(self, Some(channel.min(self.channels - 1)))
    }

    /// The same over all channels together.
    pub fn reduced_mean(&self, factor: usize) -> LightPlane {
        Blocks::of(self, factor).plane(self, None)
    }

    /// Red, green and blue bytes of blocks of `factor` × `factor` pixels as they stand in the file, with width and height: a
    /// smaller picture to be looked at.
    pub fn reduced_rgb8(&self, factor: usize) -> (usize, usize, Vec<u8>) {
        let blocks = Blocks::of(self, factor);
        let mut rgb = vec![0_u8; 3 * blocks.wide * blocks.high];
        let scale = 255.0 * blocks.share(self);
        blocks.visit(self, |place, sums| {
            let grey = [sums[0]; 3];
            let colours: &[u64] = if self.channels == 3 { sums } else { &grey };
            let pixel = rgb.get_mut(3 * place..3 * place + 3).unwrap_or_default();
            for (byte, &sum) in pixel.iter_mut().zip(colours) {
                // rounded to the nearest by cutting off
                *byte = (sum as f32 * scale + 0.5) as u8;
            }
        });
        (blocks.wide, blocks.high, rgb)
    }

    /// Size in the file's own rows, before turning: width and height.
    fn stored_size(&self) -> [usize; 2] {
        if self.step_x.unsigned_abs() == self.channels {
            [self.width, self.height]
        } else {
            [self.height, self.width]
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

/// So many rows of bytes add up within sixteen bits.
const ROWS_IN_SIXTEEN_BITS: usize = 257;

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

    /// What one unit of a block's sum is worth in encoded light, full scale 1.
    fn share(&self, picture: &Picture) -> f32 {
        let full = if picture.is_sixteen_bit() { 65535.0 } else { 255.0 };
        1.0 / (self.factor * self.factor) as f32 / full
    }

    /// Means of one channel, or of all together, over the blocks.
    fn plane(&self, picture: &Picture, channel: Option<usize>) -> LightPlane {
        let shared = if channel.is_some() { 1 } else { picture.channels };
        let scale = self.share(picture) / shared as f32;
        let mut values = vec![0.0_f32; self.wide * self.high];
        self.visit(picture, |place, sums| {
            let total: u64 = match channel {
                None => sums.iter().sum(),
                Some(c) => sums.get(c).copied().unwrap_or_default(),
            };
            if let Some(value) = values.get_mut(place) {
                *value = total as f32 * scale;
            }
        });
        LightPlane { width: self.wide, height: self.high, values }
    }

    /// Hands every block's place in the upright plane and the sums of its channels to `each`.
    fn visit(&self, picture: &Picture, each: impl FnMut(usize, &[u64])) {
        match &picture.samples {
            // narrow sums, as more of them fit into a register
            Samples::Eight(v) if self.factor <= ROWS_IN_SIXTEEN_BITS => {
                self.visit_of::<u8, u16>(picture, v, each);
            }
            Samples::Eight(v) => self.visit_of::<u8, u32>(picture, v, each),
            Samples::Sixteen(v) => self.visit_of::<u16, u32>(picture, v, each),
        }
    }

    /// The same for samples `S` of which a column of a block adds up within `Sum`.
    fn visit_of<S, Sum>(&self, picture: &Picture, samples: &[S], each: impl FnMut(usize, &[u64]))
    where
        S: Copy,
        Sum: Copy + Default + From<S> + Into<u64> + std::ops::AddAssign,
    {
        if picture.channels == 3 {
            self.visit_channels::<S, Sum, 3>(picture, samples, each);
        } else {
            self.visit_channels::<S, Sum, 1>(picture, samples, each);
        }
    }

    fn visit_channels<S, Sum, const CHANNELS: usize>(
        &self,
        picture: &Picture,
        samples: &[S],
        mut each: impl FnMut(usize, &[u64]),
    ) where
        S: Copy,
        Sum: Copy + Default + From<S> + Into<u64> + std::ops::AddAssign,
    {
        let [stored_width, _] = picture.stored_size();
        let is_turned = picture.step_x.unsigned_abs() != CHANNELS;
        let (across, down) = if is_turned { (self.high, self.wide) } else { (self.wide, self.high) };
        // a block's place in the upright plane from its place in the file
        let flip = |k: usize, step: isize, count: usize| if step < 0 { count - 1 - k } else { k };
        let place = |i: usize, j: usize| {
            let (x, y) = if is_turned { (j, i) } else { (i, j) };
            flip(y, picture.step_y, self.high) * self.wide + flip(x, picture.step_x, self.wide)
        };
        let mut sums = vec![Sum::default(); stored_width * CHANNELS];
        for j in 0..down {
            sums.fill(Sum::default());
            let first = self.from[1] + j * self.factor;
            for row in samples.chunks_exact(sums.len()).skip(first).take(self.factor) {
                sums.iter_mut().zip(row).for_each(|(sum, &sample)| *sum += Sum::from(sample));
            }
            let columns = sums.get(self.from[0] * CHANNELS..).unwrap_or_default();
            for (i, block) in columns.chunks_exact(self.factor * CHANNELS).take(across).enumerate() {
                let mut totals = [0_u64; CHANNELS];
                for pixel in block.as_chunks::<CHANNELS>().0 {
                    for c in 0..CHANNELS {
                        totals[c] += pixel[c].into();
                    }
                }
                each(place(i, j), &totals);
            }
        }
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
        assert_eq!(p.reduced_rgb8(2), (1, 1, vec![2; 3]), "a grey picture has its light in all three");
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
                let (_, _, bytes) = p.reduced_rgb8(factor);
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
                            let byte = f32::from(bytes[3 * (j * mean.width + i) + c]);
                            assert!((byte - 255.0 * of(c)).abs() < 0.501, "tag {tag}, block {i}, {j}");
                        }
                        let all = (0..channels).map(of).sum::<f32>() / channels as f32;
                        assert!((at(&mean) - all).abs() < 1e-5, "tag {tag}, block {i}, {j}");
                    }
                }
            }
        }
    }
}
