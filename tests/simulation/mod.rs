//! Rates that the method promises, by simulation.
//!
//! | file | holds |
//! |---|---|
//! | `world` | how a collection of patterns is drawn |
//! | `rates` | many worlds drawn and judged, what is counted in them |
//! | `stated` | what the method's own study found |
//! | `checks` | some cells of it again, quickly, as tests |
//! | `calibration` | all of it, as an example that writes `docs/calibration.md` |
//! | `sides` | how often noise is taken for sides of a section |
//! | `report`, `chart` | its tables and words, its pictures |
//! | `measurers` | intervals and false alarms of repeats |
//! | `breaks` | how often a straight line seems broken |
//! | `outlines` | how often a good outline leaves its band |

mod rates;
mod stated;
mod world;

mod breaks;
mod checks;
mod measurers;
mod outlines;
mod sides;
