//! The ruler or calibration board.
