//! Undulations of a section: how many sides it has.
