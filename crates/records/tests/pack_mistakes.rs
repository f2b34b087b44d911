//! Each mistake a pack file can hold is found, named and placed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failed unwrap fails the test")]

use packdrift_records::{Error, Fault, FaultKind, InputError, Source, stack_from};

const GOOD: &str = include_str!("fixtures/pack.toml");

fn mistakes(text: &str) -> InputError {
    match stack_from(&Source::from_bytes("pack.toml", text.as_bytes())) {
        Ok(_) => panic!("the file was taken as right"),
        Err(Error::Input(error)) => error,
        Err(other) => panic!("{other}"),
    }
}

/// One broken file: what is replaced by what, the sort of mistake, where (the text that stands there), and a word of the
/// message.
struct Case(&'static str, &'static str, FaultKind, &'static str, &'static str);

/// Broken in one place each.
const CASES: [Case; 57] = [
    Case("units = \"mm\"", "units = \"cm\"", FaultKind::UnknownName, "\"cm\"", "`mm`, `in`"),
    Case("title =", "titel =", FaultKind::UnknownKey, "titel", "did you mean `title`?"),
    Case("reference_temperature = 20.0", "reference_temperature = -300", FaultKind::OutOfRange, "-300", "-273.15"),
    Case(
        "temperature = 95.0",
        "temperatur = 95.0",
        FaultKind::UnknownKey,
        "temperatur = 95",
        "did you mean `temperature`?",
    ),
    Case("temperature = 95.0", "temperature = \"95\"", FaultKind::WrongType, "\"95\"", "leave the quotes off: 95"),
    Case("expansion = 23.0e-6", "expansion = 23.0", FaultKind::OutOfRange, "23.0\n", "11.5e-6"),
    Case("poisson = 0.3", "poisson = 0.5", FaultKind::OutOfRange, "0.5\n[", "below 0.5"),
    Case("poisson = 0.3\n", "", FaultKind::MissingKey, "[material.steel]", "poisson"),
    Case("between = 0.006", "between = -0.006", FaultKind::OutOfRange, "-0.006", "0 or more"),
    Case("bias = 0.001", "bias = nan", FaultKind::NotFinite, "nan", "finite"),
    Case(
        "[[lot]]",
        "[[lot]]\nname = \"shim 0.40\"\n[[lot]]",
        FaultKind::DuplicateName,
        "\"shim 0.40\"\nbias",
        "second lot",
    ),
    Case(
        "lot = \"shim 0.40\" }",
        "lot = \"shim 0.4\" }",
        FaultKind::UnknownName,
        "\"shim 0.4\"",
        "did you mean `shim 0.40`?",
    ),
    Case("span = {", "spam = {", FaultKind::MissingKey, "[[bay]]", "span"),
    Case("tol = 0.06", "tol = -0.06", FaultKind::OutOfRange, "-0.06", "0 or more"),
    Case("tol = 0.06", "tol = inf", FaultKind::NotFinite, "inf", "finite"),
    Case("tol = 0.06", "tol = 0.06, plus = 0.01", FaultKind::Contradiction, "{ nominal = 26.20", "more than one way"),
    Case("nominal = 26.20, tol", "tol", FaultKind::MissingKey, "{ tol", "nominal"),
    Case("minus = 0.02", "minus = -0.02", FaultKind::OutOfRange, "-0.02", "without a sign"),
    Case(", minus = 0.02", "", FaultKind::MissingKey, "{ nominal = 24.00", "minus"),
    Case("minus = 0.02", "sigma = 2, minus = 0.02", FaultKind::UnknownKey, "sigma", "did you mean `sigmas`?"),
    Case("sd = 0.02", "sd = 0.02, sigmas = 3", FaultKind::Contradiction, "3 }", "a tolerance"),
    Case("mean = 11.30, sd = 0.02", "mean = 11.30", FaultKind::MissingKey, "{ mean = 11.30", "sd"),
    Case("sd = 0.02", "sd = 0.02, distribution = \"gausian\"", FaultKind::UnknownName, "\"gausian\"", "`normal`"),
    Case("sd = 0.02", "sd = 0.02, beta = 0.5", FaultKind::Contradiction, "0.5", "trapezoidal"),
    Case(
        "span = { nominal = 26.20",
        "span = { distribution = \"trapezoidal\", nominal = 26.20",
        FaultKind::MissingKey,
        "{ distribution",
        "top width",
    ),
    Case(
        "span = { nominal = 26.20",
        "span = { distribution = \"t\", nominal = 26.20",
        FaultKind::MissingKey,
        "{ distribution",
        "degrees_of_freedom",
    ),
    Case(
        "material = \"aluminium\"",
        "material = \"aluminum\"",
        FaultKind::UnknownName,
        "\"aluminum\"",
        "did you mean `aluminium`?",
    ),
    Case("material = \"aluminium\"\n", "", FaultKind::MissingKey, "[[bay]]", "fixed faces"),
    Case("kind = \"shim\"", "kind = \"shimm\"", FaultKind::UnknownName, "\"shimm\"", "did you mean \"shim\"?"),
    Case("kind = \"shim\"\n", "", FaultKind::MissingKey, "[[bay.part]]\n  name = \"left", "kind"),
    Case(
        "nominal = 0.40, tol = 0.03",
        "nominal = 0.40, tol = 0.40",
        FaultKind::OutOfRange,
        "{ nominal = 0.40",
        "above 0",
    ),
    Case(
        "thickness = { nominal = 0.40",
        "thickness = { nominal = 0",
        FaultKind::OutOfRange,
        "{ nominal = 0,",
        "above 0",
    ),
    Case(
        "thickness = { nominal = 0.60",
        "width = { nominal = 0.60",
        FaultKind::UnknownKey,
        "width = { nominal = 0.60",
        "width",
    ),
    Case(
        "name = \"right washer\"",
        "name = \"left shim\"",
        FaultKind::DuplicateName,
        "\"left shim\"\n  kind = \"washer\"",
        "second part",
    ),
    Case(
        "name = \"right washer\"",
        "name = \"right/washer\"",
        FaultKind::OutOfRange,
        "\"right/washer\"",
        "without `/`",
    ),
    Case("name = \"right washer\"", "name = 12", FaultKind::WrongType, "12\n", "put it in quotes: \"12\""),
    Case("name = \"right washer\"", "name = \" \"", FaultKind::OutOfRange, "\" \"", "not empty"),
    Case("law = \"disc\"", "law = \"disk\"", FaultKind::UnknownName, "\"disk\"", "did you mean \"disc\"?"),
    Case(
        "inner_diameter = 18.4",
        "inner_diameter = 30.0",
        FaultKind::Contradiction,
        "[[bay.part]]\n  name = \"spring",
        "inner diameter below the outer",
    ),
    Case("outer_diameter = 30.0", "outer_diameter = 0", FaultKind::OutOfRange, "0\n  inner", "above 0"),
    Case(
        "readings = [0.969, 0.971, 0.970, 0.968], u = 0.002",
        "readings = []",
        FaultKind::OutOfRange,
        "[]",
        "at least one",
    ),
    Case(
        "readings = [0.969, 0.971, 0.970, 0.968], u = 0.002",
        "readings = [0.969]",
        FaultKind::MissingKey,
        "{ readings",
        "`u`",
    ),
    Case("0.971, 0.970", "\"0,971\", 0.970", FaultKind::WrongType, "\"0,971\"", "0.971"),
    Case(
        "u = 0.002",
        "u = 0.002, lot = \"shim 0.40\"",
        FaultKind::Contradiction,
        "\"shim 0.40\" }\n  material = \"steel\"\n\n  [[bay.valve]]",
        "already holds",
    ),
    Case("u = 0.002", "u = 0.002, mean = 0.97", FaultKind::Contradiction, "{ readings", "more than one way"),
    Case(
        "rocker = \"rocker 1 exhaust\"",
        "rocker = \"rocker 1 exhast\"",
        FaultKind::UnknownName,
        "\"rocker 1 exhast\"",
        "did you mean `rocker 1 exhaust`?",
    ),
    Case(
        "rocker = \"rocker 1 exhaust\"",
        "rocker = \"left shim\"",
        FaultKind::Contradiction,
        "\"left shim\"\n  stem",
        "kind `rocker`",
    ),
    Case(
        "stem_end_chamfer = 0.4",
        "stem_end_chamfer = 4.0",
        FaultKind::Contradiction,
        "[[bay.valve]]",
        "leaves a flat",
    ),
    Case("coefficient = -0.4", "coefficient = -1.4", FaultKind::OutOfRange, "-1.4", "-1 to 1"),
    Case(
        "\"middle/spring washer/cone_height\"",
        "\"middle/spring washer/cone_heigth\"",
        FaultKind::UnknownName,
        "\"middle/spring washer/cone_heigth\"",
        "did you mean `middle/spring washer/cone_height`?",
    ),
    Case(
        "quantity = \"offset\"",
        "quantity = \"ofset\"",
        FaultKind::UnknownName,
        "\"ofset\"",
        "did you mean \"offset\"?",
    ),
    Case(
        "valve = \"1 exhaust\"",
        "valve = \"1 exhuast\"",
        FaultKind::UnknownName,
        "\"1 exhuast\"",
        "did you mean `1 exhaust`?",
    ),
    Case(
        "condition = \"running\"",
        "condition = \"runing\"",
        FaultKind::UnknownName,
        "\"runing\"",
        "did you mean `running`?",
    ),
    Case(
        "lower = 0.90\nupper = 1.10\ntarget = 1.00\n",
        "",
        FaultKind::NoLimits,
        "[[requirement]]",
        "at least one limit",
    ),
    Case("upper = 1.10", "upper = 0.80", FaultKind::Contradiction, "0.80", "above the lower"),
    Case("target = 1.00", "target = 1.20", FaultKind::Contradiction, "1.20", "inside the limits"),
    Case("max_out = 0.01", "max_out = 1", FaultKind::OutOfRange, "1\n\n", "a share"),
];

