//! `tour`: the demo files in a folder, the main job on them, a report beside them.
//!
//! All of it is made first, from the demo files as they will be, and put in place as a whole. A second tour into the same folder is fine: what
//! is still as the tour wrote it is written anew. A demo file that has been changed since is the user's, and is overwritten only with `--force`.

use super::check::Findings;
use super::trend::both;
use crate::args::{Delivery, Format, Machine};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::Args;
use packdrift_demo::DemoFile;
use packdrift_records::{self as records, Source};
use packdrift_report::{Envelope, Figure, Table, stack as stack_report, tour as report, trend as trend_report};
use packdrift_spread::{Stack, StackResult};
use packdrift_trend::{Policy, TrendResult};
use packdrift_visible as visible;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Options of `tour`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift tour
  packdrift tour elsewhere --seed 7")]
pub(crate) struct Tour {
    /// The folder for the demo files and the report.
    #[arg(default_value = "packdrift-tour", conflicts_with = "out")]
    folder: PathBuf,
    /// Seed of the invented fleet and of the random numbers.
    #[arg(long, value_name = "N", default_value_t = packdrift_demo::DEFAULT_SEED)]
    seed: u64,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

/// What the tour shows.
struct Shown {
    envelope: Envelope,
    stack_envelope: Envelope,
    trend_envelope: Envelope,
    folder: PathBuf,
    findings: Findings,
    stack: Stack,
    stack_result: StackResult,
    trend_result: TrendResult,
    policy: Policy,
    demo: Vec<DemoFile>,
    files: Vec<(String, String)>,
    next: Vec<(String, String)>,
}

impl Tour {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let folder = self.delivery.out.clone().unwrap_or(self.folder);
        let demo = packdrift_demo::files(self.seed);
        if !self.delivery.force {
            refuse_changed(&demo, &folder)?;
        }
        let progress = Progress::new("touring");
        let shown = Shown::of(&folder, demo, self.seed, &progress)?;
        drop(progress);
        deliver(&shown, &Delivery { out: Some(folder.clone()), ..self.delivery.clone() })?;
        if self.delivery.format == Format::Text && !self.delivery.quiet {
            crate::exit::say(&format!("Open {} in a browser.\n", folder.join("report.html").display()));
        }
        // The demo is made to have something out of limits; that is no news to branch on.
        Ok(Verdict::Acceptable)
    }
}

/// Refuses a folder where writing the demo files would lose somebody's changes, before anything is computed.
fn refuse_changed(demo: &[DemoFile], folder: &Path) -> Result<(), Failure> {
    let differing: Vec<&DemoFile> = demo
        .iter()
        .filter(|file| std::fs::read(folder.join(file.name)).is_ok_and(|there| there != file.contents.as_bytes()))
        .collect();
    if !differing.is_empty() {
        let names: Vec<&str> = differing.iter().map(|file| file.name).collect();
        return Err(Failure::Refused(format!(
            "{} holds files that differ from the tour's: {}. They may be yours, so nothing was written. Name another folder, \
             or say --force to overwrite them",
            folder.display(),
            names.join(", ")
        )));
    }
    Ok(())
}

