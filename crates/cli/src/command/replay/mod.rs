//! `replay RESULT`: is a result what its inputs give? Finds the inputs by their SHA-256, runs the command again on copies of them, and compares
//! the new result with the old one to the byte.
//!
//! A result may come from anybody. So the command is run in a folder of its own, on copies, and only with arguments that a result records:
//! none of them says where anything is written, and each file that one of them names is an input with its SHA-256.

mod inputs;

use crate::args::ReadingUncertainty;
use crate::exit::{Failure, Verdict};
use crate::output::{canonical_arguments, in_window, to_stdout};
use crate::progress::{self, Progress};
use clap::{ArgMatches, Args};
use packdrift_records as records;
use packdrift_spread::Progress as _;
use packdrift_visible as visible;
use serde::Deserialize;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::path::{Component, Path, PathBuf};
use std::process::{Command, Stdio};

/// Options of `replay`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift replay report/result.json
  packdrift replay report/result.json --look-in .")]
pub(crate) struct Replay {
    /// A result: `result.json` of a report, or what `--format json` gave.
    result: PathBuf,
    /// Where else to look for the inputs, by their content; the names may be others. May be given several times.
    #[arg(long, value_name = "DIR")]
    look_in: Vec<PathBuf>,
}

/// What a result says of itself.
#[derive(Deserialize)]
struct Head {
    packdrift: String,
    command: String,
    #[serde(default)]
    arguments: Vec<String>,
    inputs: Vec<Input>,
}

/// A file that was read.
#[derive(Deserialize)]
struct Input {
    path: String,
    sha256: String,
}

/// The commands whose results can be made again.
const COMMANDS: [&str; 11] =
    ["allocate", "check", "due", "gauge", "lot", "sampling", "shim", "stack", "stock", "tour", "trend"];

/// Differences that are listed.
const LISTED: usize = 10;

impl Replay {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        let source = records::Source::read(&self.result)?;
        let name = self.result.display().to_string();
        let head = head(&source).map_err(|why| Failure::Refused(format!("{name}: {why}")))?;
        let folder = tempfile::tempdir().map_err(|error| Failure::machine("make a folder to run in", error))?;
        let beside = self.result.parent().unwrap_or(Path::new(""));
        let placed = inputs::place(&head, beside, &self.look_in, folder.path())?;
        let output = again(&head, &placed)?;
        let new = placed.with_old_paths(output);
        let (old, ours) = (source.bytes(), env!("CARGO_PKG_VERSION"));
        let inputs = match head.inputs.len() {
            1 => "its input".to_owned(),
            count => format!("its {count} inputs"),
        };
        if new.trim_ascii_end() == old.trim_ascii_end() {
            say(&format!(
                "{name}: {} of {inputs}, run again by packdrift {ours}, gives the same to the byte.\n",
                head.command
            ))?;
            return Ok(Verdict::Acceptable);
        }
        let mut text =
            format!("{name}: {} of {inputs}, run again by packdrift {ours}, gives another result.\n", head.command);
        if head.packdrift != ours {
            text.push_str(&format!(
                "It was made by packdrift {}: other versions may compute otherwise (see CHANGELOG.md).\n",
                head.packdrift
            ));
        }
        let (old, new) = (serde_json::from_slice(old), serde_json::from_slice(&new));
        if let (Ok(old), Ok(new)) = (old, new) {
            let mut found = Vec::new();
            differences(&old, &new, "", &mut found);
            found.iter().take(LISTED).for_each(|line| text.push_str(&format!("  {line}\n")));
            if found.len() > LISTED {
                text.push_str(&format!("  and {} more\n", found.len() - LISTED));
            }
        }
        say(&text)?;
        Ok(Verdict::NotAcceptable)
    }
}

fn say(text: &str) -> Result<(), Failure> {
    let text = in_window(|| visible::text(text).into_owned());
    to_stdout(|out| out.write_all(text.as_bytes()))
}

/// What a result says of itself, if it is one that can be made again.
fn head(source: &records::Source) -> Result<Head, String> {
    let head: Head = serde_json::from_slice(source.bytes())
        .map_err(|error| format!("not a result as `--format json` or `--out` write it: {error}"))?;
    check(&head)?;
    Ok(head)
}

/// Whether a file is a result that can be made again.
pub(crate) fn is_result(source: &records::Source) -> Result<(), String> {
    head(source).map(drop)
}

