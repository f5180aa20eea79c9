//! The beam's centre line on the photograph.
