//! Reads the tables of reference values and compares with their tolerances.

use toml::Value;

/// What a check of one case came to.
pub(crate) enum Outcome {
    /// The case was compared.
    Checked,
    /// It was not, for a reason that must be listed.
    Skipped,
}

/// One case of a table.
pub(crate) struct Case<'a> {
    pub(crate) id: &'a str,
    pub(crate) source: &'a str,
    value: &'a Value,
}

pub(crate) fn cases(table: &Value) -> Vec<Case<'_>> {
    let all = table.get("case").and_then(Value::as_array).expect("a table holds cases");
    all.iter()
        .map(|value| Case {
            id: value.get("id").and_then(Value::as_str).expect("a case has an id"),
            source: value.get("source").and_then(Value::as_str).expect("a case has a source"),
            value,
        })
        .collect()
}

pub(crate) fn number(v: &Value) -> f64 {
    v.as_float().or_else(|| v.as_integer().map(|i| i as f64)).expect("a number")
}

pub(crate) fn numbers(v: &Value) -> Vec<f64> {
    match v.as_array() {
        Some(a) => a.iter().flat_map(numbers).collect(),
        None => vec![number(v)],
    }
}

impl<'a> Case<'a> {
    pub(crate) fn raw(&self, table: &str, key: &str) -> Option<&'a Value> {
        self.value.get(table)?.get(key)
    }

    fn need(&self, table: &str, key: &str) -> &'a Value {
        self.raw(table, key).unwrap_or_else(|| panic!("{}: {table} has no {key}", self.id))
    }

    pub(crate) fn input(&self, key: &str) -> f64 {
        number(self.need("inputs", key))
    }

    pub(crate) fn input_list(&self, key: &str) -> Vec<f64> {
        numbers(self.need("inputs", key))
    }

    pub(crate) fn input_text(&self, key: &str) -> Option<&'a str> {
        self.raw("inputs", key)?.as_str()
    }

    pub(crate) fn has_input(&self, key: &str) -> bool {
        self.raw("inputs", key).is_some()
    }

    pub(crate) fn expected(&self, key: &str) -> Vec<f64> {
        numbers(self.need("expected", key))
    }

    pub(crate) fn has_expected(&self, key: &str) -> bool {
        self.raw("expected", key).is_some()
    }

    pub(crate) fn tolerance(&self, key: &str) -> Option<f64> {
        self.raw("tolerance", key).map(number)
    }

    /// Compares by the case's own `rel` and `abs`.
    pub(crate) fn agree(&self, key: &str, got: &[f64]) {
        let rel = self.tolerance("rel").unwrap_or(0.0);
        self.agree_within(key, got, rel, self.tolerance("abs").unwrap_or(0.0));
    }

    /// A zero in a list is compared with rel times the list's largest magnitude.
    pub(crate) fn agree_within(&self, key: &str, got: &[f64], rel: f64, abs: f64) {
        let want = self.expected(key);
        self.close(key, got, &want, rel, abs);
    }

    pub(crate) fn close(&self, key: &str, got: &[f64], want: &[f64], rel: f64, abs: f64) {
        assert_eq!(got.len(), want.len(), "{} {key}: count; source: {}", self.id, self.source);
        let largest = want.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        for (g, w) in got.iter().zip(want) {
            let scale = if *w == 0.0 { largest } else { w.abs() };
            let allowed = (rel * scale).max(abs);
            assert!(
                (g - w).abs() <= allowed,
                "{} {key}: got {g:.17e}, expected {w:.17e}, allowed {allowed:e}; source: {}",
                self.id,
                self.source
            );
        }
    }

    /// Compares a vector, each component within `tol` times the vector's length.
    pub(crate) fn agree_vector(&self, key: &str, got: &[f64], tol: f64) {
        let want = self.expected(key);
        let norm = want.iter().map(|v| v * v).sum::<f64>().sqrt();
        self.close(key, got, &want, 0.0, tol * norm);
    }
}

/// Runs `check` on every case; a skip that `allowed` does not list fails, and so does a listed one that is not skipped.
pub(crate) fn run(text: &str, allowed: &[(&str, &str)], check: impl Fn(&Case<'_>, &[Case<'_>]) -> Outcome) {
    let table: Value = toml::from_str(text).expect("the table is TOML");
    let all = cases(&table);
    let mut checked = 0;
    for case in &all {
        let listed = allowed.iter().find(|(id, _)| *id == case.id);
        match (check(case, &all), listed) {
            (Outcome::Checked, None) => checked += 1,
            (Outcome::Skipped, Some((id, reason))) => println!("skipped {id}: {reason}"),
            (Outcome::Skipped, None) => {
                panic!("{} is skipped without a listed reason; source: {}", case.id, case.source)
            }
            (Outcome::Checked, Some((id, _))) => panic!("{id} is listed as skipped but was checked"),
        }
    }
    assert_eq!(checked + allowed.len(), all.len());
    println!("{checked} of {} cases checked", all.len());
}