/// Whether the arguments are such as results record: a result that somebody made up could say `--out` otherwise.
fn check(head: &Head) -> Result<(), String> {
    if !COMMANDS.contains(&head.command.as_str()) {
        return Err(format!("results of `{}` cannot be made again", head.command));
    }
    let all = ["packdrift", &head.command].into_iter().chain(head.arguments.iter().map(String::as_str));
    let matches = crate::command_line().try_get_matches_from(all).map_err(|refusal| {
        format!(
            "its arguments are not such as this version takes: {}",
            refusal.to_string().lines().next().unwrap_or_default()
        )
    })?;
    let recorded = matches.subcommand().map(|(name, matches)| canonical_arguments(name, matches)).unwrap_or_default();
    if recorded != head.arguments {
        return Err("its arguments are not such as a result records".to_owned());
    }
    // A tour reads nothing, and is led into the folder to run in.
    let named = matches.subcommand().filter(|(name, _)| *name != "tour").map(|(_, matches)| files(matches));
    let strangers: Vec<String> = named
        .unwrap_or_default()
        .iter()
        .filter(|path| !head.inputs.iter().any(|input| is_input(path, input)))
        .map(|path| format!("`{}`", path.display()))
        .collect();
    if strangers.is_empty() {
        return Ok(());
    }
    Err(format!(
        "its arguments name {}, which is none of the inputs whose SHA-256 it gives: no such file is read, since a result may come from anybody",
        strangers.join(" and ")
    ))
}

/// The files that arguments name.
fn files(matches: &ArgMatches) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = Vec::new();
    for id in matches.ids().map(clap::Id::as_str) {
        files.extend(matches.try_get_many::<PathBuf>(id).ok().flatten().into_iter().flatten().cloned());
        let said = matches.try_get_many::<ReadingUncertainty>(id).ok().flatten().into_iter().flatten();
        files.extend(said.filter_map(|said| match said {
            ReadingUncertainty::Gauge(path) => Some(path.clone()),
            ReadingUncertainty::Given(_) => None,
        }));
    }
    files
}

/// Whether a path is that of an input. One from the root is to be so to the letter, since its copy stands for it by its letters.
fn is_input(path: &Path, input: &Input) -> bool {
    let listed = Path::new(&input.path);
    if path.is_absolute() || listed.is_absolute() {
        return path.as_os_str() == listed.as_os_str();
    }
    let parts = |path: &Path| -> Vec<std::ffi::OsString> {
        let parts = path.components().filter(|part| *part != Component::CurDir);
        parts.map(|part| part.as_os_str().to_owned()).collect()
    };
    parts(path) == parts(listed)
}

/// Runs the command in its folder; what it writes to standard output.
fn again(head: &Head, placed: &inputs::Placed) -> Result<Vec<u8>, Failure> {
    let failed = |error| Failure::machine("run the command again", error);
    let program = std::env::current_exe().map_err(failed)?;
    // The inputs are known by their SHA-256; where they lie says nothing here.
    let mut child = Command::new(program)
        .arg(&head.command)
        // Before what is recorded, which may end in `--` and files.
        .args(["--format", "json", "--quiet", "--allow-outside"])
        .args(head.arguments.iter().map(|argument| placed.argument(argument)))
        .env(progress::TELL, "1")
        .env(records::ONLY_BELOW, &placed.root)
        .current_dir(&placed.folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(failed)?;
    let bar = Progress::new("running again");
    let errors = child.stderr.take();
    let (output, said) = std::thread::scope(|scope| {
        let said = scope.spawn(|| errors.map_or_else(String::new, |errors| heard(errors, &bar)));
        (child.wait_with_output(), said.join().unwrap_or_default())
    });
    drop(bar);
    let output = output.map_err(failed)?;
    match output.status.code() {
        Some(0 | 1) => Ok(output.stdout),
        // `check` answers with mistakes.
        Some(2) if head.command == "check" && !output.stdout.is_empty() => Ok(output.stdout),
        Some(2) => {
            Err(Failure::Refused(format!("run again, the command refuses what it once took:\n{}", said.trim_end())))
        }
        _ => Err(Failure::Machine(format!("the command run again ended with {}", output.status))),
    }
}

/// What a command has to say, but for how far it is, which goes to the bar.
fn heard(errors: impl Read, bar: &Progress) -> String {
    let mut said = String::new();
    for line in BufReader::new(errors).split(b'\n').map_while(Result::ok) {
        let line = String::from_utf8_lossy(&line);
        match line.strip_prefix(progress::SIGN).map(str::parse) {
            Some(Ok(percent)) => bar.advance(percent, 100),
            _ => {
                said.push_str(&line);
                said.push('\n');
            }
        }
    }
    said
}

/// Where two results differ, by the path of each key.
fn differences(old: &Value, new: &Value, at: &str, found: &mut Vec<String>) {
    match (old, new) {
        (Value::Object(a), Value::Object(b)) => {
            for key in a.keys().chain(b.keys().filter(|key| !a.contains_key(*key))) {
                let at = if at.is_empty() { key.clone() } else { format!("{at}.{key}") };
                differences(a.get(key).unwrap_or(&Value::Null), b.get(key).unwrap_or(&Value::Null), &at, found);
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            for index in 0..a.len().max(b.len()) {
                let (a, b) = (a.get(index).unwrap_or(&Value::Null), b.get(index).unwrap_or(&Value::Null));
                differences(a, b, &format!("{at}[{index}]"), found);
            }
        }
        _ if old == new => {}
        _ => found.push(format!("{at}: {} then, {} now", short(old), short(new))),
    }
}

fn short(value: &Value) -> String {
    let text = value.to_string();
    if text.chars().count() <= 60 { text } else { text.chars().take(57).chain("...".chars()).collect() }
}
