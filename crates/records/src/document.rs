//! A TOML file walked by hand: every value keeps its place, every key that is read is noted, and what no one read is
//! reported with the nearest key that someone would have. All mistakes of a file are collected before it is refused.
//!
//! Derived readers lose the places of values inside flattened or untagged types, and stop at the first mistake; hence this one.

use crate::brackets;
use crate::error::{Error, Fault, FaultKind, InputError, Place};
use crate::limits::{LETTERS, TABLES, TOML_BYTES, exceeded, mebibytes};
use crate::loaded::Loaded;
use crate::outside;
use crate::source::Source;
use crate::suggest;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A file's text and the mistakes found in it so far.
pub(crate) struct Document {
    path: Arc<Path>,
    text: Arc<str>,
    line_starts: Vec<usize>,
    faults: RefCell<Vec<Fault>>,
    /// Where the text that is parsed has a bracket more than the file.
    put_in: RefCell<Vec<usize>>,
}

/// The bytes of the text that something stands at.
pub(crate) type Span = Range<usize>;

impl Document {
    pub(crate) fn new(source: &Source) -> Result<Self, InputError> {
        if source.bytes().len() > TOML_BYTES {
            let found = format!("a TOML file of {}", mebibytes(source.bytes().len() as u64));
            let limit = format!("at most {}", mebibytes(TOML_BYTES as u64));
            return Err(exceeded(source.path(), Place::File, found, limit));
        }
        let text: Arc<str> = source.text()?.into();
        let line_starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Ok(Self {
            path: source.path().clone(),
            text,
            line_starts,
            faults: RefCell::default(),
            put_in: RefCell::default(),
        })
    }

    pub(crate) fn path(&self) -> &Arc<Path> {
        &self.path
    }

    /// The text with a point for each decimal comma, and with double brackets where single ones are meant so; both are noted: one of them makes
    /// many a mistake for a parser, and is one. Places of this text are carried back when they are told.
    pub(crate) fn text_to_parse(&self) -> String {
        let mut text = self.with_double_brackets();
        loop {
            let (_, errors) = DeTable::parse_recoverable(&text);
            let mut lines: Vec<Span> =
                errors.iter().map(|error| line_around(&text, error.span().map_or(0, |span| span.start))).collect();
            lines.dedup();
            let in_line = |line: Span| {
                let commas = decimal_commas(&text[line.clone()]);
                commas.into_iter().map(move |comma| line.start + comma.start..line.start + comma.end)
            };
            let mut commas: Vec<Span> = lines.into_iter().flat_map(in_line).collect();
            commas.sort_by_key(|comma| comma.start);
            commas.dedup();
            if commas.is_empty() {
                return text;
            }
            for comma in commas {
                let written = text[comma.clone()].to_owned();
                let pointed = written.replace(',', ".");
                let expected = "a number with a decimal point";
                let report = self.report(FaultKind::DecimalComma, comma.clone(), "", written.as_str(), expected);
                report.help(crate::cell::comma_meant(&written, &pointed)).done();
                text.replace_range(comma, &pointed);
            }
        }
    }

    /// The text with double brackets for `[bay.part]` and the like. Of each name one mistake is noted, however many headings it has.
    fn with_double_brackets(&self) -> String {
        let singles = brackets::singles(&self.text);
        let mut by_name: BTreeMap<&str, (Span, usize)> = BTreeMap::new();
        for single in &singles {
            by_name.entry(&single.name).or_insert_with(|| (single.span.clone(), 0)).1 += 1;
        }
        for (name, (span, count)) in by_name {
            let header = &self.text[span.clone()];
            let all = match count {
                1 => String::new(),
                2 => ", here and in the other heading that is written so".to_owned(),
                all => format!(", here and in the {} other headings that are written so", all - 1),
            };
            let found = format!("the table {header}");
            let kind = FaultKind::WrongType;
            self.report(kind, span, name, found, "a list of tables")
                .help(format!("double the brackets: [{header}]{all}"))
                .done();
        }
        let (text, put_in) = brackets::doubled(&self.text, &singles);
        self.put_in.replace(put_in);
        text
    }

