//! What stands on every plan before its first setting: cautions found in published manuals, in our words.

/// The safe act first.
const ALWAYS: [&str; 7] = [
    "local rules and the responsible person come first; this card is no permission to switch anything on",
    "never go beyond a rating, whatever stands here: gun and coils bear what their own sheets say",
    "to end, and before any lead is touched: anode voltage to 0, then coil current slowly down to 0, then heater off",
    "never open the coil circuit while current flows: a coil answers with a high voltage",
    "before the tube comes out for the scale's photograph: supplies off, everything cooled, lights on, eye protection",
    "the bulb is evacuated glass: no knock, no strain; keep hands off hot coils and off the tube's neck",
    "in the dark: clear floor, one person at the knobs, a torch at hand",
];

/// All of them, as they stand in the document.
pub(super) fn cautions() -> Vec<String> {
    ALWAYS.iter().map(|caution| (*caution).to_owned()).collect()
}
