//! Where a thin bright line stands above the haze around it.
