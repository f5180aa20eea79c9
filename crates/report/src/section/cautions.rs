//! What keeps hands and eyes whole: the safe act first.

use maud::{Markup, html};

/// The same cautions on every report: a bench is often run again from it.
pub(crate) fn body() -> Markup {
    html! {
        p.caution { "Your laboratory’s rules and the person responsible for the bench come first. This page does not replace either." }
        ol {
            li { "Turn the anode voltage to 0 V before you touch a lead. Hundreds of volts stand on open contacts." }
            li { "Turn the coil current down to 0 A before you open its circuit or reverse its leads. A coil cut off under current answers with a high voltage." }
            li { "Switch the heater off, let it cool, then switch the supplies off before the tube leaves its holder, as it does for a photograph of the scale." }
            li { "Switch the room’s lights on before you reach into the bench." }
            li { "Wear eye protection near the bulb. It is evacuated glass and can burst inwards." }
            li { "Keep your hands off the coils and the tube’s neck until they are cool." }
            li { "Stay within every rating on the tube and on the coils, whatever a plan or a table proposes." }
        }
    }
}
