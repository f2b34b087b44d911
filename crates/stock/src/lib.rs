//! Picking shims from the drawer, and which to hold.

mod drawer;

pub use drawer::Piece;
