//! Units, measured values and constants of a charged-particle-beam bench.
