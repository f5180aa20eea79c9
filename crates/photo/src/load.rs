//! From a photograph's bytes to upright planes of linear light.
