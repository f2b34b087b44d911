//! Random streams, streaming moments, quantiles and roots: what statistics needs and no well-kept crate gives.
