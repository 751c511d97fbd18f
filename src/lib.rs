//! Norms and verdicts for briar pipes, from many people's measurements, by pattern and production
//! period.
//!
//! A messy spreadsheet cell becomes a reading; readings of one pipe make a specimen; the
//! factory-state readings of a pattern's good periods make a norm; a norm and a specimen make a
//! verdict. Each step is a room of this crate, and data flows down the list:
//!
//! | room | makes |
//! |---|---|
//! | [`notation`] | text to value, unit and standard uncertainty |
//! | [`catalogue`] | what can be measured; production periods; states |
//! | [`table`] | CSV to columns of readings, every fault with its place |
//! | `collection` | the store: one SQLite file, append-only (feature `store`) |
//! | `disclosure` | what a piece still testifies to after works, for buyers and museums (feature `store`) |
//! | `source` | whatever a path names: collection, data package, CSV, Parquet (feature `store`) |
//! | [`cohort`] | the readings that may speak for a pattern's chosen periods |
//! | [`form`] | form of outlines and sections, colours |
//! | [`traced`] | what traces say of a piece, and the readings made of them |
//! | [`measurers`] | how far different people's readings differ, and what one is worth |
//! | [`norm`] | typical ranges, bands, how firm they are |
//! | [`verdict`] | scores, labels, what could not be decided and why |
//! | [`periods`] | which periods agree, when a dimension shifted, which period a piece resembles |
//! | [`firmness`] | what moved since a revision, and what would move without one source |
//! | [`screen`] | readings that look like slips |
//! | [`refit`] | what to take off a piece, to which size, and what to leave alone |
//! | [`rates`] | how often verdicts on such a collection would be wrong |
//! | [`words`] | results in words and numbers for people |
//! | `page` | pictures and the self-contained HTML page (feature `page`) |
//! | [`report`] | results as rows, under the names that CSV, JSON and frames share |
//! | `frame` | data frames and Parquet in and out (feature `frame`) |
//! | [`stats`] | pure numerics, which the others call |
//!
//! # A tour
//! ```
//! use calibriar::catalogue::Catalogue;
//! use calibriar::cohort::{Choice, Cohort};
//! use calibriar::norm::{Borrowing, Evidence, Settings, norms};
//! use calibriar::table::{Content, Options, read};
//! use calibriar::verdict::{Verdict, check};
//!
//! // Six pieces of one pattern (invented); the last one's bit is too thick.
//! let sheet = "specimen,pattern,bit thickness (mm),bowl height (mm)\n\
//!              A,apple,4.02,44.1\nB,apple,4.10,43.6\nC,apple,3.95,44.8\n\
//!              D,apple,4.05,44.3\nE,apple,4.08,43.9\nF,apple,5.20,44.2\n";
//! let content = read("sheet.csv", sheet.into(), &Options::default(), Catalogue::standard())?;
//! let Content::Measurements(sheet) = content else { panic!("these are measurements") };
//! assert!(sheet.faults.is_empty());
//!
//! // No period has a standing here, so every piece counts as good.
//! let cohort = Cohort::new(&sheet.table, &Choice::default())?;
//! let settings = Settings::new(0.95, 0.95, 0.05)?;
//! let evidence = Evidence::gather(&cohort, &Borrowing::default());
//! let firm = norms(&evidence, &[0], &settings)?;
//! assert_eq!(firm[0].basis.kept.len(), 6);
//!
//! // A piece's own readings never count in the norm that it is judged by.
//! let thick = check(&evidence, 5, &settings);
//! assert_eq!(thick.verdict, Verdict::OutOfNorm);
//! // Dimensions come in the order of the catalogue: bowl height, then bit thickness.
//! let bit = &thick.dimensions[1];
//! assert_eq!((bit.n, bit.value), (5, 5.2));
//! assert!(bit.judged.is_some_and(|j| j.typical.high < 4.3));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Scope
//! A verdict is about dimensions and how rare they are among good pieces. It neither dates nor
//! authenticates a piece, and it cannot see wear that has moved every reference the same way.
//! `docs/methods.md` has the statistics, `docs/formats.md` the files and columns.
//!
//! # Features
//! - `store` (default): the collection; costs the build of SQLite's C source.
//! - `cli` (default): the program; implies `store`.
//! - `page`: pages people look at; costs the build of a templating macro. Implied by `cli`.
//! - `frame`: Parquet and data frames; costs the build of polars.
//!
//! A feature adds an integration; it never alters a computed number.

pub mod catalogue;
pub mod cohort;
#[cfg(feature = "store")]
pub mod collection;
#[cfg(feature = "store")]
pub mod disclosure;
pub mod firmness;
pub mod form;
#[cfg(feature = "frame")]
pub mod frame;
pub mod measurers;
pub mod norm;
pub mod notation;
#[cfg(feature = "page")]
pub mod page;
mod parallel;
pub mod periods;
pub mod rates;
pub mod refit;
pub mod report;
pub mod screen;
mod sorting;
#[cfg(feature = "store")]
pub mod source;
pub mod stats;
pub mod table;
pub mod traced;
pub mod verdict;
pub mod words;

/// The prose of `docs/` and the README, so that its Rust examples are tested.
#[cfg(doctest)]
mod _documentation {
    #[doc = include_str!("../README.md")]
    mod readme {}
    #[doc = include_str!("../docs/methods.md")]
    mod methods {}
}
