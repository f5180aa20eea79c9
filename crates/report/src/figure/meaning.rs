//! What a mark stands for decides its shape, its line and its colour.

/// The kinds of things a figure shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Meaning {
    /// Measured here: a filled circle with bars.
    Measured,
    /// Predicted by the model: a solid line.
    Predicted,
    /// The textbook's formula: short dashes.
    Textbook,
    /// Struck or rejected: an open circle with a slash.
    Rejected,
    /// Stated, not measured: dots.
    Stated,
    /// The accepted value: long dash-dot in the text's colour, label at the end.
    Accepted,
    /// A caution: a triangle with a word beside it.
    Caution,
    /// The beam: a glowing line with a light core.
    Beam,
    /// None of these: a thin line in the quiet text's colour.
    Plain,
}

/// Dark for the darkened room, light for daylight and paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Theme {
    /// Dark ground.
    Dark,
    /// Light ground; this is also paper.
    Light,
}

/// Name of a colour, its value on light ground and on dark ground.
pub(super) const COLOURS: [(&str, &str, &str); 13] = [
    ("text", "#1B1B1B", "#D9D4C7"),
    ("quiet", "#6B675E", "#8F8B80"),
    ("hairline", "#D8D4C8", "#2A2F37"),
    ("ground", "#FBFAF6", "#0E1013"),
    ("panel", "#F1EEE5", "#15181D"),
    ("measured", "#B37400", "#E69F00"),
    ("predicted", "#0072B2", "#56B4E9"),
    ("textbook", "#666666", "#999999"),
    ("rejected", "#A24C80", "#CC79A7"),
    ("stated", "#00724F", "#009E73"),
    ("caution", "#8A7A00", "#F0E442"),
    ("beam", "#7A5FD0", "#BFA7FF"),
    ("core", "#4B32A8", "#FFFFFF"),
];

/// The custom properties that figures on a page read, as CSS declarations for a theme.
///
/// Each is named after its meaning: `--measured`, `--predicted`, `--textbook`, `--rejected`, `--stated`,
/// `--caution`, `--beam`, `--core`, and `--text`, `--quiet`, `--hairline`, `--ground`, `--panel`.
pub fn css_variables(theme: Theme) -> String {
    COLOURS.iter().map(|(name, light, dark)| format!("--{name}:{};", theme.pick(light, dark))).collect()
}

impl Theme {
    pub(super) fn pick<'a>(self, light: &'a str, dark: &'a str) -> &'a str {
        match self {
            Theme::Light => light,
            Theme::Dark => dark,
        }
    }
}

impl Meaning {
    /// Name of its colour.
    pub(super) fn colour(self) -> &'static str {
        match self {
            Meaning::Accepted => "text",
            Meaning::Plain => "quiet",
            other => other.class(),
        }
    }

    /// Name of its class in the SVG.
    pub(super) fn class(self) -> &'static str {
        match self {
            Meaning::Measured => "measured",
            Meaning::Predicted => "predicted",
            Meaning::Textbook => "textbook",
            Meaning::Rejected => "rejected",
            Meaning::Stated => "stated",
            Meaning::Accepted => "accepted",
            Meaning::Caution => "caution",
            Meaning::Beam => "beam",
            Meaning::Plain => "plain",
        }
    }

    /// Dash pattern, if its line is not solid, and width.
    pub(super) fn line(self) -> (Option<&'static str>, f64) {
        match self {
            Meaning::Textbook => (Some("5 4"), 1.6),
            Meaning::Stated => (Some("0.1 4"), 2.2),
            Meaning::Accepted => (Some("12 4 2 4"), 1.3),
            Meaning::Plain => (None, 1.0),
            Meaning::Beam => (None, 2.6),
            _ => (None, 1.8),
        }
    }

    /// What it is in words, for the text form.
    pub(super) fn words(self) -> &'static str {
        match self {
            Meaning::Measured => "measured",
            Meaning::Predicted => "predicted",
            Meaning::Textbook => "textbook formula",
            Meaning::Rejected => "struck",
            Meaning::Stated => "stated, not measured",
            Meaning::Accepted => "accepted value",
            Meaning::Caution => "caution",
            Meaning::Beam => "beam",
            Meaning::Plain => "line",
        }
    }
}
