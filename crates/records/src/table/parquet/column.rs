//! A column of a Parquet file: its type by the format's standard (Apache Parquet, Logical Types), and its cells one after another.
//!
//! A column is read where a row has one cell at most: columns of lists, maps or groups are not. Decimals become the number nearest to what is
//! written, unsigned whole numbers are taken as such, and timestamps tell whether they have a time of day.

use parquet::basic::{ConvertedType, LogicalType, TimeUnit, Type as Physical};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::{DataType, Int96};
use parquet::errors::{ParquetError, Result};
use parquet::schema::types::ColumnDescriptor;

/// Rows decoded at a time.
const CHUNK: usize = 65_536;

/// Days from the Julian day 0, from which INT96 timestamps count, to 1970-01-01.
const JULIAN_EPOCH: i64 = 2_440_588;

/// Digits of a decimal, at most: those of sixteen bytes.
const DIGITS: i32 = 38;

/// How a stored value becomes a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoding {
    Text,
    Truth,
    Signed,
    Unsigned,
    Float,
    Half,
    /// A whole number times 10^−scale.
    Decimal(i32),
    Days,
    /// Ticks of time, so many to a day.
    Ticks(i64),
    /// The same, of an instant: counted in universal time, so that its day hangs on a zone that the file does not tell.
    Instant(i64),
    /// INT96: nanoseconds and a Julian day, an instant too.
    JulianMoment,
    /// Only empty cells.
    Nothing,
}

impl Encoding {
    pub(super) fn is_whole(self) -> bool {
        matches!(self, Self::Signed | Self::Unsigned)
    }
}

/// A cell as it is stored.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stored<'a> {
    Text(&'a str),
    Truth(bool),
    Number(f64),
    /// Days since 1970-01-01, and whether there is a time of day besides.
    Day(i32, bool),
    /// A moment in universal time that is no midnight: which day it was where it was written is not known.
    Instant,
}

/// How the column is stored, or the name of a type that is not read.
pub(super) fn encoding_of(column: &ColumnDescriptor) -> std::result::Result<Encoding, String> {
    if column.max_rep_level() > 0 || column.max_def_level() > 1 || column.path().parts().len() != 1 {
        return Err("LIST, MAP or group".into());
    }
    let physical = column.physical_type();
    if let Some(logical) = column.logical_type_ref() {
        return of_logical(logical, physical, column);
    }
    of_converted(column.converted_type(), physical, column)
}

fn of_logical(
    logical: &LogicalType,
    physical: Physical,
    column: &ColumnDescriptor,
) -> std::result::Result<Encoding, String> {
    Ok(match logical {
        LogicalType::String | LogicalType::Enum | LogicalType::Json => Encoding::Text,
        LogicalType::Decimal(_) => decimal(column)?,
        LogicalType::Date => Encoding::Days,
        LogicalType::Timestamp(of) => {
            let a_day = match of.unit {
                TimeUnit::MILLIS => 86_400_000,
                TimeUnit::MICROS => 86_400_000_000,
                TimeUnit::NANOS => 86_400_000_000_000,
            };
            if of.is_adjusted_to_u_t_c { Encoding::Instant(a_day) } else { Encoding::Ticks(a_day) }
        }
        LogicalType::Integer(of) if of.is_signed => Encoding::Signed,
        LogicalType::Integer(_) => Encoding::Unsigned,
        LogicalType::Float16 => Encoding::Half,
        LogicalType::Unknown => Encoding::Nothing,
        LogicalType::Time(_) => return Err("TIME".into()),
        _ => return Err(format!("{physical} ({logical:?})")),
    })
}

fn of_converted(
    converted: ConvertedType,
    physical: Physical,
    column: &ColumnDescriptor,
) -> std::result::Result<Encoding, String> {
    use ConvertedType as C;
    Ok(match (converted, physical) {
        (C::UTF8 | C::ENUM | C::JSON, _) => Encoding::Text,
        (C::DECIMAL, _) => decimal(column)?,
        (C::DATE, _) => Encoding::Days,
        (C::TIMESTAMP_MILLIS, _) => Encoding::Instant(86_400_000),
        (C::TIMESTAMP_MICROS, _) => Encoding::Instant(86_400_000_000),
        (C::UINT_8 | C::UINT_16 | C::UINT_32 | C::UINT_64, _) => Encoding::Unsigned,
        (C::TIME_MILLIS | C::TIME_MICROS, _) => return Err("TIME".into()),
        (_, Physical::BOOLEAN) => Encoding::Truth,
        (_, Physical::INT32 | Physical::INT64) => Encoding::Signed,
        (_, Physical::INT96) => Encoding::JulianMoment,
        (_, Physical::FLOAT | Physical::DOUBLE) => Encoding::Float,
        // Old writers name no type for text.
        (C::NONE, Physical::BYTE_ARRAY) => Encoding::Text,
        (C::NONE, _) => return Err("bytes of fixed length".into()),
        (other, _) => return Err(format!("{physical} ({other})")),
    })
}

