//! Shares of a run as files: `--shard K/N` writes one on each machine, `--parts FILE…` reads them all on one.

use crate::exit::Failure;
use crate::output::to_stdout;
use packdrift_records as records;
use packdrift_spread::Shard;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

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

/// A share as it is written down. The checksum is of the state's own text: a file that was cut, or in which a bit was turned on its way from
/// one machine to another, is no share. Who changes a share on purpose can make the checksum too; what it holds is checked besides.
#[derive(Deserialize)]
struct Head {
    packdrift: String,
    holds: String,
    /// Files by older versions have none.
    sha256: Option<String>,
}

/// Stands between the head and the state's text, which goes to the last brace of the file.
const STATE: &str = ",\"state\":";

impl Shares {
    /// Writes a share to standard output.
    pub(crate) fn write(&self, state: impl Serialize) -> Result<(), Failure> {
        let state = serde_json::to_string(&state).map_err(|error| Failure::machine("write the share", error))?;
        let (version, sha256) = (env!("CARGO_PKG_VERSION"), records::sha256_of_bytes(state.as_bytes()));
        let holds = self.holds;
        to_stdout(|out| {
            writeln!(out, r#"{{"packdrift":"{version}","holds":"{holds}","sha256":"{sha256}"{STATE}{state}}}"#)
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
            let source = records::Source::read(path).map_err(|error| error.to_string());
            match source.and_then(|source| self.part(&source)).and_then(|part| check(&part).map(|()| part)) {
                Ok(part) => parts.push(part),
                Err(why) => wrong.push(format!("{}: not {}: {why}", path.display(), self.meaning)),
            }
        }
        if wrong.is_empty() { Ok(parts) } else { Err(Failure::Refused(wrong.join("\n"))) }
    }

    /// One share, or why it is none.
    pub(crate) fn part<T: DeserializeOwned>(&self, source: &records::Source) -> Result<T, String> {
        let head: Head = serde_json::from_slice(source.bytes()).map_err(|error| error.to_string())?;
        if let Some(why) = self.stranger(&head.packdrift, &head.holds) {
            return Err(why);
        }
        let text = source.text().map_err(|error| error.to_string())?;
        let state = text.split_once(STATE).and_then(|(_, rest)| rest.trim_end().strip_suffix('}')).unwrap_or_default();
        if head.sha256.as_deref() != Some(&records::sha256_of_bytes(state.as_bytes())) {
            return Err("it is damaged: its content does not have the checksum that it names".to_owned());
        }
        serde_json::from_str(state).map_err(|error| error.to_string())
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
