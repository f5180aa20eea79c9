//! The slips as data: code, where each may stand, and what to ask a group that may have made it.

use serde::Serialize;

/// Where a slip stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Where {
    /// What stands in the table is not what the heading asked for.
    Reading,
    /// The table is right, the group's own sum is not.
    Working,
}

/// One slip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlipCode {
    /// Fixed name.
    pub code: &'static str,
    /// What was done.
    pub what: &'static str,
    /// Exact effect.
    pub effect: &'static str,
    /// Asks before it tells.
    pub hint: &'static str,
}

const fn slip(code: &'static str, what: &'static str, effect: &'static str, hint: &'static str) -> SlipCode {
    SlipCode { code, what, effect, hint }
}

/// Every slip that is looked for.
pub const SLIPS: [SlipCode; 39] = [
    slip(
        "diameter-as-radius",
        "the diameter written or used for the radius",
        "r × 2; m × 4",
        "Which did you measure, edge to edge or centre to edge? The number looks like a diameter where the radius was asked for or used.",
    ),
    slip(
        "radius-in-diameter-column",
        "the radius written where the diameter was asked for",
        "d × ½",
        "What does the column ask for, and what did you write? Your rings are half as wide as this voltage and current make them.",
    ),
    slip(
        "radius-halved-twice",
        "the radius halved once more",
        "r × ½; m × ¼",
        "How often did you divide by two on the way from the diameter to the radius? One halving too many fits your numbers.",
    ),
    slip(
        "double-field",
        "the turns of both coils counted in each",
        "B × 2; m × 4",
        "How many turns does one coil have? The pair’s formula counts them on each coil; your B is twice the bench’s.",
    ),
    slip(
        "total-current",
        "the current of both parallel coils written",
        "I × 2",
        "Through what did the ammeter’s current flow, one coil or both in parallel? Your current is twice what one coil needs for this ring.",
    ),
    slip(
        "half-current",
        "half the current of coils in series written",
        "I × ½",
        "Are the coils in series or in parallel? In series each carries the whole current; yours is half of what this ring needs.",
    ),
    slip(
        "half-field",
        "one coil’s turns or field, or the coils’ diameter for their radius",
        "B × ½; m × ¼",
        "Did both coils enter your B, and their radius rather than their diameter? Your B is half the bench’s.",
    ),
    slip(
        "single-loop-field",
        "the field at the centre of one loop for that of the pair",
        "B × (5/4)^{3/2}/2 = 0.699",
        "Which formula did you take for B: for one loop at its own centre, or for the middle of the pair?",
    ),
    slip(
        "pair-factor-omitted",
        "the pair’s factor (4/5)^{3/2} left out",
        "B × 1.398",
        "Where in your B is the pair’s factor (4/5)^{3/2}? Without it B comes out 1.4 times too large.",
    ),
    slip(
        "pair-factor-inverted",
        "(5/4)^{3/2} for (4/5)^{3/2}",
        "B × 1.953",
        "Is your pair’s factor below 1 or above 1? (4/5)^{3/2} is 0.716; its inverse doubles B, nearly.",
    ),
    slip(
        "pair-factor-wrong-power",
        "another power than (4/5)^{3/2}, or of 3/5 or 8/125",
        "B × 0.716, 1.204, 0.650 or 0.089",
        "Which number did you raise to which power in the pair’s factor? It is (4/5)^{3/2}, 8/√125.",
    ),
    slip(
        "closed-form-power",
        "(5/4)² for (5/4)³ in the formula for e/m",
        "m × 5/4",
        "Your B is right; which power of 5/4 stands in your formula for e/m? Squaring B makes it the third.",
    ),
    slip(
        "factor-two-omitted",
        "the 2 of 2V/(Br)² left out",
        "m × 2",
        "Where did the ½ of ½mv² go in your formula? e/m is 2V/(Br)².",
    ),
    slip(
        "factor-two-twice",
        "the 2 of 2V/(Br)² taken twice, or 8V with the radius",
        "m × ½ or ¼",
        "How many factors of two are in your formula? 2V goes with the radius, 8V with the diameter.",
    ),
    slip(
        "field-not-squared",
        "B not squared",
        "m / B",
        "What power does B have in your formula? Look at the unit of your result.",
    ),
    slip(
        "radius-not-squared",
        "r not squared",
        "m / r",
        "What power does the radius have in your formula? Look at the unit of your result.",
    ),
    slip(
        "field-per-ampere-as-field",
        "the coil constant used as the field",
        "B / I",
        "Does your B grow when the current does? It looks like the field of one ampere.",
    ),
    slip(
        "columns-swapped",
        "voltage and current exchanged",
        "V ↔ I",
        "Which meter did you write in which column? Voltage and current look exchanged.",
    ),
    slip(
        "unit-current",
        "the current written or used in another unit",
        "I × 1000",
        "Does your ammeter show A or mA, and which did you use?",
    ),
    slip(
        "unit-voltage",
        "the voltage written or used in another unit",
        "V × 1000",
        "Does the column ask for V or kV, and which did you use?",
    ),
    slip(
        "unit-length",
        "a length written or used in another unit",
        "r × 10, 100 or 1000",
        "In which unit does the length enter the formula, and in which did you put it in?",
    ),
    slip(
        "unit-field",
        "a flux density written or used in another unit",
        "B × 10³, 10⁴ or 10⁶",
        "In which unit does B enter the formula: T, mT or G?",
    ),
    slip(
        "range-factor-ten",
        "a meter’s range or a decimal point",
        "× 10 or / 10",
        "Which range was the meter on, and where is the decimal point? A factor of ten fits.",
    ),
    slip(
        "vacuum-permeability",
        "another number for µ₀ = 4π·10⁻⁷",
        "B × 0.0796, 0.318 or 10",
        "Which number did you take for µ₀? It is 4π·10⁻⁷ in SI units.",
    ),
    slip(
        "outer-edge",
        "the beam’s outer edge read for its middle",
        "d + w",
        "Where did you set the mark on the beam: its middle or its outer edge?",
    ),
    slip(
        "inner-edge",
        "the beam’s inner edge read for its middle",
        "d − w",
        "Where did you set the mark on the beam: its middle or its inner edge?",
    ),
    slip(
        "scale-zero",
        "the ruler read from its 10 mm mark",
        "d + 10 mm",
        "Where on the ruler did you begin to count? All your rings are 10 mm too wide.",
    ),
    slip(
        "one-side-of-scale",
        "the distance to one side of a scale whose zero is off the centre",
        "d ± 2c",
        "Did you read both sides of the ring? The scale’s zero need not be the ring’s centre.",
    ),
    slip(
        "parallax",
        "the scale in front of the ring or behind it",
        "d × a constant",
        "Where did the scale stand: in the ring’s plane, in front of it, or behind? All your rings are off by the same ratio.",
    ),
    slip(
        "inner-coil-radius",
        "the winding’s inner radius for its mean",
        "B × R/R_inner",
        "To where in the winding did you measure the coils’ radius? The mean is to its middle.",
    ),
    slip(
        "chord-not-diameter",
        "a chord beside the centre for the diameter",
        "d × √(1 − h²/r²)",
        "Did you measure where the ring is widest? Beside the centre a chord is shorter, now more, now less.",
    ),
    slip(
        "digits-transposed",
        "two figures of a number exchanged",
        "one row",
        "Would you look at this row’s figures again? Two of them exchanged would fit the others.",
    ),
    slip(
        "one-row-differs",
        "one row belongs to another run, or fits nothing",
        "one row",
        "What happened in this row? It does not fit the others; does it belong to another setting?",
    ),
    slip(
        "accepted-mass-used",
        "the accepted mass in the group’s own sum or as its result",
        "√(m · accepted), or the accepted one",
        "Where does the mass in your sum come from? Your result agrees better with the tables than your readings do.",
    ),
    slip("ratio-for-mass", "e/m or m/e given as m", "unit", "What is the unit of your result, kg or C/kg?"),
    slip(
        "exponent-sign",
        "the sign of the power of ten lost",
        "10⁻ⁿ → 10ⁿ",
        "Which sign has the power of ten on your calculator? Could an electron weigh that much?",
    ),
    slip(
        "slope-inverted",
        "the slope of r² against V used upside down",
        "m ∝ 1/S for S",
        "What stands on which axis of your line? The slope goes into the formula the other way up.",
    ),
    slip(
        "slope-through-origin",
        "a line forced through 0 where an offset stands",
        "slope without intercept",
        "Does your line go through the origin by itself? This bench’s gun has an offset; leave the intercept free.",
    ),
    slip(
        "weights-not-squared",
        "weights 1/u for 1/u²",
        "weighted mean",
        "How did you weight the rows? The weight is one over the uncertainty squared.",
    ),
];

/// The slip of a code.
pub fn slip_of(code: &str) -> Option<&'static SlipCode> {
    SLIPS.iter().find(|slip| slip.code == code)
}
