//! Readings that are not to be believed: heavy tails, jumps that stayed, days on which the instrument was off.

pub(crate) mod detect;
pub(crate) mod student;
