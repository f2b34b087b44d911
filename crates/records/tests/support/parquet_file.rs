//! Parquet files of texts and numbers, written by the format's own library.
#![allow(unreachable_pub, reason = "the test files beside take what they need of these")]

use parquet::basic::{ConvertedType, Repetition, Type};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type as Field;
use std::path::Path;
use std::sync::Arc;

/// A column's cells; none is null.
pub enum Cells {
    Texts(Vec<Option<String>>),
    Numbers(Vec<Option<f64>>),
}

/// Definition levels and the cells that are there.
fn apart<T: Clone, U>(cells: &[Option<T>], stored: impl Fn(T) -> U) -> (Vec<i16>, Vec<U>) {
    let levels = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
    (levels, cells.iter().flatten().cloned().map(stored).collect())
}

/// Writes a table of one row group.
pub fn write_parquet(path: &Path, columns: &[(String, Cells)]) {
    let fields = columns.iter().map(|(name, cells)| {
        let (physical, converted) = match cells {
            Cells::Texts(_) => (Type::BYTE_ARRAY, ConvertedType::UTF8),
            Cells::Numbers(_) => (Type::DOUBLE, ConvertedType::NONE),
        };
        let field = Field::primitive_type_builder(name, physical).with_repetition(Repetition::OPTIONAL);
        Arc::new(field.with_converted_type(converted).build().unwrap())
    });
    let schema = Field::group_type_builder("table").with_fields(fields.collect()).build().unwrap();
    let file = std::fs::File::create(path).unwrap();
    let mut writer = SerializedFileWriter::new(file, Arc::new(schema), Arc::default()).unwrap();
    let mut group = writer.next_row_group().unwrap();
    for (_, cells) in columns {
        let mut column = group.next_column().unwrap().unwrap();
        match cells {
            Cells::Texts(cells) => {
                let (levels, cells) = apart(cells, |text| ByteArray::from(text.as_str()));
                column.typed::<ByteArrayType>().write_batch(&cells, Some(&levels), None).unwrap();
            }
            Cells::Numbers(cells) => {
                let (levels, cells) = apart(cells, |number| number);
                column.typed::<DoubleType>().write_batch(&cells, Some(&levels), None).unwrap();
            }
        }
        column.close().unwrap();
    }
    group.close().unwrap();
    writer.close().unwrap();
}
