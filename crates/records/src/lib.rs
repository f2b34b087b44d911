//! Files in and out: TOML, CSV, Parquet, XLSX. The one place that knows formats and line numbers.
