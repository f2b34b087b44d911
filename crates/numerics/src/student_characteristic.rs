//! Student's characteristic function from a table, for who needs it a million times: the integral of
//! [`student_t_characteristic`] takes a microsecond, a look-up some fifty nanoseconds.
//!
//! Over y = ln x with x = √ν·|t| the function is smooth (over t it is not, at 0), so ten-point interpolation on steps of 0.01 keeps it to
//! about 1e-14.

use crate::transcendental::student_t_characteristic;
use std::sync::{Arc, Mutex, PoisonError};

const STEP: f64 = 0.01;
const POINTS: usize = 10;
/// Barycentric weights of ten equally spaced points: (−1)^j·C(9, j).
const WEIGHTS: [f64; POINTS] = [1.0, -9.0, 36.0, -84.0, 126.0, -126.0, 84.0, -36.0, 9.0, -1.0];
/// Tables kept for reuse; a pack has few different numbers of readings.
const KEPT: usize = 16;

static TABLES: Mutex<Vec<Arc<StudentCharacteristic>>> = Mutex::new(Vec::new());

/// E exp(i·t·T) of Student's t with ν degrees of freedom, tabulated.
#[derive(Debug)]
pub struct StudentCharacteristic {
    degrees_of_freedom: f64,
    /// ln x of the first node.
    low: f64,
    values: Vec<f64>,
}

impl StudentCharacteristic {
    /// The table for ν, made once and shared.
    ///
    /// ```
    /// use packdrift_numerics::student_characteristic::StudentCharacteristic;
    /// // One degree of freedom is Cauchy's distribution: exp(−|t|).
    /// let cauchy = StudentCharacteristic::of(1.0);
    /// assert!((cauchy.at(2.0) - (-2.0_f64).exp()).abs() < 1e-14);
    /// assert_eq!(cauchy.at(0.0), 1.0);
    /// ```
    pub fn of(degrees_of_freedom: f64) -> Arc<Self> {
        let same = |table: &&Arc<Self>| table.degrees_of_freedom.to_bits() == degrees_of_freedom.to_bits();
        // A thread that panicked while it held the lock left whole tables behind.
        if let Some(table) = TABLES.lock().unwrap_or_else(PoisonError::into_inner).iter().find(same) {
            return table.clone();
        }
        let table = Arc::new(Self::new(degrees_of_freedom));
        let mut tables = TABLES.lock().unwrap_or_else(PoisonError::into_inner);
        if tables.len() == KEPT {
            tables.remove(0);
        }
        tables.push(table.clone());
        table
    }

    fn new(nu: f64) -> Self {
        let half_log = 0.5 * libm::log(nu);
        // Below, 1 − φ is under 1e-17 (it goes like x^min(ν, 2), with a logarithm at ν = 2); above, φ is.
        let low = half_log.min(0.0) - 44.0 / nu.min(2.0);
        let high = libm::log(60.0 + 10.0 * nu.sqrt());
        let count = ((high - low) / STEP).ceil() as usize + POINTS;
        let values =
            (0..count).map(|k| student_t_characteristic(nu, libm::exp(low + k as f64 * STEP - half_log))).collect();
        Self { degrees_of_freedom: nu, low, values }
    }

    /// Its value at t.
    pub fn at(&self, t: f64) -> f64 {
        let x = self.degrees_of_freedom.sqrt() * t.abs();
        let place = (libm::log(x) - self.low) / STEP;
        if place.is_nan() || place < 0.0 {
            return if t.is_nan() { f64::NAN } else { 1.0 };
        }
        let last = self.values.len() - POINTS;
        if place > (last + POINTS / 2) as f64 {
            return student_t_characteristic(self.degrees_of_freedom, t);
        }
        // The ten nodes about the place, fewer before it at the table's ends.
        let first = (place as usize).saturating_sub(POINTS / 2 - 1).min(last);
        let (mut above, mut below) = (0.0, 0.0);
        for (j, weight) in WEIGHTS.iter().enumerate() {
            let distance = place - (first + j) as f64;
            if distance == 0.0 {
                return self.values[first + j];
            }
            let share = weight / distance;
            above += share * self.values[first + j];
            below += share;
        }
        above / below
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_integral() {
        for nu in [0.7, 1.0, 2.0, 3.0, 4.5, 9.0, 24.0, 60.0, 500.0] {
            let table = StudentCharacteristic::of(nu);
            for k in 0..4000 {
                let t = 1e-9 * libm::exp(f64::from(k) * 0.006_17);
                let (got, direct) = (table.at(t), student_t_characteristic(nu, t));
                // The integral's factor, exp(ν/2·ln x − ln Γ(ν/2)), rounds in proportion to ν.
                assert!((got - direct).abs() < 3e-14 * nu.max(1.0), "{nu} {t}: {got} {direct}");
            }
        }
    }

    #[test]
    fn the_same_table_is_shared() {
        assert!(Arc::ptr_eq(&StudentCharacteristic::of(6.25), &StudentCharacteristic::of(6.25)));
    }
}
