//! The scenario file: what a planner would have otherwise than today, as TOML.

use crate::check::{FileKind, of_the_kind};
use crate::document::{At, Document, Item, Section};
use crate::error::{Error, FaultKind};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::suggest;
use packdrift_due::{Change, Scenario};
use packdrift_trend::{Policy, Window};
use std::path::Path;

/// What a scenario changes: engines and windows that it may name.
#[derive(Debug, Clone, Copy)]
pub struct ScenarioTerms<'a> {
    /// Engines that are planned.
    pub engines: &'a [String],
    /// Today's policy.
    pub policy: &'a Policy,
    /// The day of the plan, days since 1970-01-01.
    pub today: i32,
}

/// Reads a scenario file and holds it against the fleet and the policy; without these (as `check` does) only its form is looked at.
///
/// # Errors
///
/// [`Error::Input`] with every mistake in the file, each with its line and column: what is not known, an engine or a window that is not
/// there, changes that exclude each other, more engines in a window than it holds. [`Error::Machine`] where it could not be read.
pub fn read_scenario(path: &Path, terms: Option<ScenarioTerms<'_>>) -> Result<Loaded<Scenario>, Error> {
    let source = Source::read(path)?;
    scenario_from(&source, terms).map_err(|error| of_the_kind(&source, FileKind::Scenario, &Options::default(), error))
}

/// As [`read_scenario`], from bytes at hand.
///
/// # Errors
///
/// As [`read_scenario`].
///
/// # Examples
/// ```
/// use packdrift_due::Change;
/// use packdrift_records::{Source, scenario_from};
/// let text = "scenario = \"busy\"\n[running]\nall = 1.3\n[[pin]]\nengine = \"P05\"\nwindow = 2027-06-14\n";
/// let busy = scenario_from(&Source::from_bytes("busy.toml", text.as_bytes()), None)?.value;
/// assert_eq!(busy.changes[0], Change::Running { engine: None, times: 1.3 });
/// // A window that begins on no such day is a mistake only where the policy is known.
/// assert_eq!(busy.changes.len(), 2);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn scenario_from(source: &Source, terms: Option<ScenarioTerms<'_>>) -> Result<Loaded<Scenario>, Error> {
    let document = Document::new(source)?;
    let text = document.text_to_parse();
    let tree = document.parse(&text);
    let mut reading = Reading { document: &document, terms, changes: Vec::new() };
    let name = reading.scenario(document.root(&tree));
    let scenario = Scenario { name: name.unwrap_or_default(), changes: reading.changes };
    let scenario = document.conclude(Some(scenario))?;
    Ok(Loaded { value: scenario, inputs: vec![source.fingerprint()], notices: Vec::new() })
}

/// What was read so far.
struct Reading<'d, 't> {
    document: &'d Document,
    terms: Option<ScenarioTerms<'t>>,
    changes: Vec<Change>,
}

/// The day that an item of a list is about, with the item's own place.
type Day = At<i32>;

impl Reading<'_, '_> {
    fn scenario(&mut self, root: Section<'_>) -> Option<String> {
        let name = root.require("scenario", "what the scenario is called").and_then(|item| item.text());
        if let Some(item) = root.get("risk")
            && let Some(risk) = item.number()
        {
            if risk.value > 0.0 && risk.value < 1.0 {
                self.changes.push(Change::Risk { risk: risk.value });
            } else {
                item.refuse(FaultKind::OutOfRange, "a chance above 0 and below 1").help("0.05 is one in twenty").done();
            }
        }
        let running = root.get("running").and_then(|item| item.section());
        let running = running.map(|section| section.named_entries()).unwrap_or_default();
        let usage = root.get("usage").and_then(|item| item.section());
        let usage = usage.map(|section| section.named_entries()).unwrap_or_default();
        self.running(&running);
        self.usage(&usage, &running);
        // Windows first: engines may be pinned to a window that is added here.
        let dropped: Vec<Day> = sections(&root, "drop").into_iter().filter_map(|s| self.drop_window(s)).collect();
        sections(&root, "resize").into_iter().for_each(|s| self.resize(s, &dropped));
        sections(&root, "add").into_iter().for_each(|s| self.add(s));
        let mut pinned = Vec::new();
        sections(&root, "pin").into_iter().for_each(|s| self.pin(s, &mut pinned));
        let mut delayed = Vec::new();
        sections(&root, "delay").into_iter().for_each(|s| self.delay(s, &mut delayed));
        root.finish();
        name.map(|name| name.value)
    }

