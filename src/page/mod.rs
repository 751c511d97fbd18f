//! Pages people look at: pictures (SVG) and the self-contained HTML page that holds them.
//!
//! No verdict, norm or band is worked out here. Every number is one of the results' own, or the form of a
//! traced section as `traced` gives it; a picture only puts it on a scale, and says so beside it in words.
//!
//! | file | holds |
//! |---|---|
//! | `document` | the frame of every page: head, style, what it came from |
//! | `specimen` | one piece against its pattern's good periods |
//! | `pattern` | a pattern's norms, and each dimension through the years |
//! | `index` | all pages of a source |
//! | `scale` | from a number to a place in a picture |
//! | `mark` | the marks of periods, the same in every picture |
//! | `strip` | one dimension: references, ranges, the piece |
//! | `outline` | traced outlines in the band of good ones |
//! | `section` | traced sections as polar pictures |
//! | `finish` | colours side by side |
//! | `size_shape` | size against shape |
//! | `drawing` | the pipe to scale, with what is out of norm called out |
//! | `works` | as found, as planned, as left |
//! | `years` | one dimension through the years, with the years in which it shifted |
//!
//! Colours are those of Okabe and Ito (`docs/pages.md`); no meaning rests on one alone.

mod document;
mod drawing;
mod finish;
mod index;
mod mark;
mod outline;
mod pattern;
mod scale;
mod section;
mod size_shape;
mod specimen;
mod strip;
mod works;
mod years;

pub use document::{Origin, START, pictures};
pub use index::{IndexEntry, IndexPage, Names, PatternEntry};
pub use pattern::{MeasuredBy, PatternPage};
pub use specimen::{Left, SpecimenPage};