/// Line (from 1) at which `marker` stands.
fn line_of(text: &str, marker: &str) -> usize {
    let at = text.find(marker).unwrap_or_else(|| panic!("no `{marker}` in the broken file"));
    1 + text[..at].matches('\n').count()
}

fn said(fault: &Fault) -> String {
    format!("{} {}", fault.message(), fault.help.as_deref().unwrap_or_default())
}

#[test]
fn the_unbroken_file_is_right() {
    let loaded = stack_from(&Source::from_bytes("pack.toml", GOOD.as_bytes())).unwrap();
    assert_eq!(loaded.notices, []);
    assert_eq!(loaded.value.requirements.len(), 4);
}

#[test]
fn each_mistake_is_found_alone_and_at_its_line() {
    for Case(from, to, kind, marker, word) in CASES {
        assert!(GOOD.contains(from), "{from}");
        let broken = GOOD.replacen(from, to, 1);
        let error = mistakes(&broken);
        let fault = error.faults.iter().find(|fault| fault.kind == kind && said(fault).contains(word));
        let all: Vec<String> = error.faults.iter().map(ToString::to_string).collect();
        let fault = fault.unwrap_or_else(|| panic!("{from} → {to}: no {kind:?} with `{word}` among {all:#?}"));
        assert_eq!(fault.place.line(), Some(line_of(&broken, marker)), "{from} → {to}: {fault}");
        assert_eq!(fault.path.to_str(), Some("pack.toml"));
        // No more than a missing key and the unknown one that was meant for it.
        assert!(error.total <= 2, "{from} → {to}: {all:#?}");
    }
}