    fn running(&mut self, entries: &[(String, Item<'_>)]) {
        for (name, item) in entries {
            let Some(times) = item.number() else { continue };
            if !(times.value > 0.0 && times.value <= 100.0) {
                let expected = "times as many hours a week as today, above 0 and up to 100";
                item.refuse(FaultKind::OutOfRange, expected).help("1.2 is a fifth more, 0.5 half").done();
            } else if name == "all" {
                self.changes.push(Change::Running { engine: None, times: times.value });
            } else if self.known_engine(name, item) {
                self.changes.push(Change::Running { engine: Some(name.clone()), times: times.value });
            }
        }
    }

    fn usage(&mut self, entries: &[(String, Item<'_>)], running: &[(String, Item<'_>)]) {
        for (name, item) in entries {
            let Some(hours) = item.number() else { continue };
            if !(hours.value > 0.0 && hours.value <= 168.0) {
                item.refuse(FaultKind::OutOfRange, "hours a week, above 0 and up to 168").done();
            } else if running.iter().any(|(other, _)| other == name) {
                let expected = "an engine either in [usage] (hours a week) or in [running] (times as many as today)";
                item.refuse(FaultKind::Contradiction, expected).done();
            } else if self.known_engine(name, item) {
                self.changes.push(Change::Usage { engine: name.clone(), hours_a_week: hours.value });
            }
        }
    }

    fn drop_window(&mut self, section: Section<'_>) -> Option<Day> {
        let start = section.require("start", "the first day of a window").and_then(|item| item.date());
        section.finish();
        let start = start?;
        if self.of_the_policy(&start) {
            self.changes.push(Change::DropWindow { start: start.value });
        }
        Some(start)
    }

    fn resize(&mut self, section: Section<'_>, dropped: &[Day]) {
        let start = section.require("start", "the first day of a window").and_then(|item| item.date());
        let engines = section.require("engines", "how many engines can be done in it").and_then(|item| item.count(1));
        section.finish();
        let (Some(start), Some(engines)) = (start, engines) else { return };
        if dropped.iter().any(|d| d.value == start.value) {
            let found = "a window that is dropped above";
            self.report(FaultKind::Contradiction, &start, found, "a window that stays");
        } else if self.of_the_policy(&start) {
            self.changes.push(Change::ResizeWindow { start: start.value, engines: engines.value });
        }
    }

    fn add(&mut self, section: Section<'_>) {
        let day = |key| section.require(key, "a date such as 2027-03-01").and_then(|item| item.date());
        let (start, end) = (day("start"), day("end"));
        let engines = section.require("engines", "how many engines can be done in it").and_then(|item| item.count(1));
        section.finish();
        let (Some(start), Some(end), Some(engines)) = (start, end, engines) else { return };
        if end.value < start.value {
            let expected = "a window that ends on its first day or later";
            self.report(FaultKind::Contradiction, &end, "an end before the start", expected);
        } else if self.terms.is_some_and(|t| end.value < t.today) {
            self.report(
                FaultKind::Contradiction,
                &end,
                "a window that is over before the day of the plan",
                "a day to come",
            );
        } else {
            let window = Window { start: start.value, end: end.value, engines: engines.value };
            self.changes.push(Change::AddWindow(window));
        }
    }

    fn pin(&mut self, section: Section<'_>, pinned: &mut Vec<String>) {
        let engine = section.require("engine", "the engine's name").and_then(|item| self.engine(&item));
        let day = |key: &'static str| section.get(key).map(|item| item.date());
        let (window, date) = (day("window"), day("date"));
        match (&window, &date) {
            (None, None) => {
                let expected = "`window` (the first day of one) or `date` (a day of its own)";
                section.missing("window", expected).done();
            }
            (Some(_), Some(Some(date))) => {
                let expected = "a window or a day of its own";
                self.report(FaultKind::Contradiction, date, "a date beside a window", expected);
            }
            _ => {}
        }
        let (span, path) = (section.span(), section.path().to_owned());
        section.finish();
        let Some(engine) = engine else { return };
        if pinned.contains(&engine) {
            let found = format!("{engine} pinned a second time");
            let expected = "each engine once";
            self.document.report(FaultKind::DuplicateName, span, path, found, expected).done();
            return;
        }
        pinned.push(engine.clone());
        if let (Some(Some(window)), None) = (&window, &date) {
            self.pin_to_window(engine, window);
        } else if let (None, Some(Some(date))) = (&window, &date) {
            if self.terms.is_some_and(|t| date.value < t.today) {
                self.report(FaultKind::Contradiction, date, "a day that has passed", "a day to come");
            } else {
                self.changes.push(Change::PinToDay { engine, day: date.value });
            }
        }
    }

    fn pin_to_window(&mut self, engine: String, window: &Day) {
        if let Some(terms) = self.terms {
            let windows = self.windows(terms);
            let Some(found) = windows.iter().find(|w| w.start == window.value && w.end >= terms.today) else {
                let expected = starts(windows.iter().filter(|w| w.end >= terms.today));
                self.report(FaultKind::UnknownName, window, "a day on which no window to come begins", &expected);
                return;
            };
            let inside = self.changes.iter();
            let inside = inside.filter(|c| matches!(c, Change::PinToWindow { start, .. } if *start == window.value));
            if inside.count() >= found.engines as usize {
                let found = format!("one engine more than the window's {} places", found.engines);
                self.report(FaultKind::Contradiction, window, &found, "no more engines than it holds");
                return;
            }
        }
        self.changes.push(Change::PinToWindow { engine, start: window.value });
    }

    fn delay(&mut self, section: Section<'_>, delayed: &mut Vec<Option<String>>) {
        let asked = section.get("engine");
        let engine = asked.as_ref().map(|item| self.engine(item));
        let days = section.require("days", "by how many days the job comes later").and_then(|item| item.count(1));
        let (span, path) = (section.span(), section.path().to_owned());
        section.finish();
        let (Some(days), Some(engine)) = (days, engine.map_or(Some(None), |engine| engine.map(Some))) else { return };
        if delayed.contains(&engine) {
            let found =
                engine.map_or("a second delay of all".to_owned(), |engine| format!("{engine} delayed a second time"));
            self.document.report(FaultKind::DuplicateName, span, path, found, "each delay once").done();
            return;
        }
        delayed.push(engine.clone());
        match i32::try_from(days.value) {
            Ok(days) if days <= 3653 => self.changes.push(Change::Delay { engine, days }),
            _ => self.report(
                FaultKind::OutOfRange,
                &days.map(|_| 0),
                "a delay of more than ten years",
                "at most 3653 days",
            ),
        }
    }

    /// An engine's name that the fleet has.
    fn engine(&self, item: &Item<'_>) -> Option<String> {
        let name = item.text()?.value;
        self.known_engine(&name, item).then_some(name)
    }

    fn known_engine(&self, name: &str, item: &Item<'_>) -> bool {
        let Some(terms) = self.terms else { return true };
        let known = terms.engines.iter().any(|engine| engine == name);
        if !known {
            let names = || terms.engines.iter().map(String::as_str);
            let help = suggest::nearest(name, names()).map(|near| format!("did you mean `{near}`?"));
            item.refuse(FaultKind::UnknownName, "an engine of the inspections").help_if(help).done();
        }
        known
    }

    /// Whether a window of the policy begins on the day; a mistake where not.
    fn of_the_policy(&self, start: &Day) -> bool {
        let Some(terms) = self.terms else { return true };
        let known = terms.policy.windows.iter().any(|w| w.start == start.value);
        if !known {
            let expected = starts(terms.policy.windows.iter());
            self.report(FaultKind::UnknownName, start, "a day on which no window of the policy begins", &expected);
        }
        known
    }

    /// The policy's windows under the changes read so far.
    fn windows(&self, terms: ScenarioTerms<'_>) -> Vec<Window> {
        let mut windows: Vec<Window> = terms.policy.windows.clone();
        for change in &self.changes {
            match change {
                Change::DropWindow { start } => {
                    if let Some(k) = windows.iter().position(|w| w.start == *start) {
                        windows.remove(k);
                    }
                }
                Change::ResizeWindow { start, engines } => {
                    windows.iter_mut().filter(|w| w.start == *start).take(1).for_each(|w| w.engines = *engines);
                }
                Change::AddWindow(window) => windows.push(window.clone()),
                _ => {}
            }
        }
        windows
    }

    fn report<T>(&self, kind: FaultKind, at: &At<T>, found: &str, expected: &str) {
        self.document.report(kind, at.span.clone(), at.key.clone(), found, expected).done();
    }
}

/// The tables of `[[key]]`, none where there are none.
fn sections<'d>(root: &Section<'d>, key: &'static str) -> Vec<Section<'d>> {
    root.get(key).map(|item| item.sections()).unwrap_or_default()
}

/// `the first day of a window: 2027-03-01, 2027-06-14`.
fn starts<'w>(windows: impl Iterator<Item = &'w Window>) -> String {
    let days: Vec<String> =
        windows.filter_map(|w| crate::cell::date_of_day(w.start)).map(|date| date.to_string()).collect();
    if days.is_empty() {
        "no window, for there is none".to_owned()
    } else {
        format!("the first day of a window: {}", days.join(", "))
    }
}
