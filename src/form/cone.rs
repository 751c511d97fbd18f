//! The cone that several walls lie on.