fn decimal(column: &ColumnDescriptor) -> std::result::Result<Encoding, String> {
    if column.type_precision() > DIGITS {
        return Err(format!("DECIMAL of {} digits", column.type_precision()));
    }
    Ok(Encoding::Decimal(column.type_scale()))
}

/// The type as messages name it.
pub(super) fn shown(encoding: Encoding, column: &ColumnDescriptor) -> String {
    match encoding {
        Encoding::Text => "text".into(),
        Encoding::Decimal(_) => "DECIMAL".into(),
        Encoding::Days => "DATE".into(),
        Encoding::Ticks(_) | Encoding::Instant(_) | Encoding::JulianMoment => "TIMESTAMP".into(),
        Encoding::Half => "FLOAT16".into(),
        _ => column.physical_type().to_string(),
    }
}

/// A text that is not UTF-8, as the format has it.
#[derive(Debug, Clone, thiserror::Error)]
#[error("text of column `{column}` that is not UTF-8 (byte 0x{byte:02X})")]
pub(super) struct ForeignText {
    /// The first byte that cannot be.
    pub(super) byte: u8,
    /// The column's name, once it is known.
    pub(super) column: String,
}

impl ForeignText {
    /// The error, told in which column.
    pub(super) fn in_column(error: ParquetError, column: &str) -> ParquetError {
        match Self::of(&error) {
            Some(text) => ParquetError::External(Box::new(Self { column: column.to_owned(), ..text.clone() })),
            None => error,
        }
    }

    /// The text that an error is of.
    pub(super) fn of(error: &ParquetError) -> Option<&Self> {
        match error {
            ParquetError::External(inner) => inner.downcast_ref(),
            _ => None,
        }
    }
}

/// Hands over so many cells of a column, from where the reader stands. Returns how many there were.
pub(super) fn each_cell(
    reader: &mut ColumnReader,
    encoding: Encoding,
    rows: usize,
    each: &mut dyn FnMut(Option<Stored<'_>>),
) -> Result<usize> {
    let mut read = 0;
    while read < rows {
        let chunk = CHUNK.min(rows - read);
        let more = match reader {
            ColumnReader::BoolColumnReader(r) => decode(r, chunk, each, |x| Ok(Stored::Truth(*x))),
            ColumnReader::Int32ColumnReader(r) => decode(r, chunk, each, |x| of_i32(*x, encoding)),
            ColumnReader::Int64ColumnReader(r) => decode(r, chunk, each, |x| of_i64(*x, encoding)),
            ColumnReader::Int96ColumnReader(r) => decode(r, chunk, each, |x| Ok(of_int96(x))),
            ColumnReader::FloatColumnReader(r) => decode(r, chunk, each, |x| Ok(Stored::Number(shortest(*x)))),
            ColumnReader::DoubleColumnReader(r) => decode(r, chunk, each, |x| Ok(Stored::Number(*x))),
            ColumnReader::ByteArrayColumnReader(r) => decode(r, chunk, each, |x| of_bytes(x.data(), encoding)),
            ColumnReader::FixedLenByteArrayColumnReader(r) => decode(r, chunk, each, |x| of_bytes(x.data(), encoding)),
        }?;
        if more == 0 {
            break;
        }
        read += more;
    }
    Ok(read)
}

fn decode<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    rows: usize,
    each: &mut dyn FnMut(Option<Stored<'_>>),
    convert: impl Fn(&T::T) -> Result<Stored<'_>>,
) -> Result<usize> {
    let (mut levels, mut values) = (Vec::new(), Vec::new());
    let (read, ..) = reader.read_records(rows, Some(&mut levels), None, &mut values)?;
    if levels.is_empty() {
        for value in &values {
            each(Some(convert(value)?));
        }
        return Ok(read);
    }
    let mut values = values.iter();
    for level in levels {
        let value = if level > 0 { values.next() } else { None };
        each(value.map(&convert).transpose()?);
    }
    Ok(read)
}

/// The number that a writer of single precision meant: the shortest decimal that is this one. A limit of 0.4 is then met as it is in every other format.
fn shortest(x: f32) -> f64 {
    x.to_string().parse().unwrap_or_else(|_| f64::from(x))
}

fn of_i32(x: i32, encoding: Encoding) -> Result<Stored<'static>> {
    match encoding {
        Encoding::Days => Ok(Stored::Day(x, false)),
        Encoding::Unsigned => Ok(Stored::Number(f64::from(x.cast_unsigned()))),
        _ => of_i64(i64::from(x), encoding),
    }
}

