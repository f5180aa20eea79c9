//! What a document's numbers are judged to say, in one place for terminal, report and page.

use arcmass_quantity::print;

use super::{Agreement, MixtureEntry, ModelPart, Reference};

/// Parts of the mixture below this weight are told as one sum.
const TOLD: f64 = 0.02;

/// How a difference in units of its standard uncertainty is judged: up to 2 agrees, from 3 disagrees (common practice,
/// no source). Judged is the number as printed, so that word and number never differ.
pub fn verdict(difference_in_u: f64) -> &'static str {
    match (10.0 * difference_in_u.abs()).round() / 10.0 {
        size if size <= 2.0 => "agrees with",
        size if size < 3.0 => "is in tension with",
        size if size >= 3.0 => "disagrees with",
        _ => "can’t be compared with",
    }
}

/// A posterior probability with two decimals, or on which side of them it lies.
pub fn probability(weight: f64) -> String {
    match weight {
        weight if weight > 0.995 => "> 0.99".to_owned(),
        weight if weight < 0.005 => "< 0.01".to_owned(),
        weight => print::fixed(weight, -2),
    }
}

impl Reference {
    /// See [`verdict`].
    pub fn verdict(&self) -> &'static str {
        verdict(self.difference_in_u)
    }
}

impl MixtureEntry {
    /// The models worth a line of their own, likeliest first.
    pub fn told(&self) -> impl Iterator<Item = &ModelPart> {
        self.models.iter().filter(|model| model.weight >= TOLD)
    }

    /// That the result is a mixture, of which models, how likely each is, and what was thought of them beforehand.
    pub fn sentence(&self) -> String {
        if self.models.iter().all(|model| model.weight > 1.0 - 1e-9) {
            return "the result is that of the model as stated: these readings allow no alternative to be weighed against it"
                .to_owned();
        }
        let told: Vec<String> =
            self.told().map(|model| format!("{} {}", model.name, probability(model.weight))).collect();
        let rest = 1.0 - self.told().map(|model| model.weight).sum::<f64>();
        let others = if rest < 0.005 {
            String::new()
        } else {
            format!("; all other alternatives together {}", probability(rest))
        };
        format!(
            "the result is a mixture of models, each by its posterior probability: {}{others}; prior odds of each alternative \
             against the bench as stated 1:{}",
            told.join(", "),
            print::significant(1.0 / self.prior_odds.max(1e-9), 2)
        )
    }
}

impl Agreement {
    /// Whether the runs agree with one mass, and a scatter that is too small as well (limits of 1 and 99 in 100: common practice, no
    /// source).
    pub fn sentence(&self) -> String {
        let scatter = self
            .birge_ratio
            .map_or_else(String::new, |ratio| format!(" (Birge ratio {})", print::fixed(ratio, -2)));
        match (self.degrees_of_freedom, self.p_value) {
            (0, _) => "one run can’t disagree with itself; take more".to_owned(),
            (_, None) => "the scatter of the runs itself set their uncertainty, so agreement can’t be tested; state the \
                          uncertainty of the diameters to test it"
                .to_owned(),
            (_, Some(p)) if p < 0.01 => format!(
                "the runs do not agree with one mass within their uncertainties{scatter}; look at the run that lies furthest off"
            ),
            (_, Some(p)) if p > 0.99 => format!(
                "the runs scatter far less than their uncertainties say{scatter}: the stated uncertainties are too large, or the runs are \
                 not independent"
            ),
            (_, Some(_)) => format!("the runs agree with one mass{scatter}"),
        }
    }

    /// χ², ν and p; p with two digits, powers of ten where it is small.
    pub fn numbers(&self) -> String {
        let p = self.p_value.map_or_else(String::new, |p| format!(", p = {}", print::significant(p, 2)));
        format!("χ² = {}, ν = {}{p}", print::fixed(self.chi_squared, -1), self.degrees_of_freedom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_follow_the_distance_as_printed() {
        let words = [-1.9, 2.04, 2.4, -7.0, f64::NAN].map(verdict);
        let expected = ["agrees with", "agrees with", "is in tension with", "disagrees with"];
        assert_eq!(words[..4], expected);
        assert_eq!(words[4], "can’t be compared with");
    }

    #[test]
    fn a_scatter_that_is_too_small_is_said_too() {
        let of = |p_value| Agreement {
            chi_squared: 1.8,
            degrees_of_freedom: 19,
            p_value,
            birge_ratio: Some(0.31),
        };
        assert!(of(Some(0.999)).sentence().contains("far less"));
        assert!(of(Some(8e-9)).numbers().ends_with("p = 8.0 × 10⁻⁹"), "{}", of(Some(8e-9)).numbers());
        assert!(of(Some(0.4)).sentence().starts_with("the runs agree with one mass"));
    }

    #[test]
    fn a_mixture_names_its_parts_and_the_prior_odds() {
        let part = |name: &str, weight| ModelPart {
            code: name.to_owned(),
            name: name.to_owned(),
            weight,
            mass_kg: None,
        };
        let mixture = MixtureEntry {
            prior_odds: 0.05,
            models: vec![part("as stated", 0.9), part("probe's zero", 0.06), part("one run", 0.01)],
        };
        assert_eq!(
            mixture.sentence(),
            "the result is a mixture of models, each by its posterior probability: as stated 0.90, probe's zero 0.06; all other \
             alternatives together 0.04; prior odds of each alternative against the bench as stated 1:20"
        );
    }
}
