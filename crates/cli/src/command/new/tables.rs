//! Tables to begin with: what each column is, and rows to be replaced.

use super::extension;
use crate::exit::Failure;
use crate::output::table_bytes;
use packdrift_records::write::{Cell, workbook_bytes};
use std::path::Path;

/// A table to begin with.
pub(super) struct Starter {
    /// The sheet's name.
    name: &'static str,
    /// What stands above the header of a CSV file, or on the sheet "About".
    about: &'static [&'static str],
    columns: &'static [&'static str],
    /// Cells as they are written; numbers and dates are told by how they look.
    rows: &'static [&'static [&'static str]],
}

pub(super) const INSPECTIONS: Starter = Starter {
    name: "inspections",
    about: &[
        "Inspection records, for trend and due: one row a reading. The rows that say EXAMPLE are to be replaced by yours.",
        "engine, valve: names, always written the same way.  date: YYYY-MM-DD.  hours: what the engine's hour meter shows.",
        "feature: what was read, as contact_offset.  value: the reading, mm.",
        "event: empty, or what was done just before the reading: reshim (the parts stay), replace (new parts), meter (a new hour meter).",
        "group: empty, or the kind of valve, as intake or exhaust.",
    ],
    columns: &["engine", "valve", "date", "hours", "feature", "value", "event", "group"],
    rows: &[
        &["EXAMPLE 1", "1 intake", "2025-03-04", "1210", "contact_offset", "0.98", "", "intake"],
        &["EXAMPLE 1", "1 intake", "2025-09-30", "2350", "contact_offset", "1.03", "", "intake"],
        &["EXAMPLE 1", "1 intake", "2026-03-17", "3415", "contact_offset", "1.09", "", "intake"],
        &["EXAMPLE 1", "1 intake", "2026-03-17", "3415", "contact_offset", "0.97", "reshim", "intake"],
    ],
};

pub(super) const READINGS: Starter = Starter {
    name: "readings",
    about: &[
        "Measured parts of a supplier's lots, for lot: one row a reading. The rows that say EXAMPLE are to be replaced by yours.",
        "lot: the packet or delivery.  part: its number or name.  reading: mm.  nominal, lower, upper: the lot's size and limits, or leave them out.",
        "For a gauge study: packdrift new gauge.",
    ],
    columns: &["lot", "part", "reading", "nominal", "lower", "upper"],
    rows: &[
        &["EXAMPLE packet A", "001", "0.601", "0.60", "0.57", "0.63"],
        &["EXAMPLE packet A", "002", "0.598", "0.60", "0.57", "0.63"],
        &["EXAMPLE packet A", "003", "0.604", "0.60", "0.57", "0.63"],
    ],
};

pub(super) const GAUGE: Starter = Starter {
    name: "readings",
    about: &[
        "A gauge study, for gauge: one row a reading; each operator reads each part in each trial. The rows that say EXAMPLE are to be replaced by yours.",
        "Take 10 parts from all over what is made, 2 or 3 operators, 2 or 3 trials; hand the parts out in random order, and let nobody see what was read before.",
        "part: its number or name.  operator: who read it.  trial: 1, 2, 3.  reading: as the instrument shows it, with all its digits, mm.",
        "Is the drawing's tolerance known? Give it: --lower and --upper, or --tolerance. Are sizes to be told apart? Give their step: --difference.",
    ],
    columns: &["part", "operator", "trial", "reading"],
    rows: &[
        &["EXAMPLE 1", "Ann", "1", "0.601"],
        &["EXAMPLE 1", "Ann", "2", "0.602"],
        &["EXAMPLE 1", "Ben", "1", "0.603"],
        &["EXAMPLE 1", "Ben", "2", "0.602"],
        &["EXAMPLE 2", "Ann", "1", "0.587"],
        &["EXAMPLE 2", "Ann", "2", "0.587"],
        &["EXAMPLE 2", "Ben", "1", "0.588"],
        &["EXAMPLE 2", "Ben", "2", "0.589"],
        &["EXAMPLE 3", "Ann", "1", "0.616"],
        &["EXAMPLE 3", "Ann", "2", "0.614"],
        &["EXAMPLE 3", "Ben", "1", "0.617"],
        &["EXAMPLE 3", "Ben", "2", "0.616"],
        &["EXAMPLE 4", "Ann", "1", "0.594"],
        &["EXAMPLE 4", "Ann", "2", "0.595"],
        &["EXAMPLE 4", "Ben", "1", "0.595"],
        &["EXAMPLE 4", "Ben", "2", "0.596"],
    ],
};

pub(super) const DRAWER: Starter = Starter {
    name: "drawer",
    about: &[
        "Pieces and sizes to pick from, for shim and stock: one row a piece or a size. The rows that say EXAMPLE are to be replaced by yours.",
        "piece: the label of a single measured piece.  size: the size on the packet; one of the two must be there.",
        "thickness: measured, or the size sold, mm.  u: standard uncertainty of a measured thickness, mm.",
        "count: how many; 0 for a size that can be ordered.  cost: of one piece.  lead_days: from order to drawer.",
    ],
    columns: &["piece", "size", "thickness", "u", "count", "cost", "lead_days"],
    rows: &[
        &["EXAMPLE S01", "", "0.147", "0.002", "1", "0.90", "14"],
        &["", "EXAMPLE 0.20", "0.20", "", "10", "0.90", "14"],
        &["", "EXAMPLE 0.30", "0.30", "", "0", "0.90", "14"],
    ],
};

pub(super) const DELIVERIES: Starter = Starter {
    name: "history",
    about: &[
        "Past deliveries, for sampling --history: one row a delivery, in the order received. The rows that say EXAMPLE are to be replaced by yours.",
        "lot: its name.  outside: how many parts of its sample were outside the limits.  lot_size: parts in the lot, where it is not --lot-size.",
    ],
    columns: &["lot", "outside", "lot_size"],
    rows: &[&["EXAMPLE 2025-01", "0", "1000"], &["EXAMPLE 2025-02", "1", "1000"], &["EXAMPLE 2025-03", "0", "800"]],
};

/// Columns whose cells are names though they may look like numbers.
const NAMES: [&str; 9] = ["engine", "valve", "feature", "event", "group", "lot", "part", "piece", "operator"];

impl Starter {
    /// The file, by its name.
    pub(super) fn bytes(&self, path: &Path) -> Result<Vec<u8>, Failure> {
        let rows: Vec<Vec<Cell>> = self.rows.iter().map(|row| self.cells(row)).collect();
        let table = table_bytes(path, self.name, self.columns, &rows)?;
        if extension(path) == "csv" {
            let about: String = self.about.iter().map(|line| format!("# {line}\n")).collect();
            return Ok([about.into_bytes(), table].concat());
        }
        let mut sheet = crate::output::table_sheet(self.name, self.columns, &rows);
        sheet.caption = self.about.join("\n");
        Ok(workbook_bytes(path, &[sheet])?)
    }

    fn cells(&self, row: &[&str]) -> Vec<Cell> {
        let cell = |(column, text): (&&str, &&str)| {
            if text.is_empty() {
                return Cell::Empty;
            }
            let is_name = NAMES.contains(column) || *column == "size";
            match (text.parse::<f64>(), packdrift_report::calendar::day(text)) {
                (Ok(number), _) if !is_name => Cell::Number(number),
                (_, Some(day)) if *column == "date" => Cell::Day(day),
                _ => Cell::Text((*text).to_owned()),
            }
        };
        self.columns.iter().zip(row).map(cell).collect()
    }
}
