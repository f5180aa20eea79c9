//! Draws photographs of a bench with a hidden truth.
