//! calibriar
fn main() {}
