//! Rates that the method promises, by simulation.
//!
//! Truth: the tables of `docs/methods.md` of the method's own study (worlds, sizes and rates are
//! restated beside each test). Seeded; limits from the binomial law at a false-alarm rate of 1e-6;
//! counts in the message.

mod world;

mod base;
