//! Where a trace leaves the straight line that it should keep.