fn of_i64(x: i64, encoding: Encoding) -> Result<Stored<'static>> {
    Ok(match encoding {
        Encoding::Signed => Stored::Number(x as f64),
        Encoding::Unsigned => Stored::Number(x.cast_unsigned() as f64),
        Encoding::Decimal(scale) => Stored::Number(scaled(i128::from(x), scale)),
        Encoding::Ticks(a_day) => Stored::Day(day(x.div_euclid(a_day))?, x.rem_euclid(a_day) != 0),
        Encoding::Instant(a_day) if x.rem_euclid(a_day) != 0 => Stored::Instant,
        Encoding::Instant(a_day) => Stored::Day(day(x.div_euclid(a_day))?, false),
        _ => return Err(ParquetError::General("whole numbers where its type says there are none".into())),
    })
}

fn of_int96(x: &Int96) -> Stored<'static> {
    let [low, high, julian] = [0, 1, 2].map(|k| x.data().get(k).copied().unwrap_or_default());
    if low != 0 || high != 0 {
        return Stored::Instant;
    }
    Stored::Day((i64::from(julian) - JULIAN_EPOCH) as i32, false)
}

fn of_bytes(x: &[u8], encoding: Encoding) -> Result<Stored<'_>> {
    match encoding {
        Encoding::Text => {
            let foreign = |error: std::str::Utf8Error| {
                let byte = x.get(error.valid_up_to()).copied().unwrap_or_default();
                ParquetError::External(Box::new(ForeignText { byte, column: String::new() }))
            };
            std::str::from_utf8(x).map(Stored::Text).map_err(foreign)
        }
        Encoding::Half => {
            let bits =
                x.try_into().map_err(|_| ParquetError::General("a half-precision number not of two bytes".into()))?;
            Ok(Stored::Number(half(u16::from_le_bytes(bits))))
        }
        Encoding::Decimal(scale) => Ok(Stored::Number(scaled(big_endian(x)?, scale))),
        _ => Err(ParquetError::General("bytes where its type says there are none".into())),
    }
}

fn day(days: i64) -> Result<i32> {
    i32::try_from(days).map_err(|_| ParquetError::General("a timestamp beyond every calendar".into()))
}

/// Two's complement, the most significant byte first.
fn big_endian(bytes: &[u8]) -> Result<i128> {
    if bytes.len() > 16 {
        return Err(ParquetError::General("a decimal of more than 16 bytes".into()));
    }
    let negative = bytes.first().is_some_and(|b| b & 0x80 != 0);
    let fill = if negative { 0xff } else { 0 };
    let mut wide = [fill; 16];
    wide[16 - bytes.len()..].copy_from_slice(bytes);
    Ok(i128::from_be_bytes(wide))
}

/// The number nearest to unscaled · 10^−scale.
fn scaled(unscaled: i128, scale: i32) -> f64 {
    // The standard library's parser rounds to nearest.
    format!("{unscaled}e{}", -i64::from(scale)).parse().unwrap_or(f64::NAN)
}

/// A number of half precision (IEEE 754 binary16).
fn half(bits: u16) -> f64 {
    let sign = if bits & 0x8000 == 0 { 1.0 } else { -1.0 };
    let (exponent, fraction) = (i32::from(bits >> 10 & 0x1f), f64::from(bits & 0x3ff));
    sign * match exponent {
        0 => fraction * 2.0_f64.powi(-24),
        31 if fraction == 0.0 => f64::INFINITY,
        31 => f64::NAN,
        _ => (1.0 + fraction / 1024.0) * 2.0_f64.powi(exponent - 15),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_the_nearest_number() {
        for (unscaled, scale, expected) in [
            (401, 3, 0.401),
            (-5, 1, -0.5),
            (12_345_678_901_234_567_890_123, 20, 123.456_789_012_345_68),
            (7, -2, 700.0),
        ] {
            assert_eq!(scaled(unscaled, scale), expected);
        }
        assert_eq!(big_endian(&[0xff, 0x38]).unwrap(), -200);
        assert_eq!(big_endian(&[0x01, 0x91]).unwrap(), 401);
        assert_eq!(big_endian(&[]).unwrap(), 0);
        assert!(big_endian(&[0; 17]).is_err());
    }

    /// IEEE 754, table of binary16: smallest, largest, one third.
    #[test]
    fn halves_are_as_the_standard_has_them() {
        for (bits, expected) in [
            (0x0001, 5.960_464_477_539_063e-8),
            (0x7bff, 65504.0),
            (0x3555, 0.333_251_953_125),
            (0xc000, -2.0),
            (0x8000, 0.0),
        ] {
            assert_eq!(half(bits), expected);
        }
        assert!(half(0x7c01).is_nan() && half(0xfc00) == f64::NEG_INFINITY);
    }

    #[test]
    fn moments_before_1970_fall_on_their_day() {
        assert_eq!(of_i64(-1, Encoding::Ticks(86_400_000)).unwrap(), Stored::Day(-1, true));
        assert_eq!(of_i64(-86_400_000, Encoding::Ticks(86_400_000)).unwrap(), Stored::Day(-1, false));
        assert_eq!(of_int96(&Int96::from(vec![0, 0, 2_440_589])), Stored::Day(1, false));
        assert!(of_i64(i64::MAX, Encoding::Ticks(1)).is_err());
    }
}
