//! What to say of a text that is no value of its kind.

use arcmass_quantity::dimension::Dimension;
use arcmass_quantity::number::NumberFault;
use arcmass_quantity::text::TextFault;

use crate::fault::{Said, quote, said};

/// The three parts of a fault.
pub(super) fn text_said(written: &str, kind: Dimension, fault: &TextFault) -> Said {
    let accepted = format!("{}, such as `{}`", kind.name(), kind.example());
    let (found, remedy) = match fault {
        TextFault::WrongKind { is, .. } => {
            (format!("{}, which is {is}", quote(written)), "check the unit and the key".to_owned())
        }
        TextFault::MissingUnit { .. } => {
            (format!("{}, without a unit", quote(written)), "add the unit".to_owned())
        }
        TextFault::UnknownUnit { found, known, .. } => (
            format!("{}, where {} is no unit known here", quote(written), quote(found)),
            format!("use one of {known}"),
        ),
        TextFault::NegativeUncertainty(_) => {
            (format!("{}, with a negative uncertainty", quote(written)), "write it without sign".to_owned())
        }
        TextFault::TwoUncertainties(_) => {
            (format!("{}, with two uncertainties", quote(written)), "state one".to_owned())
        }
        TextFault::Number(NumberFault::DecimalComma { instead, .. }) => (
            format!("{}, with a decimal comma", quote(written)),
            format!("use a decimal point: {}", quote(instead)),
        ),
        TextFault::Number(NumberFault::NotFinite(_)) => {
            (format!("{}, which is not finite", quote(written)), "write the number".to_owned())
        }
        TextFault::Number(NumberFault::Empty) => {
            ("an empty text".to_owned(), "write the value, or delete the line".to_owned())
        }
        TextFault::Number(_) => (
            format!("{}, which does not begin with a number", quote(written)),
            "write the number first".to_owned(),
        ),
        other => (other.to_string(), "write it like the example".to_owned()),
    };
    said(found, accepted, remedy)
}
