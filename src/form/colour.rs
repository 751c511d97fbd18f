//! Colours: CIELAB, colour differences, colours from photographs.
