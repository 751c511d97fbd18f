//! Which periods an undated piece resembles.
