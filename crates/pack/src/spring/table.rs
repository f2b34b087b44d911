//! Spring washer measured on a load tester.

use crate::error::PackError;
use crate::model::LoadTable;
use packdrift_numerics::interpolation::{InterpolationError, MonotoneCubic};

impl LoadTable {
    /// The shape-preserving cubic through the points.
    pub(crate) fn curve(&self) -> Result<MonotoneCubic<'_>, InterpolationError> {
        MonotoneCubic::new(&self.deflection, &self.load)
    }

    /// Load at a deflection, N.
    ///
    /// # Errors
    ///
    /// [`PackError::OutsideTable`] beyond the last point or below 0; [`PackError::Table`] where the points are no curve
    /// from (0, 0) upwards. `path` is what the error calls the washer.
    ///
    /// # Examples
    ///
    /// ```
    /// use packdrift_pack::LoadTable;
    /// let table = LoadTable { deflection: vec![0.0, 0.2, 0.4], load: vec![0.0, 30.0, 70.0] };
    /// assert_eq!(table.load("middle/spring washer", 0.2)?, 30.0);
    /// assert!(table.load("middle/spring washer", 0.5).is_err());
    /// # Ok::<(), packdrift_pack::PackError>(())
    /// ```
    pub fn load(&self, path: &str, deflection: f64) -> Result<f64, PackError> {
        self.check(path).map_or(Ok(()), Err)?;
        let curve = self.curve().map_err(|_| PackError::NotFinite { path: path.to_owned(), value: f64::NAN })?;
        if curve.contains(deflection) {
            Ok(curve.value(deflection))
        } else {
            Err(PackError::OutsideTable { path: path.to_owned(), deflection, end: curve.end() })
        }
    }

    /// The first thing wrong with the points.
    pub(crate) fn check(&self, path: &str) -> Option<PackError> {
        let point = |index: usize| {
            let get = |values: &[f64]| values.get(index).copied().unwrap_or(f64::NAN);
            (get(&self.deflection), get(&self.load))
        };
        let error = |index: usize, reason: &'static str| {
            let (deflection, load) = point(index);
            Some(PackError::Table { path: path.to_owned(), point: index + 1, deflection, load, reason })
        };
        let points = self.deflection.len().max(self.load.len());
        for index in 0..points {
            let (deflection, load) = point(index);
            if !(deflection.is_finite() && load.is_finite()) {
                return error(index, "each point needs a deflection and a load, both finite");
            }
            if index == 0 {
                if deflection != 0.0 || load != 0.0 {
                    return error(index, "the first point must be 0 mm, 0 N");
                }
            } else {
                let (deflection_before, load_before) = point(index - 1);
                if deflection <= deflection_before {
                    return error(index, "deflections must rise from point to point");
                }
                if load <= load_before {
                    return error(index, "loads must rise from point to point");
                }
            }
        }
        if points < 2 {
            return error(points, "a table needs at least two points");
        }
        None
    }
}
