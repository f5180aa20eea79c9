//! Words in a figure: italic symbols, raised and lowered signs, true minus signs, and how wide they run.

/// A run of text of one kind.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Run {
    pub(crate) text: String,
    pub(crate) italic: bool,
    /// 0 on the line, 1 raised, -1 lowered.
    pub(crate) level: i8,
}

/// Splits `*V*_{0} / V` into runs: `*…*` is italic, `^{…}` raised, `_{…}` lowered.
pub(crate) fn runs(markup: &str) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut run = Run { text: String::new(), italic: false, level: 0 };
    let mut letters = markup.chars().peekable();
    let mut close = |run: &mut Run| {
        if !run.text.is_empty() {
            runs.push(run.clone());
            run.text.clear();
        }
    };
    while let Some(letter) = letters.next() {
        match letter {
            '*' => {
                close(&mut run);
                run.italic = !run.italic;
            }
            '^' | '_' if letters.peek() == Some(&'{') => {
                close(&mut run);
                letters.next();
                run.level = if letter == '^' { 1 } else { -1 };
            }
            '}' if run.level != 0 => {
                close(&mut run);
                run.level = 0;
            }
            '-' => run.text.push('\u{2212}'),
            '\\' => run.text.extend(letters.next()),
            c if c.is_control() => run.text.push(' '),
            c => run.text.push(c),
        }
    }
    close(&mut run);
    runs
}

/// The text without its marks, for tables and descriptions; raised and lowered digits keep their place.
pub(super) fn plain(markup: &str) -> String {
    let run = |run: &Run| run.text.chars().map(|c| shifted(c, run.level)).collect::<String>();
    runs(markup).iter().map(run).collect()
}

/// The raised or lowered form of a digit or sign, where Unicode has one.
fn shifted(letter: char, level: i8) -> char {
    let (signs, forms) = match level {
        1 => (
            "0123456789+\u{2212}",
            "\u{2070}\u{b9}\u{b2}\u{b3}\u{2074}\u{2075}\u{2076}\u{2077}\u{2078}\u{2079}\u{207a}\u{207b}",
        ),
        -1 => {
            ("0123456789", "\u{2080}\u{2081}\u{2082}\u{2083}\u{2084}\u{2085}\u{2086}\u{2087}\u{2088}\u{2089}")
        }
        _ => return letter,
    };
    let place = signs.chars().position(|sign| sign == letter);
    place.and_then(|k| forms.chars().nth(k)).unwrap_or(letter)
}

/// The content of a `<text>` element.
pub(super) fn to_tspans(markup: &str) -> String {
    let mut out = String::new();
    let mut shift = 0.0;
    for run in runs(markup) {
        let wanted = f64::from(run.level) * -4.5;
        let text = escape(&run.text);
        let class = match (run.italic, run.level) {
            (true, 0) => " class=\"sym\"",
            (true, _) => " class=\"sym sub\"",
            (false, 0) => "",
            (false, _) => " class=\"sub\"",
        };
        let step = wanted - shift;
        if class.is_empty() && step == 0.0 {
            out.push_str(&text);
        } else {
            let dy = if step == 0.0 { String::new() } else { format!(" dy=\"{step}\"") };
            out.push_str(&format!("<tspan{class}{dy}>{text}</tspan>"));
        }
        shift = wanted;
    }
    out
}

/// Escapes what XML gives a meaning, and drops characters that XML does not allow.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{FFFE}' | '\u{FFFF}' => {}
            c if c.is_control() && c != '\n' && c != '\t' => {}
            c => out.push(c),
        }
    }
    out
}

/// About how wide a text runs at a font size.
///
/// No font is at hand when a figure is laid out, so letters are sorted into the widths of a wide sans-serif
/// face: a narrower one leaves a little more room.
pub(super) fn width(markup: &str, size: f64) -> f64 {
    let run_width = |run: &Run| {
        let scale = if run.level == 0 { 1.0 } else { 0.75 };
        run.text.chars().map(letter_width).sum::<f64>() * scale
    };
    runs(markup).iter().map(run_width).sum::<f64>() * size
}

fn letter_width(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | '\'' => 0.28,
        ' ' | '.' | ',' | ':' | ';' | '/' | '|' | 'I' => 0.34,
        't' | 'f' | 'r' | '(' | ')' | '[' | ']' | '-' => 0.41,
        'm' | 'M' | 'W' | '%' | '\u{2014}' => 0.98,
        'w' | '\u{2212}' | '+' | '=' | '\u{d7}' | '\u{b1}' | '<' | '>' => 0.84,
        c if c.is_uppercase() => 0.74,
        _ => 0.63,
    }
}

/// A number with a fixed count of decimals and a true minus sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    match text.strip_prefix('-') {
        Some(rest) if zero => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A power of ten as markup.
pub(super) fn power_of_ten(exponent: i32) -> String {
    format!("10^{{{exponent}}}")
}

/// A value in the text form: enough digits to draw the figure again, shortest form.
pub(super) fn significant(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return "\u{2013}".to_owned();
    }
    let size = value.abs().log10().floor() as i32;
    if !(-4..6).contains(&size) {
        let mantissa = number(value / 10_f64.powi(size), 4);
        let trimmed = mantissa.trim_end_matches('0').trim_end_matches('.');
        return format!("{trimmed}e{size}");
    }
    let text = number(value, (4 - size).max(0) as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Breaks a text at spaces into lines no wider than `widest`, as far as its words allow.
pub(super) fn wrapped(text: &str, size: f64, widest: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if width(&format!("{line} {word}"), size) <= widest => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_are_italic_and_indices_come_back_to_the_line() {
        assert_eq!(
            to_tspans("*V*_{0} / V"),
            "<tspan class=\"sym\">V</tspan><tspan class=\"sub\" dy=\"4.5\">0</tspan><tspan dy=\"-4.5\"> / V</tspan>"
        );
        assert_eq!(plain("10^{-3} *B*_{0} / T"), "10\u{207b}\u{b3} B\u{2080} / T");
    }

    #[test]
    fn text_from_outside_cannot_open_a_tag() {
        assert_eq!(to_tspans("<b>&\u{7}"), "&lt;b&gt;&amp; ");
    }

    #[test]
    fn numbers_have_true_minus_signs_and_no_negative_zero() {
        assert_eq!(number(-1.25, 1), "\u{2212}1.2");
        assert_eq!(number(-0.001, 1), "0.0");
        assert_eq!(significant(-0.000_012_345_6), "\u{2212}1.2346e-5");
        assert_eq!(significant(1500.0), "1500");
        assert_eq!(significant(45.6), "45.6");
    }
}
