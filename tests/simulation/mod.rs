//! Rates that the method promises, by simulation.
//!
//! | file | holds |
//! |---|---|
//! | `draw` | random numbers |
//! | `world` | how a collection of patterns is drawn |
//! | `rates` | many worlds drawn and judged, what is counted in them |
//! | `stated` | what the method's own study found |
//! | `checks` | some cells of it again, quickly, as tests |
//! | `calibration` | all of it, as an example that writes `docs/calibration.md` |
//! | `sides` | how often noise is taken for sides of a section |
//! | `report`, `chart` | its tables and words, its pictures |
//! | `shifts` | how often years of a shift are right, some cells of `shift_rates` |
//! | `shift_rates` | all of it, as an example whose figures are in `docs/shift_years.md` |
//! | `measurers` | intervals and false alarms of repeats |
//! | `slips` | invented sources, clean or with a slip planted |
//! | `screening` | how often the screening is silent, and what it finds |
//! | `screened` | all of that, as an example that prints the tables of `docs/screening.md` |
//! | `breaks` | how often a straight line seems broken |
//! | `dating` | how often a period that is named is right |
//! | `outlines` | how often a good outline leaves its band |
//! | `refit` | how often sizes and walls end where a plan says |
//! | `periods` | how often periods that do not differ are told apart, and how often a shift is seen |

mod draw;
mod rates;
mod slips;
mod stated;
mod world;

mod breaks;
mod checks;
mod dating;
mod measurers;
mod outlines;
mod periods;
#[cfg(feature = "store")]
mod refit;
mod screening;
mod shifts;
mod sides;