impl Shown {
    fn of(folder: &Path, demo: Vec<DemoFile>, seed: u64, progress: &Progress) -> Result<Self, Failure> {
        let file = |name: &str| {
            let contents = demo.iter().find(|file| file.name == name).map(|file| file.contents.as_bytes());
            Source::from_bytes(folder.join(name), contents.unwrap_or_default())
        };
        let checked =
            ["pack.toml", "pack-with-prices.toml", "inspections.csv", "policy.toml", "shims-0.60.csv", "gauge.csv"]
                .map(file);
        let findings = Findings::of_sources(&checked)?;
        let loaded = records::stack_from(&file("pack.toml"))?;
        let (inspections, policy) = both(
            records::inspections_from(&file("inspections.csv"), &records::Options::default()),
            records::policy_from(&file("policy.toml")),
        )?;
        let options = packdrift_spread::Options { seed, ..packdrift_spread::Options::default() };
        let stack_result = packdrift_spread::analyse(&loaded.value, &options, progress)?;
        let watch = progress.watch();
        let trend_options = packdrift_trend::Options { seed, watch, ..packdrift_trend::Options::default() };
        let trend_result = packdrift_trend::trend(&inspections.value, Some(&policy.value), &trend_options)?;
        let inputs = [loaded.inputs.clone(), inspections.inputs, policy.inputs].concat();
        let notices = [loaded.notices.clone(), inspections.notices, policy.notices].concat();
        let stack_warnings: Vec<String> = stack_result.warnings.iter().map(ToString::to_string).collect();
        let trend_warnings: Vec<String> = trend_result.warnings.iter().map(ToString::to_string).collect();
        let stack_envelope = envelope("stack", &loaded.inputs, Some(seed), &loaded.notices, stack_warnings.clone());
        let trend_envelope = envelope("trend", &inputs[loaded.inputs.len()..], Some(seed), &[], trend_warnings.clone());
        let warnings = stack_warnings.into_iter().chain(trend_warnings);
        Ok(Self {
            envelope: envelope("tour", &inputs, Some(seed), &notices, warnings),
            stack_envelope,
            trend_envelope,
            folder: folder.to_path_buf(),
            findings,
            stack: loaded.value,
            stack_result,
            trend_result,
            policy: policy.value,
            files: demo.iter().map(|file| (file.name.to_owned(), file.purpose.to_owned())).collect(),
            demo,
            next: next(folder),
        })
    }

    fn view(&self) -> report::Tour<'_> {
        report::Tour {
            stack: &self.stack,
            stack_result: &self.stack_result,
            trend_result: &self.trend_result,
            policy: &self.policy,
            files: &self.files,
            next: &self.next,
        }
    }
}

/// Commands to try on the demo files.
fn next(folder: &Path) -> Vec<(String, String)> {
    let file = |name: &str| {
        let path = folder.join(name).display().to_string();
        if path.contains(' ') { format!("\"{path}\"") } else { path }
    };
    let (pack, inspections, policy) = (file("pack.toml"), file("inspections.csv"), file("policy.toml"));
    let priced = file("pack-with-prices.toml");
    [
        (format!("packdrift stack {pack} --out stack-report"), "every requirement, who contributes, and a report"),
        (
            format!("packdrift allocate {priced} --max-out 0.01 --out allocate-report"),
            "which tolerances to tighten, and which may be opened, at the least cost",
        ),
        (
            format!("packdrift trend {inspections} --policy {policy} --out trend-report"),
            "every valve, the most urgent first, and a report",
        ),
        (
            format!("packdrift due {inspections} --policy {policy} --pack {pack} --out due-report"),
            "when each engine is due, in which window, with which shims, and a calendar",
        ),
        (format!("packdrift check {pack} {inspections} {policy}"), "after you put your own numbers in"),
    ]
    .map(|(command, purpose)| (command, purpose.to_owned()))
    .to_vec()
}

impl Report for Shown {
    fn text(&self) -> String {
        format!("Files in {}:\n{}\n{}", self.folder.display(), self.findings.text(), report::text(&self.view()))
    }

    fn terminal(&self) -> String {
        let folder = self.folder.display().to_string();
        // The pictures of mistakes may be coloured, and take care of themselves.
        let (head, findings) = (format!("Files in {}:\n", visible::line(&folder)), self.findings.terminal());
        format!("{head}{findings}\n{}", visible::text(&report::text(&self.view())))
    }

    fn json(&self) -> impl Serialize + '_ {
        #[derive(Serialize)]
        struct Toured<'a, S, T> {
            folder: String,
            files: &'a [(String, String)],
            stack: S,
            trend: T,
        }
        self.envelope.around(Toured {
            folder: self.folder.display().to_string(),
            files: &self.files,
            stack: stack_report::json(&self.stack_envelope, &self.stack_result),
            trend: trend_report::json(&self.trend_envelope, &self.trend_result),
        })
    }

    fn tables(&self) -> Vec<Table> {
        let mut tables = stack_report::tables(&self.stack, &self.stack_result);
        tables.extend(trend_report::tables(&self.trend_result, Some(&self.policy)));
        tables
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.view())
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.view())
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }

    fn given(&self) -> Vec<(&str, &str)> {
        self.demo.iter().map(|file| (file.name, file.contents.as_str())).collect()
    }
}
