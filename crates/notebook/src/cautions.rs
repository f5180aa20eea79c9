//! What keeps people safe at the bench: one list, shown wherever a person is about to act.

/// One caution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// One or two sentences, the safe act first.
    pub text: &'static str,
    /// Whether the act is for the responsible person alone, never for pupils.
    pub is_for_the_responsible_person: bool,
}

const fn everyone(text: &'static str) -> Caution {
    Caution { text, is_for_the_responsible_person: false }
}

const fn responsible(text: &'static str) -> Caution {
    Caution { text, is_for_the_responsible_person: true }
}

/// All cautions in the order in which they matter. General laboratory practice for high voltage, evacuated glass and
/// coils; every laboratory's own rules stand above them.
pub const CAUTIONS: [Caution; 13] = [
    everyone(
        "Local rules and the person responsible for the laboratory come first; nothing written here is permission to switch anything on.",
    ),
    everyone(
        "Never work alone. Before you switch on, know where the emergency-off switch is and whom to call.",
    ),
    everyone(
        "The field of the coils can disturb pacemakers and other implants: anyone with an implant stays away from the energised bench. Keep magnetic cards, watches and hearing aids away from the coils.",
    ),
    everyone(
        "Hundreds of volts stand at the anode terminals. Use only shrouded leads; never touch a bare or damaged lead.",
    ),
    everyone(
        "Never exceed a rating stated for the tube or the coils, whatever a plan, a table or a program proposes.",
    ),
    everyone(
        "To switch on: anode voltage at 0 V before the heater is switched on; let the cathode warm up as long as the data sheet of the tube says, then raise the anode voltage.",
    ),
    everyone(
        "To finish: anode voltage to 0 V, then coil current slowly down to 0 A, then heater off, then supplies off.",
    ),
    everyone(
        "Coil current down to 0 A before the coil circuit is opened: interrupting the current in an inductance induces a high voltage.",
    ),
    responsible(
        "Before a lead is moved or reversed: anode voltage to 0 V, coil current down to 0 A, supplies off. Capacitors hold charge after a supply is switched off: wait until the voltmeter reads 0 V.",
    ),
    responsible(BEFORE_THE_TUBE),
    everyone(
        "The bulb is evacuated glass and can implode: wear eye protection near it, and never knock or strain it.",
    ),
    everyone("The coils and the neck of the tube get hot: keep hands off until they have cooled."),
    everyone(
        "In the dark: a clear floor, one person at the controls, a torch at hand, and the lights on before anyone reaches into the bench.",
    ),
];

/// Before a hand goes to the tube.
pub const BEFORE_THE_TUBE: &str = "Before the tube is turned or taken out, as for a photograph of the scale: anode voltage to 0 V, coil current down to 0 A, heater off and cooled, supplies off, room lights on, eye protection on.";

/// In place of the steps that pupils must not do.
pub const FOR_PUPILS: &str =
    "Moving or reversing a lead, turning or removing the tube: not for you. Ask the responsible person.";

/// For a place with room for one sentence.
pub const BEFORE_A_LEAD: &str =
    "Anode voltage to 0 V, coil current down to 0 A and supplies off before you touch a lead.";

/// Every caution, for the person who runs the bench.
pub fn all() -> impl Iterator<Item = &'static str> {
    CAUTIONS.iter().map(|caution| caution.text)
}

/// The cautions on a sheet for pupils: none tells them to do what they must not.
pub fn for_pupils() -> impl Iterator<Item = &'static str> {
    let theirs = CAUTIONS.iter().filter(|caution| !caution.is_for_the_responsible_person);
    theirs.map(|caution| caution.text).chain([FOR_PUPILS])
}

/// All cautions as the comment at the head of a bench file, without a line break at the end.
pub fn as_comment() -> String {
    const WIDTH: usize = 100;
    let mut lines = vec!["# Before you touch the bench; arcmass never commands a supply, you do.".to_owned()];
    for caution in all() {
        let mut line = "#   -".to_owned();
        for word in caution.split(' ') {
            if line.chars().count() + word.chars().count() >= WIDTH {
                lines.push(std::mem::replace(&mut line, "#    ".to_owned()));
            }
            line.push(' ');
            line.push_str(word);
        }
        lines.push(line);
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_can_harm_is_left_out() {
        let text: String = all().collect::<Vec<_>>().join("\n");
        for word in [
            "pacemaker",
            "magnetic cards",
            "before the heater",
            "warm up",
            "hold charge",
            "shrouded",
            "alone",
            "emergency-off",
            "whom to call",
            "implode",
            "rating",
            "hot",
            "inductance",
            "permission",
        ] {
            assert!(text.contains(word), "{word}");
        }
    }

    #[test]
    fn pupils_are_sent_to_the_responsible_person() {
        let text: String = for_pupils().collect::<Vec<_>>().join("\n");
        assert!(text.contains("Ask the responsible person") && text.contains("pacemaker"));
        for step in ["taken out", "lead is moved", "hold charge"] {
            assert!(!text.contains(step), "{step}");
        }
    }

    #[test]
    fn the_comment_is_a_comment() {
        let comment = as_comment();
        assert!(
            comment.lines().all(|line| line.starts_with('#') && line.chars().count() <= 101),
            "{comment}"
        );
        assert!(comment.contains("eye protection") && !comment.ends_with('\n'));
    }
}
