//! Question and method, in a few sentences.

use maud::{Markup, html};

use crate::input::ReportInput;
use crate::words::{indexed, particle, symbol};

/// What is asked and how it is answered.
pub(crate) fn body(input: &ReportInput<'_>) -> Markup {
    let particle = particle(input.notebook.bench.gun.as_ref().map(|gun| &gun.particle));
    let (m, e, b, r, p, t) = (symbol("m"), symbol("e"), symbol("B"), symbol("r"), symbol("p"), symbol("T"));
    html! {
        p { "How heavy is the " (particle) "? A gun sends a beam through a gas so thin that the beam glows but is hardly slowed. Coils around the bulb bend it into a ring." }
        p { "The ring’s radius " (r) " in the flux density " (b) " gives the momentum, without the mass:" }
        p.formula { (p) " = " (e) " " (b) " " (r) }
        p { "The accelerating voltage " (symbol("V")) ", with the gun’s offset " (indexed("V", "0")) ", gives the kinetic energy:" }
        p.formula { (t) " = " (e) " (" (symbol("V")) " + " (indexed("V", "0")) ")" }
        p { "Both together give the mass; the second term is relativity’s part:" }
        p.formula { (m) " = " (p) "² / 2" (t) " − " (t) " / 2" (symbol("c")) "²" }
        p {
            "No real bench follows these three lines exactly. The model here traces the beam through the field of the coils and of the surroundings, "
            "sees the ring as the camera saw it, and holds every meter, length and angle as uncertain as the bench file states. All runs are fitted together with one mass. "
            "Uncertainties follow JCGM 100, the intervals come from a Monte Carlo calculation after JCGM 101. "
            "The accepted mass enters only where a finished result is compared with it."
        }
    }
}
