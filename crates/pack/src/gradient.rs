//! Partial derivatives of every quantity to every dimension.

use crate::model::Pack;
use crate::quantity::Quantity;

impl Pack {
    /// Value of a quantity (the middle of a loose bay's range) and, in `gradient`, its partial derivative to every
    /// dimension of the pack, in the quantity's unit per the dimension's.
    ///
    /// None where there is no derivative: the bay cannot be assembled.
    ///
    /// # Panics
    ///
    /// If `gradient` does not have one place per dimension, or an index is not of this pack.
    pub fn gradient(&self, quantity: &Quantity, condition: usize, x: &[f64], gradient: &mut [f64]) -> Option<f64> {
        assert_eq!(gradient.len(), self.dimensions.len(), "one partial derivative per dimension");
        let mut moved = x.to_vec();
        let value = self.evaluate(quantity, condition, x).middle()?;
        for (k, slope) in gradient.iter_mut().enumerate() {
            let step = 1e-6 * x[k].abs().max(1e-3);
            moved[k] = x[k] + step;
            let up = self.evaluate(quantity, condition, &moved).middle()?;
            moved[k] = x[k] - step;
            let down = self.evaluate(quantity, condition, &moved).middle()?;
            moved[k] = x[k];
            *slope = (up - down) / (2.0 * step);
        }
        Some(value)
    }
}
