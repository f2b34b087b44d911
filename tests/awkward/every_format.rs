//! One table of tests: every table that the program reads, in every format, written as a shop writes it. What is read is the same in all.

use crate::parquet_file::{Cells, write_parquet};
use crate::tidied;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use std::path::Path;

/// A table as docs/files.md has it, and the headings that a shop gives its columns.
struct Table {
    truth: &'static str,
    headings: &'static [&'static str],
    /// Columns that hold numbers.
    numbers: &'static [&'static str],
}

const TABLES: [Table; 5] = [
    Table {
        truth: "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-03,1883.5,contact_offset,1.03,\nE1,1 intake,2024-07-03,1883.5,contact_offset,0.97,reshim\n",
        headings: &[
            "Engine No.",
            "Valve name",
            "Inspection date",
            "RUNNING HOURS (h)",
            "Feature",
            "Value (mm)",
            "Event",
        ],
        numbers: &["hours", "value"],
    },
    Table {
        truth: "lot,part,reading,nominal,lower,upper\nA,001,0.601,0.6,0.57,0.63\nA,002,0.598,0.6,0.57,0.63\n",
        headings: &["Packet", "Part No.", "Measured (mm)", "Nominal size (mm)", "Lower limit", "Limit, upper"],
        numbers: &["reading", "nominal", "lower", "upper"],
    },
    Table {
        truth: "part,reading,operator,trial\n01,0.157,Ann,1\n01,0.158,Ben,1\n01,0.157,Ann,2\n01,0.159,Ben,2\n",
        headings: &["Part number", "Reading [mm]", "Measured by", "Repeat"],
        numbers: &["reading", "trial"],
    },
    Table {
        truth: "piece,size,thickness,u,count,cost,lead_days\nS01,,0.147,0.002,1,0.9,14\n,shim 0.20,0.2,,10,1.25,7\n",
        headings: &["Label", "Packet size", "THICKNESS (mm)", "Uncertainty", "Qty", "Unit price", "Lead time (days)"],
        numbers: &["thickness", "u", "count", "cost", "lead_days"],
    },
    Table {
        truth: "lot,outside,lot_size\n2024-A,0,1200\n2024-B,2,800\n",
        headings: &["Delivery", "Parts outside", "Parts in lot"],
        numbers: &["outside", "lot_size"],
    },
];

impl Table {
    fn columns(&self) -> Vec<&'static str> {
        self.truth.lines().next().unwrap().split(',').collect()
    }

    fn rows(&self) -> Vec<Vec<&'static str>> {
        self.truth.lines().skip(1).map(|line| line.split(',').collect()).collect()
    }

    fn is_number(&self, column: &str) -> bool {
        self.numbers.contains(&column)
    }

    /// Headings of the shop's own, a column of remarks, dates with the day first and a time, under a decimal sign.
    fn text(&self, separator: char, decimal: char) -> String {
        let mut lines = vec![[self.headings, &["Remarks"]].concat().join(&separator.to_string())];
        let cell = |(column, cell): (&&str, &&str)| {
            if self.is_number(column) {
                return cell.replace('.', &decimal.to_string());
            }
            match cell.split('-').collect::<Vec<_>>()[..] {
                [year, month, day] if *column == "date" => format!("{day}/{month}/{year} 08:30"),
                _ => (*cell).to_owned(),
            }
        };
        for row in self.rows() {
            let mut cells: Vec<String> = self.columns().iter().zip(&row).map(cell).collect();
            cells.push("looked at".to_owned());
            lines.push(cells.join(&separator.to_string()));
        }
        // A heading with a comma stands in quotes.
        let quoted =
            |line: String| if separator == ',' { line.replace("Limit, upper", "\"Limit, upper\"") } else { line };
        lines.into_iter().map(|line| quoted(line) + "\n").collect()
    }

    fn xlsx(&self, path: &Path) {
        let mut workbook = Workbook::new();
        let moment = Format::new().set_num_format("dd/mm/yyyy hh:mm");
        let sheet = workbook.add_worksheet();
        sheet.write_string(0, 0, "Workshop 3").unwrap();
        for (column, heading) in (0..).zip([self.headings, &["Remarks"]].concat()) {
            sheet.write_string(2, column, heading).unwrap();
        }
        for (row, cells) in (3..).zip(self.rows()) {
            for ((at, column), cell) in (0..).zip(self.columns()).zip(&cells).filter(|(_, cell)| !cell.is_empty()) {
                if self.is_number(column) {
                    sheet.write_number(row, at, cell.parse::<f64>().unwrap()).unwrap();
                } else if column == "date" {
                    let date = ExcelDateTime::parse_from_str(&format!("{cell}T08:30:00")).unwrap();
                    sheet.write_datetime_with_format(row, at, date, &moment).unwrap();
                } else {
                    sheet.write_string(row, at, *cell).unwrap();
                }
            }
        }
        workbook.save(path).unwrap();
    }

    fn parquet(&self, path: &Path) {
        let rows = self.rows();
        let mut columns = Vec::new();
        for ((at, column), heading) in self.columns().into_iter().enumerate().zip(self.headings) {
            let cells = rows.iter().map(|row| Some(row[at]).filter(|cell| !cell.is_empty()));
            let cells = if self.is_number(column) {
                Cells::Numbers(cells.map(|cell| cell.map(|c| c.parse().unwrap())).collect())
            } else if column == "date" {
                Cells::Texts(cells.map(|cell| Some(format!("{} 08:30:00", cell.unwrap()))).collect())
            } else {
                Cells::Texts(cells.map(|cell| cell.map(str::to_owned)).collect())
            };
            columns.push(((*heading).to_owned(), cells));
        }
        columns.push(("Remarks".to_owned(), Cells::Texts(vec![Some("looked at".to_owned()); rows.len()])));
        write_parquet(path, &columns);
    }
}

#[test]
fn every_table_is_read_in_every_format_as_a_shop_writes_it() {
    let mut wrong = String::new();
    for table in &TABLES {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("table");
        // Of the first table 15 is no month; of the others no date is to be told.
        let text = |separator, decimal| std::fs::write(&path, table.text(separator, decimal)).unwrap();
        let formats: [(&str, &dyn Fn()); 6] = [
            ("commas", &|| text(',', '.')),
            ("semicolons", &|| text(';', ',')),
            ("semicolons and points", &|| text(';', '.')),
            ("tabs", &|| text('\t', ',')),
            ("XLSX", &|| table.xlsx(&path)),
            ("Parquet", &|| table.parquet(&path)),
        ];
        for (format, write) in formats {
            write();
            match tidied(folder.path(), &[]) {
                Ok(read) if read == table.truth => {}
                Ok(read) => wrong.push_str(&format!("{format}: READ WRONG:\n{read}instead of\n{}", table.truth)),
                Err(said) => wrong.push_str(&format!("{format}: refused:\n{said}for\n{}", table.truth)),
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}
