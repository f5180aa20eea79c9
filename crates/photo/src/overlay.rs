//! A picture of what was found.
