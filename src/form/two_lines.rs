//! Where a line breaks into two.
