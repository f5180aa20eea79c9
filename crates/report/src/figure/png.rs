//! A figure as PNG: its SVG file painted on whole pixels, words in fonts that travel with the program.
//!
//! The painter is large, so it is a feature (`png`); without it every wish for a PNG says so.

use super::{Figure, Theme};

/// Whether the painter is built in.
pub const HAS_PNG: bool = cfg!(feature = "png");

/// Why there is no PNG.
#[derive(Debug, thiserror::Error, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum PngError {
    /// No painter in this build.
    #[error(
        "this build paints no PNG; take the figure as SVG, or build with `cargo build --release --features png`"
    )]
    NotBuiltIn,
    /// The figure's own SVG can't be painted.
    #[error("the figure `{figure}` can't be painted: {why}; take it as SVG")]
    Painter {
        /// Its name.
        figure: String,
        /// The painter's own words.
        why: String,
    },
}

impl Figure {
    /// PNG as a file of its own, on its own ground: three pixels for each of the figure's units.
    ///
    /// - **Gives** the same bytes for the same figure; no font of the system is looked for.
    /// - **Fails** where the painter is not built in, or the figure is larger than can be painted.
    pub fn to_png(&self, theme: Theme) -> Result<Vec<u8>, PngError> {
        #[cfg(feature = "png")]
        return painter::painted(&self.to_svg_file(theme))
            .map_err(|why| PngError::Painter { figure: self.name().to_owned(), why });
        #[cfg(not(feature = "png"))]
        {
            let _ = theme;
            Err(PngError::NotBuiltIn)
        }
    }
}

#[cfg(feature = "png")]
mod painter {
    use std::sync::{Arc, OnceLock};

    use resvg::tiny_skia::{Pixmap, Transform};
    use resvg::usvg::{Options, Tree, fontdb};

    /// The face of every word, upright and italic, as in the report's PDF.
    const FACE: &str = "Libertinus Serif";
    /// Pixels for one of the figure's own units: 14 units of text become 42 pixels, which paper and a screen on the wall bear.
    const SCALE: f32 = 3.0;

    /// Loaded once: they are read from the program itself.
    fn fonts() -> Arc<fontdb::Database> {
        static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
        let load = || {
            let mut fonts = fontdb::Database::new();
            for font in typst_assets::fonts() {
                fonts.load_font_source(fontdb::Source::Binary(Arc::new(font)));
            }
            fonts.set_sans_serif_family(FACE);
            fonts.set_serif_family(FACE);
            Arc::new(fonts)
        };
        Arc::clone(FONTS.get_or_init(load))
    }

    /// The bytes of the PNG, or the painter's own words.
    pub(super) fn painted(svg: &str) -> Result<Vec<u8>, String> {
        let options = Options { fontdb: fonts(), font_family: FACE.to_owned(), ..Options::default() };
        let tree = Tree::from_str(svg, &options).map_err(|fault| fault.to_string())?;
        let pixels = |length: f32| (length * SCALE).round().max(1.0) as u32;
        let [width, height] = [tree.size().width(), tree.size().height()].map(pixels);
        let mut picture =
            Pixmap::new(width, height).ok_or_else(|| format!("{width} × {height} pixels are too many"))?;
        resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut picture.as_mut());
        picture.encode_png().map_err(|fault| fault.to_string())
    }
}

#[cfg(test)]
#[cfg(feature = "png")]
mod tests {
    use resvg::tiny_skia::{Pixmap, PremultipliedColorU8};

    use super::*;
    use crate::figure::{Axis, Meaning, Panel, Point};

    fn figure(x: &str) -> Figure {
        let points = vec![Point::new(1.0, 1.0).y_bar(0.2), Point::new(2.0, 2.1)];
        let panel = Panel::new(Axis::new(x).from_zero(), Axis::new("*B* / mT").from_zero());
        Figure::new("Line", "Two points.").id("small").width(400.0).panel(panel.points(
            Meaning::Measured,
            "",
            points,
        ))
    }

    fn decoded(figure: &Figure, theme: Theme) -> Pixmap {
        Pixmap::decode_png(&figure.to_png(theme).unwrap()).unwrap()
    }

    /// Pixels of a figure that aren't its ground, in the share of its height given.
    fn marked(picture: &Pixmap, share: [f64; 2]) -> usize {
        let ground = picture.pixels()[0];
        let rows = share.map(|part| (part * f64::from(picture.height())) as usize);
        let from = rows[0] * picture.width() as usize;
        let to = rows[1] * picture.width() as usize;
        picture.pixels()[from..to].iter().filter(|pixel| **pixel != ground).count()
    }

    #[test]
    fn a_png_has_its_figure_s_size_ground_and_marks() {
        let light = decoded(&figure("*I* / A"), Theme::Light);
        let drawn = figure("*I* / A").to_svg_file(Theme::Light);
        let height = drawn.split("viewBox=\"0 0 400 ").nth(1).and_then(|rest| rest.split('"').next());
        let height: f64 = height.unwrap().parse().unwrap();
        assert_eq!([light.width(), light.height()], [1200, (3.0 * height).round() as u32]);
        let ground = light.pixels()[0];
        assert_eq!([ground.red(), ground.green(), ground.blue()], [0xFB, 0xFA, 0xF6]);
        let dark = decoded(&figure("*I* / A"), Theme::Dark).pixels()[0];
        assert_eq!([dark.red(), dark.green(), dark.blue()], [0x0E, 0x10, 0x13]);
        // the mark's own colour, #B37400
        let is_mark = |p: &&PremultipliedColorU8| [p.red(), p.green(), p.blue()] == [0xB3, 0x74, 0x00];
        assert!(light.pixels().iter().filter(is_mark).count() > 2 * 300, "two filled circles of radius 12");
    }

    #[test]
    fn words_are_drawn_and_symbols_too() {
        let bare = decoded(&figure(""), Theme::Light);
        let worded = decoded(&figure("√(*V* + *V*_{0}) / *B* / (√V / mT)"), Theme::Light);
        let label = [0.93, 1.0];
        assert_eq!(marked(&bare, label), 0, "nothing stands below the numbers of the axis");
        let ink = marked(&worded, label);
        assert!(ink > 1500, "{ink} pixels of ink for 22 letters");
        // every letter has a shape of its own: what no font holds would be the same box
        let shapes = ["√", "χ", "²", "⁻", "µ", "×", "°", "·", "½", "−"].map(|letter| {
            let picture = decoded(&figure(letter), Theme::Light);
            let from = (label[0] * f64::from(picture.height())) as usize * picture.width() as usize;
            assert!(marked(&picture, label) > 20, "{letter}");
            picture.pixels()[from..].to_vec()
        });
        for (place, shape) in shapes.iter().enumerate() {
            assert!(!shapes[..place].contains(shape), "letter {place} looks like one before it");
        }
    }

    #[test]
    fn the_same_figure_gives_the_same_bytes() {
        let one = figure("*I* / A");
        assert_eq!(one.to_png(Theme::Light), one.to_png(Theme::Light));
    }
}
