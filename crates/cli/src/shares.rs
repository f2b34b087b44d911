//! Shares of a run as files: `--shard K/N` writes one on each machine, `--parts FILE…` reads them all on one.

use crate::exit::Failure;
use crate::output::to_stdout;
use packdrift_records as records;
use packdrift_spread::Shard;
use serde::de::{DeserializeOwned, IgnoredAny};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The value of `--shard`.
pub(crate) fn shard(written: &str) -> Result<Shard, String> {
    let shard = written.split_once('/').and_then(|(k, n)| Shard::new(k.parse().ok()?, n.parse().ok()?));
    shard.ok_or_else(|| "expected a share such as 2/8, the second of eight".to_owned())
}

/// What a command shares out.
pub(crate) struct Shares {
    /// As files say it, to tell them from results: `share of the trials of stack`.
    pub(crate) holds: &'static str,
    /// For messages: `a share of trials as `stack --shard` writes it`.
    pub(crate) meaning: &'static str,
}

/// A share as it is written down.
#[derive(Serialize, Deserialize)]
struct Part<T> {
    packdrift: String,
    holds: String,
    state: T,
}

impl Shares {
    /// Writes a share to standard output.
    pub(crate) fn write(&self, state: impl Serialize) -> Result<(), Failure> {
        let part = Part { packdrift: env!("CARGO_PKG_VERSION").to_owned(), holds: self.holds.to_owned(), state };
        to_stdout(|out| {
            serde_json::to_writer(&mut *out, &part)?;
            out.write_all(b"\n")
        })
    }

    /// Reads all files; `check` says what else keeps a share from being of this run. All that is wrong is told together.
    pub(crate) fn read<T: DeserializeOwned>(
        &self,
        paths: &[PathBuf],
        check: impl Fn(&T) -> Result<(), String>,
    ) -> Result<Vec<T>, Failure> {
        let (mut parts, mut wrong) = (Vec::new(), Vec::new());
        for path in paths {
            match self.part(path).and_then(|part| check(&part).map(|()| part)) {
                Ok(part) => parts.push(part),
                Err(why) => wrong.push(format!("{}: not {}: {why}", path.display(), self.meaning)),
            }
        }
        if wrong.is_empty() { Ok(parts) } else { Err(Failure::Refused(wrong.join("\n"))) }
    }

    fn part<T: DeserializeOwned>(&self, path: &Path) -> Result<T, String> {
        let source = records::Source::read(path).map_err(|error| error.to_string())?;
        let part: Part<T> = serde_json::from_slice(source.bytes()).map_err(|error| {
            // A file of another kind, or by another version, need not have the state's keys.
            let head = serde_json::from_slice::<Part<IgnoredAny>>(source.bytes()).ok();
            head.and_then(|head| self.stranger(&head.packdrift, &head.holds)).unwrap_or_else(|| error.to_string())
        })?;
        self.stranger(&part.packdrift, &part.holds).map_or(Ok(part.state), Err)
    }

    /// Why a file is not a share of this command and version, as far as its head tells.
    fn stranger(&self, packdrift: &str, holds: &str) -> Option<String> {
        let ours = env!("CARGO_PKG_VERSION");
        if holds != self.holds {
            Some(format!("it is said to hold a {holds}"))
        } else if packdrift != ours {
            Some(format!("it is by packdrift {packdrift}, this is {ours}"))
        } else {
            None
        }
    }
}