    /// A place of the parsed text in the file.
    fn as_written(&self, span: &Span) -> Span {
        let put_in = self.put_in.borrow();
        brackets::as_written(&put_in, span.start)..brackets::as_written(&put_in, span.end)
    }

    /// Parses `text` (from [`Document::text_to_parse`], held apart so that the tree may borrow it) and notes what is not TOML.
    pub(crate) fn parse<'t>(&self, text: &'t str) -> Spanned<DeTable<'t>> {
        let (table, errors) = DeTable::parse_recoverable(text);
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            if error.message().contains("duplicate key") {
                let name = text.get(span.clone()).unwrap_or_default();
                let found = format!("`{name}` a second time");
                self.report(FaultKind::DuplicateName, span, "", found, "each key once").done();
            } else {
                let found = format!("text that is not TOML ({})", error.message());
                self.report(FaultKind::Syntax, span, "", found, "TOML, such as `key = 1.0` or `[table]`").done();
            }
        }
        table
    }

    pub(crate) fn root<'d>(&'d self, table: &'d Spanned<DeTable<'d>>) -> Section<'d> {
        Section { document: self, table: table.get_ref(), span: 0..0, path: String::new(), known: RefCell::default() }
    }

    /// Line and column from 1; the column in characters.
    fn place(&self, span: Span) -> Place {
        let line = self.line_starts.partition_point(|&start| start <= span.start).max(1);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let column = 1 + self.text.get(start..span.start).unwrap_or_default().chars().count();
        Place::Text { line, column, span: Some(span) }
    }

    /// Begins the report of a mistake; [`Report::done`] ends it.
    pub(crate) fn report(
        &self,
        kind: FaultKind,
        span: Span,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Report<'_> {
        let span = self.as_written(&span);
        let end = span.end.min(self.text.len());
        let span = span.start.min(end)..end;
        let mut fault = Fault::new(kind, self.path.clone(), self.place(span), found, expected).with_key(key);
        fault.text = Some(self.text.clone());
        Report { document: self, fault }
    }

    /// Takes mistakes found in another file that this one names.
    pub(crate) fn adopt(&self, faults: impl IntoIterator<Item = Fault>) {
        self.faults.borrow_mut().extend(faults);
    }

    pub(crate) fn is_sound(&self) -> bool {
        self.faults.borrow().is_empty()
    }

    /// Ends the reading: the value if nothing was wrong, else everything that was, in the order of the file.
    pub(crate) fn conclude<T>(self, value: Option<T>) -> Result<T, Error> {
        let mut faults = self.faults.into_inner();
        if faults.is_empty()
            && let Some(value) = value
        {
            return Ok(value);
        }
        leave_out_consequences(&self.path, &mut faults);
        faults.sort_by_key(|fault| (fault.path != self.path, fault.place.line(), fault.place.column()));
        faults.dedup();
        Err(InputError::of(faults).into())
    }
}

/// Where the text itself (not that of a file it names) is broken, what is missing or unknown may be only what the parser could not make out, and what is
/// wrong on the same line surely is.
fn leave_out_consequences(path: &Arc<Path>, faults: &mut Vec<Fault>) {
    // A number with a decimal comma was read with a point, and is told of once.
    let commas: Vec<Place> =
        faults.iter().filter(|fault| fault.kind == FaultKind::DecimalComma).map(|fault| fault.place.clone()).collect();
    faults.retain(|fault| fault.kind == FaultKind::DecimalComma || !commas.contains(&fault.place));
    let broken: Vec<_> = faults
        .iter()
        .filter(|fault| fault.kind == FaultKind::Syntax && fault.path == *path)
        .map(|fault| fault.place.line())
        .collect();
    if !broken.is_empty() {
        faults.retain(|fault| match fault.kind {
            FaultKind::Syntax => true,
            // A file that this one names is as sound as it was.
            _ if fault.path != *path => true,
            FaultKind::MissingKey | FaultKind::UnknownName => false,
            _ => !broken.contains(&fault.place.line()),
        });
    }
}

