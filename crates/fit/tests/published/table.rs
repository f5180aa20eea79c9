//! Reads the reference tables and compares numbers, with the source in every complaint.

use toml::{Table, Value};

/// One row of a reference table.
pub(crate) struct Case {
    /// Its name.
    pub(crate) id: String,
    table: Table,
}

/// All rows of one file of the repository's `reference` folder.
pub(crate) fn cases(file: &str) -> Vec<Case> {
    let path = format!("{}/../../reference/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{file}: {e}"));
    let table: Table = text.parse().unwrap_or_else(|e| panic!("{file}: {e}"));
    let rows = table.get("case").and_then(Value::as_array).expect("a list of cases");
    rows.iter()
        .map(|row| {
            let table = row.as_table().expect("a table").clone();
            Case { id: table["id"].as_str().expect("an id").to_string(), table }
        })
        .collect()
}

/// The row of another name, for cases that build on it.
pub(crate) fn case(file: &str, id: &str) -> Case {
    cases(file).into_iter().find(|c| c.id == id).unwrap_or_else(|| panic!("{file} has no case {id}"))
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).expect("a number")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

impl Case {
    fn part(&self, part: &str, key: &str) -> &Value {
        self.table[part]
            .as_table()
            .and_then(|t| t.get(key))
            .unwrap_or_else(|| panic!("{}: no {part}.{key}", self.id))
    }
    pub(crate) fn input(&self, key: &str) -> f64 {
        number(self.part("inputs", key))
    }
    pub(crate) fn inputs(&self, key: &str) -> Vec<f64> {
        numbers(self.part("inputs", key))
    }
    pub(crate) fn points(&self) -> Vec<[f64; 2]> {
        self.part("inputs", "points")
            .as_array()
            .expect("points")
            .iter()
            .map(|p| [number(&p[0]), number(&p[1])])
            .collect()
    }
    pub(crate) fn expected(&self, key: &str) -> f64 {
        number(self.part("expected", key))
    }
    pub(crate) fn expected_list(&self, key: &str) -> Vec<f64> {
        numbers(self.part("expected", key))
    }
    pub(crate) fn expected_value(&self, key: &str) -> &Value {
        self.part("expected", key)
    }
    /// Tolerance of that name in the row.
    pub(crate) fn tolerance(&self, key: &str) -> f64 {
        number(self.part("tolerance", key))
    }
    fn tolerance_or(&self, key: &str, default: f64) -> f64 {
        self.table.get("tolerance").and_then(|t| t.get(key)).map_or(default, number)
    }
    pub(crate) fn source(&self) -> &str {
        self.table["source"].as_str().unwrap_or("no source given")
    }
    /// Compares with an expected number within the row's own `rel` and `abs` tolerances.
    pub(crate) fn agrees(&self, key: &str, got: f64) {
        let want = self.expected(key);
        self.compare(
            key,
            got,
            want,
            self.tolerance_or("rel", 0.0) * want.abs() + self.tolerance_or("abs", 0.0),
        );
    }
    pub(crate) fn agrees_within(&self, key: &str, got: f64, tolerance: f64) {
        self.compare(key, got, self.expected(key), tolerance);
    }
    pub(crate) fn compare(&self, what: &str, got: f64, want: f64, tolerance: f64) {
        assert!(
            (got - want).abs() <= tolerance,
            "{}: {what} is {got:e}, want {want:e} within {tolerance:e}; source: {}",
            self.id,
            self.source()
        );
    }
}
