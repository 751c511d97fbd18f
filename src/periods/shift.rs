//! The years in which a dimension shifted.
