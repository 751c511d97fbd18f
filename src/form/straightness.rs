//! Straight lines through an outline: least squares and minimum zone.
