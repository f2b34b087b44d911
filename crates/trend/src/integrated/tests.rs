//! Properties of the whole room.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]
