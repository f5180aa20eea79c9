//! Columns of numbers aligned on the decimal point.

/// Pads values on both sides so that their decimal points stand in one column and all are equally wide.
pub(crate) fn on_point(values: &[String]) -> Vec<String> {
    let before = |value: &String| -> usize {
        let digits = value.chars().take_while(|c| !matches!(c, '.' | '(' | ' '));
        digits.count()
    };
    let widest = values.iter().map(before).max().unwrap_or(0);
    let padded: Vec<String> =
        values.iter().map(|value| format!("{}{value}", " ".repeat(widest - before(value)))).collect();
    let longest = padded.iter().map(|value| value.chars().count()).max().unwrap_or(0);
    padded.into_iter().map(|v| format!("{v}{}", " ".repeat(longest - v.chars().count()))).collect()
}

/// Lines of name, value and what follows it, values aligned on the decimal point.
pub(crate) fn lines(rows: &[(String, String, String)]) -> Vec<String> {
    let longest = rows.iter().map(|(name, ..)| name.chars().count()).max().unwrap_or(0);
    let values = on_point(&rows.iter().map(|(_, value, _)| value.clone()).collect::<Vec<_>>());
    rows.iter()
        .zip(values)
        .map(|((name, _, after), value)| {
            let space = " ".repeat(longest - name.chars().count());
            format!("  {name}{space}  {value} {after}").trim_end().to_owned()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_points_stand_in_one_column() {
        let values = ["0.7209(18)", "−12.5", "160", "3(2)"].map(str::to_owned);
        let shown = on_point(&values);
        assert_eq!(shown, ["  0.7209(18)", "−12.5       ", "160         ", "  3(2)      "]);
    }

    #[test]
    fn nothing_is_nothing() {
        assert!(lines(&[]).is_empty());
    }
}
