//! One file per job of the bench: calibrate, photograph, reduce.
