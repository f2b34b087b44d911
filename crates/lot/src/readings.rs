//! A table of measured parts: lots, parts, and for a gauge study operators and trials.

use crate::LotError;

/// One entry per reading in every column; names stand once, in the order of first appearance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Readings {
    /// Lot names.
    pub lots: Vec<String>,
    /// Part names as written (`0012` stays `0012`).
    pub parts: Vec<String>,
    /// Operator names; empty unless it is a gauge study.
    pub operators: Vec<String>,
    /// Index into `lots`.
    pub lot: Vec<u32>,
    /// Index into `parts`.
    pub part: Vec<u32>,
    /// The reading, mm.
    pub reading: Vec<f64>,
    /// Index into `operators`; empty unless it is a gauge study.
    pub operator: Vec<u32>,
    /// Trial number from 1; empty unless it is a gauge study.
    pub trial: Vec<u32>,
    /// Line in the file of each reading (1-based; the row, where the format has no lines), for messages.
    pub line: Vec<u32>,
    /// What the table itself says of each lot's size and limits, one per lot; empty where it has no such columns.
    pub drawings: Vec<Drawing>,
}

/// What the drawing says of the dimension.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Drawing {
    /// Nominal, mm.
    pub nominal: Option<f64>,
    /// Lower limit, mm.
    pub lower: Option<f64>,
    /// Upper limit, mm.
    pub upper: Option<f64>,
}

impl Drawing {
    /// Whether there is a limit.
    pub fn has_limits(&self) -> bool {
        self.lower.is_some() || self.upper.is_some()
    }

    /// Own entries first, the other's where there are none.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self {
            nominal: self.nominal.or(other.nominal),
            lower: self.lower.or(other.lower),
            upper: self.upper.or(other.upper),
        }
    }

    /// Refuses numbers that are none, limits the wrong way round, and a size that cannot belong to its limits: one outside them, or so far from one (a fifth,
    /// five times) that a decimal point must have slipped or a deviation was given for a size.
    ///
    /// # Errors
    /// Those, with the range.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::Drawing;
    /// let slipped = Drawing { nominal: Some(6.0), lower: Some(0.57), upper: None };
    /// assert!(slipped.check().unwrap_err().to_string().contains("from 1.2 to 6 mm"));
    /// ```
    pub fn check(&self) -> Result<(), LotError> {
        for (what, value) in
            [("the nominal size", self.nominal), ("the lower limit", self.lower), ("the upper limit", self.upper)]
        {
            if let Some(value) = value {
                crate::error::finite(what, value)?;
            }
        }
        if let (Some(lower), Some(upper)) = (self.lower, self.upper)
            && lower >= upper
        {
            return Err(LotError::LimitsReversed { lower, upper });
        }
        let Some(nominal) = self.nominal else { return Ok(()) };
        crate::error::not_negative("the nominal size", nominal)?;
        // Of a size of 0 (a deviation, a run-out) any limits may be.
        if nominal == 0.0 {
            return Ok(());
        }
        for (what, limit, from, to) in [
            ("the lower limit", self.lower, nominal / 5.0, nominal),
            ("the upper limit", self.upper, nominal, 5.0 * nominal),
        ] {
            if let Some(value) = limit.filter(|l| !(from..=to).contains(l)) {
                let expected = format!("from {from} to {to} mm, being the limit of a size of {nominal} mm");
                return Err(LotError::OutOfRange { what: what.into(), value, expected });
            }
        }
        Ok(())
    }
}

impl Readings {
    /// Refuses a table whose columns disagree, whose indices point nowhere or which holds a reading that is no number.
    ///
    /// # Errors
    /// Those, with the line of the file where one is at fault.
    pub fn check(&self) -> Result<(), LotError> {
        let n = self.reading.len();
        if n == 0 {
            return Err(LotError::TooFew { what: "an answer".into(), found: 0, needed: 1, of: "readings" });
        }
        for (what, length) in [("lot", self.lot.len()), ("part", self.part.len()), ("line", self.line.len())] {
            if length != n {
                return Err(LotError::Inconsistent(format!("{n} readings but {length} entries in column `{what}`")));
            }
        }
        for (what, length) in [("operator", self.operator.len()), ("trial", self.trial.len())] {
            if length != n && length != 0 {
                return Err(LotError::Inconsistent(format!("{n} readings but {length} entries in column `{what}`")));
            }
        }
        if !self.drawings.is_empty() && self.drawings.len() != self.lots.len() {
            return Err(LotError::Inconsistent(format!(
                "{} lots but sizes of {}",
                self.lots.len(),
                self.drawings.len()
            )));
        }
        for (what, column, names) in [
            ("lot", &self.lot, self.lots.len()),
            ("part", &self.part, self.parts.len()),
            ("operator", &self.operator, self.operators.len()),
        ] {
            if let Some(i) = column.iter().position(|&v| v as usize >= names) {
                return Err(LotError::Inconsistent(format!(
                    "line {}: {what} number {} of {names}",
                    self.line[i], column[i]
                )));
            }
        }
        if let Some(i) = self.reading.iter().position(|x| !x.is_finite()) {
            return Err(LotError::NotFinite {
                what: format!("the reading on line {}", self.line[i]),
                value: self.reading[i],
            });
        }
        for drawing in &self.drawings {
            drawing.check()?;
        }
        Ok(())
    }

    /// The same table without some of its rows (by index); lots and parts keep their names.
    #[must_use]
    pub fn without(&self, rows: &[usize]) -> Self {
        let kept = |column: &[u32]| -> Vec<u32> {
            column.iter().enumerate().filter(|(row, _)| !rows.contains(row)).map(|(_, v)| *v).collect()
        };
        Self {
            lot: kept(&self.lot),
            part: kept(&self.part),
            operator: kept(&self.operator),
            trial: kept(&self.trial),
            line: kept(&self.line),
            reading: self.reading.iter().enumerate().filter(|(row, _)| !rows.contains(row)).map(|(_, x)| *x).collect(),
            ..self.clone()
        }
    }

    /// The index of a lot by its name.
    ///
    /// # Errors
    /// No such lot; the error lists the names there are.
    pub fn lot_named(&self, name: &str) -> Result<usize, LotError> {
        self.lots.iter().position(|l| l == name).ok_or_else(|| LotError::Unknown {
            kind: "lot",
            name: name.to_string(),
            known: self.lots.clone(),
        })
    }
}