/// A mistake about to be noted.
#[must_use]
pub(crate) struct Report<'d> {
    document: &'d Document,
    fault: Fault,
}

impl Report<'_> {
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.fault.help = Some(help.into());
        self
    }

    /// Says what was found in other words than the file's.
    pub(crate) fn found(mut self, found: impl Into<String>) -> Self {
        self.fault.found = found.into();
        self
    }

    pub(crate) fn help_if(mut self, help: Option<String>) -> Self {
        self.fault.help = help.or(self.fault.help);
        self
    }

    pub(crate) fn done(self) {
        self.document.faults.borrow_mut().push(self.fault);
    }
}

/// A table of the file.
pub(crate) struct Section<'d> {
    document: &'d Document,
    table: &'d DeTable<'d>,
    span: Span,
    path: String,
    known: RefCell<Vec<&'static str>>,
}

/// A value and its place.
#[derive(Debug, Clone)]
pub(crate) struct At<T> {
    pub(crate) value: T,
    pub(crate) span: Span,
    pub(crate) key: String,
}

impl<T> At<T> {
    pub(crate) fn map<U>(self, f: impl FnOnce(T) -> U) -> At<U> {
        At { value: f(self.value), span: self.span, key: self.key }
    }
}

impl<'d> Section<'d> {
    pub(crate) fn document(&self) -> &'d Document {
        self.document
    }

    pub(crate) fn span(&self) -> Span {
        self.span.clone()
    }

    pub(crate) fn path(&self) -> &str {
        &self.path
    }

    /// Names the section in messages (`middle/left shim`) once its own name is known.
    pub(crate) fn rename(&mut self, path: String) {
        self.path = path;
    }

    /// The same section under another name; what was read through either counts for that one only.
    pub(crate) fn renamed(&self, path: String) -> Self {
        Section { path, known: RefCell::default(), span: self.span(), ..*self }
    }

    fn key_path(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    /// Whether the key is there; it counts as known.
    pub(crate) fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    pub(crate) fn get(&self, key: &'static str) -> Option<Item<'d>> {
        self.known.borrow_mut().push(key);
        let (found, value) = self.table.get_key_value(key)?;
        Some(Item { document: self.document, key_span: found.span(), value, key: self.key_path(key) })
    }

    /// As [`Section::get`], but its absence is a mistake.
    pub(crate) fn require(&self, key: &'static str, expected: &str) -> Option<Item<'d>> {
        let item = self.get(key);
        if item.is_none() {
            self.missing(key, expected).done();
        }
        item
    }

    pub(crate) fn missing(&self, key: &str, expected: &str) -> Report<'d> {
        let found = format!("no `{key}`");
        self.document.report(FaultKind::MissingKey, self.span(), self.key_path(key), found, expected)
    }

    /// All entries under names the user chose, in the order of the file.
    pub(crate) fn named_entries(&self) -> Vec<(String, Item<'d>)> {
        let mut entries: Vec<_> = self
            .table
            .iter()
            .map(|(name, value)| {
                let key = self.key_path(name.get_ref());
                let item = Item { document: self.document, key_span: name.span(), value, key };
                (name.get_ref().to_string(), item)
            })
            .collect();
        entries.sort_by_key(|(_, item)| item.key_span.start.max(item.value.span().start));
        entries
    }

    /// Reports the keys no one asked for, each with the nearest one that someone did.
    pub(crate) fn finish(self) {
        let known = self.known.borrow();
        for name in self.table.keys() {
            let name_text: &str = name.get_ref();
            if known.contains(&name_text) {
                continue;
            }
            let mut candidates: Vec<&str> = known.clone();
            candidates.sort_unstable();
            candidates.dedup();
            let table = if self.path.is_empty() { "the file".to_owned() } else { format!("`{}`", self.path) };
            let help = suggest::did_you_mean(name_text, &candidates, "known here");
            let expected = format!("a key that {table} can have");
            self.document
                .report(
                    FaultKind::UnknownKey,
                    name.span(),
                    self.key_path(name_text),
                    format!("the unknown key `{name_text}`"),
                    expected,
                )
                .help_if(help)
                .done();
        }
    }
}

/// A key and its value, of whatever type.
pub(crate) struct Item<'d> {
    document: &'d Document,
    key_span: Span,
    value: &'d Spanned<DeValue<'d>>,
    key: String,
}

