//! Numbers as people miswrite them.

/// A number as written with two of its figures exchanged, once for each pair of unlike figures, and whether the two are
/// neighbours, as a number is mostly misread or mistyped.
///
/// - **Takes** the text as it stands: sign, decimal point or comma, exponent; figures of the exponent stay.
/// - **Gives** the numbers in the text's own unit, in the order of their figures; nothing for text that is no number.
pub fn exchanged_figures(text: &str) -> Vec<(f64, bool)> {
    let text = text.replace(',', ".");
    let letters: Vec<char> = text.chars().collect();
    let end = letters.iter().position(|c| matches!(c, 'e' | 'E')).unwrap_or(letters.len());
    let figures: Vec<(usize, char)> =
        letters.iter().copied().enumerate().take(end).filter(|(_, c)| c.is_ascii_digit()).collect();
    let mut found = Vec::new();
    for (place, (i, one)) in figures.iter().enumerate() {
        for (beyond, (j, other)) in figures.iter().skip(place + 1).enumerate() {
            if one == other {
                continue;
            }
            let mut exchanged = letters.clone();
            exchanged.swap(*i, *j);
            found.extend(
                exchanged.iter().collect::<String>().parse().ok().map(|value: f64| (value, beyond == 0)),
            );
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_figures_are_exchanged_once_for_each_pair() {
        assert_eq!(exchanged_figures("84.5"), [(48.5, true), (54.8, false), (85.4, true)]);
        let near: Vec<f64> =
            exchanged_figures("1,102").into_iter().filter(|pair| pair.1).map(|pair| pair.0).collect();
        assert_eq!(near, [1.012, 1.120]);
        assert!(exchanged_figures("77").is_empty());
    }

    #[test]
    fn the_sign_and_the_exponent_stay_where_they_are() {
        assert_eq!(exchanged_figures("-0.1"), [(-1.0, true)]);
        assert_eq!(exchanged_figures("12e3"), [(21e3, true)]);
        assert!(exchanged_figures("a12").is_empty());
    }
}
