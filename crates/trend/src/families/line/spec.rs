//! Which member of the straight-line family.

use crate::result::ModelKind;

/// Which member of the family.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools, reason = "each is a part of the model of its own: present or not")]
pub(crate) struct Spec {
    pub(crate) kind: ModelKind,
    pub(crate) engine: bool,
    /// A valve keeps its slope through its re-shims, in part or whole.
    pub(crate) valve: bool,
    pub(crate) heavy: bool,
}

impl Spec {
    /// The plain member of a kind.
    pub(crate) const fn plain(kind: ModelKind) -> Self {
        Self { kind, engine: false, valve: false, heavy: false }
    }

    /// Whether the true value wanders about its mean line.
    pub(crate) fn wanders(self) -> bool {
        self.kind == ModelKind::Wiener
    }

    pub(crate) fn words(self) -> String {
        let mut out = self.kind.name().to_owned();
        if self.engine {
            out.push_str(", engine slope");
        }
        if self.valve {
            out.push_str(", valve slope");
        }
        if self.heavy {
            out.push_str(", heavy tails");
        }
        out
    }
}