impl<'d> Item<'d> {
    pub(crate) fn span(&self) -> Span {
        self.value.span()
    }

    pub(crate) fn key(&self) -> &str {
        &self.key
    }

    /// What `read` makes of the file that this item names, relative to the document's own folder; its mistakes join the document's.
    pub(crate) fn named_file<T>(
        &self,
        name: &str,
        read: impl FnOnce(&Path) -> Result<Loaded<T>, Error>,
    ) -> Option<Loaded<T>> {
        let folder = self.document.path.parent().unwrap_or(Path::new(""));
        let path = folder.join(name);
        if !outside::is_allowed(&path, folder) {
            let help = "copy the file there, or say --allow-outside if you trust the one who wrote this";
            self.refuse(FaultKind::OutsideFolder, "a file in this file's own folder or below it").help(help).done();
            return None;
        }
        match read(&path) {
            Ok(loaded) => Some(loaded),
            Err(Error::Input(error)) => {
                self.document.adopt(error.faults);
                None
            }
            Err(other) => {
                self.refuse(FaultKind::NoSuchFile, "a file that can be read").help(other.to_string()).done();
                None
            }
        }
    }

    pub(crate) fn is_text(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::String(_))
    }

    pub(crate) fn is_table(&self) -> bool {
        self.value.get_ref().is_table()
    }

    fn at<T>(&self, value: T) -> At<T> {
        At { value, span: self.span(), key: self.key.clone() }
    }

    /// How the value looks in the file, cut short.
    fn shown(&self) -> String {
        let text = self.document.text.get(self.document.as_written(&self.span())).unwrap_or_default();
        shortened(text)
    }

    pub(crate) fn refuse(&self, kind: FaultKind, expected: impl Into<String>) -> Report<'d> {
        self.document.report(kind, self.span(), self.key.clone(), self.shown(), expected)
    }

    fn wrong_type(&self, expected: &str) -> Report<'d> {
        let found = format!("{} {}", article(self.value.get_ref().type_str()), self.shown());
        self.document.report(FaultKind::WrongType, self.span(), self.key.clone(), found, expected)
    }

    /// A finite number, as it is written (without `_`), so that inches can be converted exactly.
    pub(crate) fn literal(&self) -> Option<At<String>> {
        let literal = match self.value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().to_owned(),
            DeValue::Float(float) => float.as_str().to_owned(),
            DeValue::Integer(_) => {
                self.wrong_type("a decimal number").done();
                return None;
            }
            DeValue::String(text) => {
                let report = self.wrong_type("a number");
                let help = number_help(text);
                report.help_if(help).done();
                return None;
            }
            _ => {
                self.wrong_type("a number").done();
                return None;
            }
        };
        match literal.parse::<f64>() {
            Ok(number) if number.is_finite() => Some(self.at(literal)),
            _ => {
                self.refuse(FaultKind::NotFinite, "a finite number").done();
                None
            }
        }
    }

    pub(crate) fn number(&self) -> Option<At<f64>> {
        let literal = self.literal()?;
        let number = literal.value.parse::<f64>().ok()?;
        Some(self.at(number))
    }

    /// A whole number from `least` up.
    pub(crate) fn count(&self, least: u32) -> Option<At<u32>> {
        let DeValue::Integer(integer) = self.value.get_ref() else {
            self.wrong_type("a whole number").done();
            return None;
        };
        match integer.as_str().parse::<u32>() {
            Ok(count) if count >= least && integer.radix() == 10 => Some(self.at(count)),
            _ => {
                self.refuse(FaultKind::OutOfRange, format!("a whole number from {least} up")).done();
                None
            }
        }
    }

    /// Text that is not blank.
    pub(crate) fn text(&self) -> Option<At<String>> {
        match self.value.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => {
                self.refuse(FaultKind::OutOfRange, "text that is not empty").done();
                None
            }
            DeValue::String(text) if text.chars().nth(LETTERS).is_some() => {
                self.refuse(FaultKind::TooLarge, format!("text of at most {LETTERS} letters")).done();
                None
            }
            DeValue::String(text) => Some(self.at(text.trim().to_owned())),
            DeValue::Integer(_) | DeValue::Float(_) => {
                let help = format!("put it in quotes: \"{}\"", self.shown());
                self.wrong_type("text in quotes").help(help).done();
                None
            }
            _ => {
                self.wrong_type("text in quotes").done();
                None
            }
        }
    }

    /// One of a few words.
    pub(crate) fn word<T: Copy>(&self, words: &[(&str, T)]) -> Option<At<T>> {
        let text = self.text()?;
        if let Some((_, value)) = words.iter().find(|(word, _)| *word == text.value) {
            return Some(self.at(*value));
        }
        let names: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let help = suggest::nearest(&text.value, names.iter().copied()).map(|near| format!("did you mean \"{near}\"?"));
        let expected = format!("one of {}", suggest::listed(&names));
        self.refuse(FaultKind::UnknownName, expected).help_if(help).done();
        None
    }

    /// A day, as TOML's own date or as text.
    pub(crate) fn date(&self) -> Option<At<i32>> {
        let written = match self.value.get_ref() {
            DeValue::Datetime(moment) => moment.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => {
                self.wrong_type("a date such as 2027-03-01").done();
                return None;
            }
        };
        match crate::cell::day(written.trim()) {
            Ok(day) => Some(self.at(day)),
            Err(trouble) => {
                self.refuse(trouble.kind, trouble.expected).help_if(trouble.help).done();
                None
            }
        }
    }

    pub(crate) fn section(&self) -> Option<Section<'d>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            self.wrong_type("a table").done();
            return None;
        };
        Some(Section {
            document: self.document,
            table,
            span: self.span(),
            path: self.key.clone(),
            known: RefCell::default(),
        })
    }

    /// The elements of an array.
    pub(crate) fn elements(&self, expected: &str) -> Option<Vec<Item<'d>>> {
        let DeValue::Array(array) = self.value.get_ref() else {
            self.wrong_type(expected).done();
            return None;
        };
        let elements = array.iter().enumerate().map(|(index, value)| Item {
            document: self.document,
            key_span: self.key_span.clone(),
            value,
            key: format!("{}[{}]", self.key, index + 1),
        });
        Some(elements.collect())
    }

    /// The tables of `[[key]]`.
    pub(crate) fn sections(&self) -> Vec<Section<'d>> {
        self.sections_at_most(TABLES)
    }

    /// The tables of `[[key]]`, none where there are more than `limit`.
    pub(crate) fn sections_at_most(&self, limit: usize) -> Vec<Section<'d>> {
        if let DeValue::Table(_) = self.value.get_ref() {
            // As it stands there: `[bay.part]`.
            let header = self.shown();
            let name = self.key.rsplit('.').next().unwrap_or(&self.key);
            let help = match header.strip_prefix('[').and_then(|header| header.strip_suffix(']')) {
                Some(header) if !header.starts_with('[') => format!("double the brackets: [[{header}]]"),
                _ => format!("double the brackets: [[{name}]]"),
            };
            self.wrong_type("a list of tables").help(help).done();
            return Vec::new();
        }
        let elements = self.elements("a list of tables").unwrap_or_default();
        if elements.len() > limit {
            let help = "docs/files.md lists all limits";
            let report = self.refuse(FaultKind::TooLarge, format!("at most {limit} of them"));
            report.found(format!("{} tables `{}`", elements.len(), self.key)).help(help).done();
            return Vec::new();
        }
        elements.iter().filter_map(Item::section).collect()
    }
}