#[test]
fn columns_count_characters_and_spans_cover_the_value() {
    let broken = GOOD.replace("tol = 0.06 }", "tol = -0.06 } # µ");
    let error = mistakes(&broken);
    let [fault] = &error.faults[..] else { panic!("{error:?}") };
    assert_eq!((fault.place.line(), fault.place.column()), (Some(25), Some(33)));
    assert_eq!(fault.location(), "pack.toml:25:33");
}

#[test]
fn text_that_is_not_toml_is_told_without_its_consequences() {
    let broken = GOOD.replace("temperature = 95.0", "temperature = ninety").replace("tol = 0.06", "tol = -0.06");
    let kinds: Vec<FaultKind> = mistakes(&broken).faults.iter().map(|fault| fault.kind).collect();
    assert_eq!(kinds, [FaultKind::Syntax, FaultKind::OutOfRange]);
    let doubled = GOOD.replace("units = \"mm\"", "units = \"mm\"\nunits = \"in\"");
    assert_eq!(mistakes(&doubled).faults[0].kind, FaultKind::DuplicateName);
}

#[test]
fn all_mistakes_come_in_one_run_and_in_the_order_of_the_file() {
    let broken = include_str!("fixtures/broken-pack.toml");
    let error = mistakes(broken);
    let lines: Vec<_> = error.faults.iter().map(|fault| fault.place.line().unwrap()).collect();
    assert!(lines.is_sorted(), "{lines:?}");
    // Every line that says what is wrong with it has its mistake, and no other line has one.
    let marked: Vec<usize> =
        (1..).zip(broken.lines()).filter(|(_, line)| line.contains("# wrong:")).map(|(number, _)| number).collect();
    assert_eq!(lines, marked);
}

