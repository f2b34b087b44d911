//! The invented demo scenario, made from a seed.
