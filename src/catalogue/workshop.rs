//! Works, straightenings and floors together.

use super::{Catalogue, Floor, RowFaults, Straightening, Work};

/// What can be done to a piece, and what must remain of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Workshop {
    /// In the order of work.
    pub works: Vec<Work>,
    /// How outlines are made straight, in the order of work.
    pub straightenings: Vec<Straightening>,
    /// In the order of their table.
    pub floors: Vec<Floor>,
}

impl Workshop {
    /// The works and floors of the trade, with tables of the user's own (name and bytes) laid over them.
    ///
    /// # Errors
    /// [`RowFaults`]: every fault of the first table that has one.
    ///
    /// # Example
    /// ```
    /// use calibriar::catalogue::{Catalogue, Workshop};
    ///
    /// let own = "key,least,source\nwall,3.5,my own pipes\n";
    /// let workshop = Workshop::new(&Catalogue::standard(), None, Some(("own.csv", own.as_bytes())))?;
    /// assert_eq!(workshop.floors[0].least, 3.5);
    /// # Ok::<(), calibriar::catalogue::RowFaults>(())
    /// ```
    pub fn new(
        catalogue: &Catalogue,
        works: Option<(&str, &[u8])>,
        floors: Option<(&str, &[u8])>,
    ) -> Result<Workshop, RowFaults> {
        Ok(Workshop {
            works: Work::all(catalogue, works)?,
            straightenings: Straightening::all()?,
            floors: Floor::all(catalogue, floors)?,
        })
    }
}
