//! Measures the glowing ring on a photograph, blind to the readings.
