//! What every result says of itself before it says anything else: by which version, from which files, with which seed.

use serde::Serialize;

/// The head of every JSON result and the foot of every page.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Envelope {
    /// Version of packdrift.
    pub version: String,
    /// The command, as `stack`.
    pub command: String,
    /// What the command was asked for, as `--seed=7` and the files: all that the result depends on.
    pub arguments: Vec<String>,
    /// Path and SHA-256 (lower-case hexadecimal) of each file read.
    pub inputs: Vec<(String, String)>,
    /// Where random numbers were used.
    pub seed: Option<u64>,
    /// What the reader must know.
    pub warnings: Vec<String>,
}

/// A JSON result: the envelope's keys, then the result's own. It is written as it is read, so that a fleet of a million
/// valves needs no second copy in memory. Numbers that are not finite become null.
#[derive(Debug, Serialize)]
pub struct Document<'a, R> {
    packdrift: &'a str,
    command: &'a str,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    arguments: &'a [String],
    inputs: Vec<Input<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    seed: Option<u64>,
    warnings: &'a [String],
    #[serde(flatten)]
    result: R,
}

#[derive(Debug, Serialize)]
struct Input<'a> {
    path: &'a str,
    sha256: &'a str,
}

impl Envelope {
    /// The result under this head.
    pub fn around<R: Serialize>(&self, result: R) -> Document<'_, R> {
        Document {
            packdrift: &self.version,
            command: &self.command,
            arguments: &self.arguments,
            inputs: self.inputs.iter().map(|(path, sha256)| Input { path, sha256 }).collect(),
            seed: self.seed,
            warnings: &self.warnings,
            result,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a document that cannot be written is a failed test
mod tests {
    use super::*;

    #[derive(Serialize)]
    struct Answer {
        value: f64,
        missing: f64,
    }

    #[test]
    fn keys_come_in_the_documented_order_and_numbers_are_never_nan() {
        let envelope = Envelope {
            version: "0.1.0".into(),
            command: "stack".into(),
            arguments: vec!["--seed=7".into(), "a.toml".into()],
            inputs: vec![("a.toml".into(), "00ff".into())],
            seed: Some(7),
            warnings: vec![],
        };
        let text = serde_json::to_string(&envelope.around(Answer { value: 0.1 + 0.2, missing: f64::NAN })).unwrap();
        assert_eq!(
            text,
            r#"{"packdrift":"0.1.0","command":"stack","arguments":["--seed=7","a.toml"],"inputs":[{"path":"a.toml","sha256":"00ff"}],"seed":7,"warnings":[],"value":0.30000000000000004,"missing":null}"#
        );
    }
}
