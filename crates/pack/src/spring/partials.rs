//! Partial derivatives of a spring washer's load, room and flat height to its dimensions.

use crate::model::DimensionId;

/// How one dimension moves a spring washer, at a given deflection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Partial {
    /// Which.
    pub(crate) dimension: DimensionId,
    /// ∂load/∂dimension at fixed deflection.
    pub(crate) load: f64,
    /// ∂room/∂dimension.
    pub(crate) room: f64,
    /// ∂flat height/∂dimension.
    pub(crate) flat_height: f64,
}
