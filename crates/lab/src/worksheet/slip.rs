//! Slips that a group can make on the worksheet.

/// One thing done wrongly, all else right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// r left in mm.
    RadiusInMillimetres,
    /// r in cm.
    RadiusInCentimetres,
    /// d put in for r.
    DiameterForRadius,
    /// r = d/4.
    RadiusHalvedTwice,
    /// B left in the sheet's unit.
    FluxDensityNotInTesla,
    /// I taken twice.
    CurrentOfBothCoils,
    /// N taken twice.
    TurnsOfBothCoils,
    /// 2R put in for R.
    CoilDiameterForRadius,
    /// s put in for s/2.
    SeparationNotHalved,
    /// The denominator without its power 3/2.
    PowerOmitted,
    /// R and s left in mm.
    SizesInMillimetres,
    /// A/B for B/A.
    SlopeInverted,
    /// V put in for 2V.
    TwoOmitted,
    /// B r put in for (B r)².
    SquareOmitted,
}

impl Slip {
    /// All of them, in the order of the sheet's steps.
    pub const ALL: [Self; 14] = [
        Self::TurnsOfBothCoils,
        Self::CoilDiameterForRadius,
        Self::SeparationNotHalved,
        Self::PowerOmitted,
        Self::SizesInMillimetres,
        Self::SlopeInverted,
        Self::DiameterForRadius,
        Self::RadiusHalvedTwice,
        Self::RadiusInMillimetres,
        Self::RadiusInCentimetres,
        Self::CurrentOfBothCoils,
        Self::FluxDensityNotInTesla,
        Self::TwoOmitted,
        Self::SquareOmitted,
    ];

    /// What was done, in words; `*R*` is a symbol.
    pub fn words(self) -> &'static str {
        match self {
            Self::TurnsOfBothCoils => "turns of both coils for *N*",
            Self::CoilDiameterForRadius => "the coils’ diameter for *R*",
            Self::SeparationNotHalved => "*s* for *s*/2",
            Self::PowerOmitted => "power 3/2 omitted",
            Self::SizesInMillimetres => "*R* and *s* left in millimetres",
            Self::SlopeInverted => "slope inverted: *I*/*B* for *B*/*I*",
            Self::DiameterForRadius => "the diameter *d* for *r*",
            Self::RadiusHalvedTwice => "*r* halved twice",
            Self::RadiusInMillimetres => "*r* left in millimetres",
            Self::RadiusInCentimetres => "*r* in centimetres",
            Self::CurrentOfBothCoils => "current of both coils for *I*",
            Self::FluxDensityNotInTesla => "*B* not converted to tesla",
            Self::TwoOmitted => "factor 2 of 2*V* omitted",
            Self::SquareOmitted => "*B* *r* not squared",
        }
    }
}
