//! packdrift
fn main() {}
