//! The unit that flux densities are read in on every station: a choice of the browser, kept in a cookie.

use arcmass_lab::document::{CaveatEntry, Q};
use arcmass_lab::field_unit::FieldUnit;
use axum::http::HeaderMap;
use maud::{Markup, html};

use super::words;
use crate::guard::cookie;

/// A chosen unit of flux density.
pub(crate) struct Chosen(FieldUnit);

impl Chosen {
    /// By the cookie; millitesla where there is none.
    pub(crate) fn of(headers: &HeaderMap) -> Self {
        let asked = cookie(headers, "arcmass-unit").unwrap_or_default();
        let named = FieldUnit::CHOICES.into_iter().find(|shown| value(shown) == asked);
        Self(named.and_then(FieldUnit::named).unwrap_or_default())
    }

    /// For the library and the report.
    pub(crate) fn unit(&self) -> &FieldUnit {
        &self.0
    }

    /// `0.779(4) mT/A` of a field per ampere in millitesla.
    pub(crate) fn per_ampere(&self, millitesla: &Q) -> String {
        self.0.per_ampere(millitesla)
    }

    /// A component of the background: in microtesla where the others are in millitesla.
    pub(crate) fn background(&self, millitesla: &Q) -> String {
        self.0.small(millitesla)
    }

    /// A predicted flux density, without uncertainty, in millitesla.
    pub(crate) fn predicted(&self, millitesla: f64) -> String {
        self.0.predicted(millitesla)
    }

    /// As it is written.
    pub(crate) fn shown(&self) -> &str {
        &self.0.shown
    }

    /// A sentence of the library with a capital, a full stop, and its flux densities in this unit.
    pub(crate) fn sentence(&self, text: &str) -> String {
        words::sentence(&self.0.in_words(text))
    }

    /// A caveat as it is told.
    pub(crate) fn caveat(&self, caveat: &CaveatEntry) -> CaveatEntry {
        let [sentence, remedy] = [&caveat.sentence, &caveat.remedy].map(|text| self.0.in_words(text));
        CaveatEntry { code: caveat.code.clone(), sentence, remedy }
    }
}

/// A unit in the cookie, which holds no blank, bracket or dot above the line.
fn value(shown: &'static str) -> &'static str {
    if shown.starts_with('N') { "N" } else { shown }
}

/// The choice, for a station that shows flux densities.
pub(crate) fn choice(headers: &HeaderMap) -> Markup {
    let chosen = Chosen::of(headers);
    html! {
        p.unit { label for="unit" { "Flux density in " }
            select #unit { @for shown in FieldUnit::CHOICES { option value=(value(shown)) selected[shown == chosen.shown()] { (shown) } } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderValue, header};

    fn chosen(cookie: &'static str) -> Chosen {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_static(cookie));
        Chosen::of(&headers)
    }

    #[test]
    fn the_unit_is_the_cookie_s_or_millitesla() {
        for (cookie, shown) in [
            ("", "mT"),
            ("arcmass-unit=T", "T"),
            ("arcmass-unit=G", "G"),
            ("arcmass-unit=N", "N/(e·m/s)"),
            ("arcmass-unit=furlong", "mT"),
        ] {
            assert_eq!(chosen(cookie).shown(), shown);
        }
        let told = chosen("arcmass-unit=G").sentence("taken as 0 ± 30 µT along each axis");
        assert_eq!(told, "Taken as 0.00 ± 0.30 G along each axis.");
    }
}
