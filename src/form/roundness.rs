//! Circles through a section: least squares, minimum zone, inscribed and circumscribed.