/// The line in which a place lies.
fn line_around(text: &str, at: usize) -> Span {
    let at = at.min(text.len());
    let start = text.get(..at).and_then(|before| before.rfind('\n')).map_or(0, |newline| newline + 1);
    let end = text.get(at..).and_then(|after| after.find('\n')).map_or(text.len(), |newline| at + newline);
    start..end
}

/// Bytes of a power of ten at the beginning: `e-6`.
fn power_of_ten(bytes: &[u8]) -> usize {
    let [b'e' | b'E', rest @ ..] = bytes else { return 0 };
    let sign = usize::from(rest.first().is_some_and(|byte| matches!(byte, b'+' | b'-')));
    let digits = rest[sign..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    if digits == 0 { 0 } else { 1 + sign + digits }
}

/// The numbers with a comma between their digits, outside quotes, lists and comments: `52,00`.
fn decimal_commas(line: &str) -> Vec<Span> {
    let mut commas = Vec::new();
    let bytes = line.as_bytes();
    let (mut quote, mut lists, mut at) = (None, 0_usize, 0);
    while at < bytes.len() {
        let byte = bytes[at];
        match quote {
            Some(sign) if byte == sign => quote = None,
            Some(_) => {}
            None => match byte {
                b'"' | b'\'' => quote = Some(byte),
                b'#' => break,
                b'[' => lists += 1,
                b']' => lists = lists.saturating_sub(1),
                b'0'..=b'9' if lists == 0 => {
                    let digits =
                        |from: usize| from + bytes[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
                    let alone = at == 0
                        || !(bytes[at - 1].is_ascii_alphanumeric() || matches!(bytes[at - 1], b'_' | b'.' | b','));
                    let whole = digits(at);
                    if alone && bytes.get(whole) == Some(&b',') && bytes.get(whole + 1).is_some_and(u8::is_ascii_digit)
                    {
                        let mantissa = digits(whole + 1);
                        let end = mantissa + power_of_ten(&bytes[mantissa..]);
                        let more = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
                        let goes_on = bytes.get(end).is_some_and(|byte| {
                            byte.is_ascii_alphanumeric()
                                || matches!(byte, b'.' | b'_')
                                || (*byte == b',' && more(end + 1))
                        });
                        if !goes_on {
                            commas.push(at..end);
                            at = end;
                            continue;
                        }
                    }
                    at = whole;
                    continue;
                }
                _ => {}
            },
        }
        at += 1;
    }
    commas
}

fn article(type_name: &str) -> String {
    match type_name {
        "integer" | "array" => format!("the {type_name}"),
        "string" => "the text".to_owned(),
        other => format!("the {other}"),
    }
}

fn shortened(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    if line.chars().count() <= 40 && line.len() == text.trim_end().len() {
        return line.to_owned();
    }
    line.chars().take(37).chain("...".chars()).collect()
}

fn number_help(text: &str) -> Option<String> {
    let text = text.trim();
    if text.parse::<f64>().is_ok_and(f64::is_finite) {
        return Some(format!("leave the quotes off: {text}"));
    }
    let point = text.replacen(',', ".", 1);
    (text.contains(',') && point.parse::<f64>().is_ok_and(f64::is_finite))
        .then(|| format!("the decimal sign is a point, and there are no quotes: {point}"))
}
