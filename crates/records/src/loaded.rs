//! What a reader hands over.

use crate::error::Notice;
use crate::source::InputFile;

/// A value read from files, with what results record of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded<T> {
    /// What was read.
    pub value: T,
    /// Every file that was read for it.
    pub inputs: Vec<InputFile>,
    /// What the reader noticed.
    pub notices: Vec<Notice>,
}

impl<T> Loaded<T> {
    /// The same files and notices with another value.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Loaded<U> {
        Loaded { value: f(self.value), inputs: self.inputs, notices: self.notices }
    }
}