#[test]
fn the_words_and_the_carets_stay_as_they_are() {
    let error = mistakes(include_str!("fixtures/broken-pack.toml"));
    let text: String = error.faults.iter().map(|fault| fault.picture(false) + "\n").collect();
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/snapshots/broken-pack.txt");
    if std::env::var_os("PACKDRIFT_UPDATE_SNAPSHOTS").is_some() {
        std::fs::write(path, &text).unwrap();
    }
    let kept = std::fs::read_to_string(path).expect("run once with PACKDRIFT_UPDATE_SNAPSHOTS=1");
    assert_eq!(text, kept, "if the new words are better: run again with PACKDRIFT_UPDATE_SNAPSHOTS=1");
}

#[test]
fn a_part_of_unknown_kind_still_has_its_dimensions_read_and_its_name_kept() {
    let text = GOOD.replacen("kind = \"rocker\"", "kind = \"rockr\"", 1);
    let error = mistakes(&text);
    assert_eq!((error.total, error.faults[0].kind), (1, FaultKind::UnknownName), "{error:?}");
    let start = text.find("\"rockr\"").unwrap();
    let at = start + text[start..].find("nominal = ").unwrap();
    let text = format!("{}nominal = nan,{}", &text[..at], &text[at + text[at..].find(',').unwrap() + 1..]);
    let kinds: Vec<FaultKind> = mistakes(&text).faults.iter().map(|f| f.kind).collect();
    assert_eq!(kinds, [FaultKind::UnknownName, FaultKind::NotFinite]);
}

#[test]
fn a_decimal_comma_is_one_mistake_and_single_brackets_are_named_as_they_stand() {
    let text =
        "title = \"a, 1,5\"\n[[bay]]\nname = \"b\"\nspan = { nominal = 52,00, tol = 0.06 }\n[bay.part]\nname = \"p\"\n";
    let source = packdrift_records::Source::from_bytes("pack.toml", text.as_bytes());
    let Err(packdrift_records::Error::Input(error)) = packdrift_records::stack_from(&source) else {
        panic!("it has mistakes")
    };
    let of = |kind: FaultKind| {
        error.faults.iter().filter(|fault| fault.kind == kind).map(ToString::to_string).collect::<Vec<_>>()
    };
    let [comma] = &of(FaultKind::DecimalComma)[..] else { panic!("{error:#?}") };
    assert!(comma.starts_with("pack.toml:4:20: found 52,00") && comma.contains("write 52.00"), "{comma}");
    assert_eq!(of(FaultKind::Syntax), Vec::<String>::new());
    let all = error.faults.iter().map(ToString::to_string).collect::<String>();
    assert!(all.contains("double the brackets: [[bay.part]]"), "{all}");
}

/// To the parser each of these headings is a slip, and so is every key below it.
#[test]
fn single_brackets_are_one_mistake_whatever_stands_below_them() {
    let doubled = |name: &str| GOOD.matches(&format!("[[{name}]]")).count();
    for name in ["bay", "bay.part", "bay.valve", "requirement", "lot"] {
        let count = doubled(name);
        assert!(count > 0, "{name}");
        let text = GOOD.replace(&format!("[[{name}]]"), &format!("[{name}]"));
        let error = mistakes(&text);
        let [fault] = &error.faults[..] else { panic!("{name}: {error}") };
        assert_eq!(fault.place.line(), Some(line_of(&text, &format!("[{name}]"))), "{fault}");
        let said = fault.to_string();
        assert!(said.contains(&format!("double the brackets: [[{name}]]")), "{said}");
        assert_eq!(said.contains("other heading"), count > 1, "{said}");
    }
    // What is wrong besides is told, at its own place.
    let text = GOOD.replace("[[bay.part]]", "[bay.part]").replacen("kind = \"rocker\"", "kind = \"rockr\"", 1);
    let error = mistakes(&text);
    let kinds: Vec<FaultKind> = error.faults.iter().map(|fault| fault.kind).collect();
    assert_eq!(kinds, [FaultKind::WrongType, FaultKind::UnknownName], "{error}");
    assert_eq!(error.faults[1].place.line(), Some(line_of(&text, "rockr")), "{error}");
    assert!(error.faults[1].found.contains("rockr"), "{error}");
}
