//! The unit that flux densities are read in on every station: a choice of the browser, kept in a cookie.

use arcmass_lab::document::Q;
use arcmass_lab::steps::FieldUnit;
use arcmass_quantity::{print, unit};
use arcmass_report::figure::Figure;
use axum::http::HeaderMap;
use maud::{Markup, html};

use super::words::short;
use crate::guard::cookie;

/// Name in the cookie and for the parser, and as it is shown.
const UNITS: [(&str, &str); 4] = [("mT", "mT"), ("T", "T"), ("G", "G"), ("N/(e m/s)", "N/(e·m/s)")];
/// Digits of a value that has no uncertainty.
const DIGITS: i32 = 4;

/// A chosen unit of flux density.
pub(crate) struct Chosen(FieldUnit);

impl Chosen {
    /// By the cookie; millitesla where there is none.
    pub(crate) fn of(headers: &HeaderMap) -> Self {
        let asked = asked(headers);
        let (name, shown) = UNITS.iter().find(|(_, shown)| *shown == asked).copied().unwrap_or(UNITS[0]);
        let si = |name: &str| unit::parse(name).map_or(1.0, |unit| unit.si);
        Self(FieldUnit { shown: shown.to_owned(), per_millitesla: si("mT") / si(name) })
    }

    /// For the library.
    pub(crate) fn unit(&self) -> &FieldUnit {
        &self.0
    }

    /// `0.779(4) mT` of a flux density in millitesla.
    pub(crate) fn flux_density(&self, millitesla: &Q) -> String {
        format!("{} {}", short(&millitesla.times(self.0.per_millitesla)), self.0.shown)
    }

    /// The same for each ampere.
    pub(crate) fn per_ampere(&self, millitesla: &Q) -> String {
        format!("{}/A", self.flux_density(millitesla))
    }

    /// A component of the background: in microtesla where the others are in millitesla.
    pub(crate) fn background(&self, millitesla: &Q) -> String {
        if self.0.shown == "mT" {
            return format!("{} µT", short(&millitesla.times(1e3)));
        }
        self.flux_density(millitesla)
    }

    /// A predicted flux density, without uncertainty, in millitesla.
    pub(crate) fn predicted(&self, millitesla: f64) -> String {
        print::significant(millitesla * self.0.per_millitesla, DIGITS)
    }

    /// As it is written.
    pub(crate) fn shown(&self) -> &str {
        &self.0.shown
    }

    /// A figure with its flux densities in this unit.
    pub(crate) fn figure(&self, figure: Figure) -> Figure {
        if self.0.shown == "mT" {
            return figure;
        }
        let (shown, factor) = (&self.0.shown, self.0.per_millitesla);
        figure.in_unit("mT", shown, factor).in_unit("µT", shown, 1e-3 * factor)
    }
}

fn asked(headers: &HeaderMap) -> String {
    // a cookie holds no blank, bracket or dot above the line
    match cookie(headers, "arcmass-unit").as_deref() {
        Some("N") => "N/(e·m/s)".to_owned(),
        Some(other) => other.to_owned(),
        None => String::new(),
    }
}

/// The choice, for a station that shows flux densities.
pub(crate) fn choice(headers: &HeaderMap) -> Markup {
    let asked = asked(headers);
    let value = |shown: &'static str| if shown.starts_with('N') { "N" } else { shown };
    html! {
        p.unit { label for="unit" { "Flux density in " }
            select #unit { @for (_, shown) in UNITS { option value=(value(shown)) selected[shown == asked] { (shown) } } }
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
    fn a_flux_density_is_shown_in_the_unit_of_the_cookie() {
        let q = Q {
            value: 1.5,
            standard_uncertainty: 0.01,
            interval_68: [1.49, 1.51],
            interval_95: [1.48, 1.52],
        };
        assert_eq!(chosen("").flux_density(&q), "1.500(10) mT");
        assert_eq!(chosen("arcmass-unit=T").flux_density(&q), "0.001500(10) T");
        assert_eq!(chosen("arcmass-unit=G").per_ampere(&q), "15.00(10) G/A");
        // 1.5e-3 T times e = 1.602176634e-19 C (exact in the SI)
        assert_eq!(chosen("arcmass-unit=N").flux_density(&q), "2.403(16) × 10⁻²² N/(e·m/s)");
        assert_eq!(chosen("arcmass-unit=furlong").shown(), "mT");
    }
}
