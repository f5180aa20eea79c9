//! Lines, circles, budgets and global fits with honest uncertainties.
