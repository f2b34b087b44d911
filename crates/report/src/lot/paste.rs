//! The lots as a pack file wants them: TOML to paste.

use crate::Lengths;
use crate::number::significant;
use packdrift_lot::{LotStudy, SizeGroup};

/// One `[[lot]]` a size (from two lots on: the supplier's process) or a lot (its own mean, known by measuring), with the dimension that its parts get. Empty
/// where no lot has a size.
pub(super) fn toml(study: &LotStudy, unit: &str) -> String {
    let mut out = String::new();
    for group in &study.groups {
        let Some(nominal) = group.nominal else { continue };
        out += &process(study, group, nominal, unit);
    }
    if unit != "mm" && !out.is_empty() {
        out.insert_str(0, &format!("# Lengths in inches, for a pack file with units = \"{unit}\".\n\n"));
    }
    out
}

fn quoted(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len() + 2);
    for c in text.chars() {
        match c {
            '"' | '\\' => escaped.extend(['\\', c]),
            c if c.is_control() => escaped += &format!("\\u{:04X}", u32::from(c)),
            c => escaped.push(c),
        }
    }
    format!("\"{escaped}\"")
}

fn number(x: f64) -> String {
    let text = significant(x, 4);
    // Whole numbers need a point to be TOML floats; a true minus sign is no TOML.
    let text = text.replace('\u{2212}', "-");
    if text.contains(['.', 'e']) { text } else { format!("{text}.0") }
}

fn entry(name: &str, bias: f64, between: f64, nominal: f64, sd: f64, comment: &str) -> String {
    let name = quoted(name);
    format!(
        "# {comment}\n[[lot]]\nname = {name}\nbias = {}\nbetween = {}\n# and for each of its parts:\n# thickness = {{ mean = {}, sd = {}, lot = {name} }}\n\n",
        number(bias),
        number(between),
        number(nominal),
        number(sd)
    )
}

fn process(study: &LotStudy, group: &SizeGroup, nominal: f64, unit: &str) -> String {
    if let Some((process, bias)) = group.process.and_then(|p| p.bias.map(|b| (p, b))) {
        let size = Lengths::named(unit).given_in_it(nominal);
        let comment = format!("{} lots of size {size} {unit}: what the next lot will be like", group.lots.len());
        return entry(&format!("size {size}"), bias, process.between_sd, nominal, process.within_sd, &comment);
    }
    group
        .lots
        .iter()
        .filter_map(|&k| {
            let lot = &study.lots[k];
            let comment = format!("this packet itself, {} parts measured: its mean is known", lot.n);
            // Readings that are all alike do not say that the parts do not scatter.
            lot.sd.filter(|sd| *sd > 0.0)?;
            // A comment ends with its line.
            Some(entry(&lot.name, lot.mean - nominal, 0.0, nominal, lot.parts_sd?, &comment))
        })
        .collect()
}
