//! The inputs of a result: found by their content, and laid out in a folder as they were named.

use super::{Head, Input};
use crate::exit::Failure;
use packdrift_records::limits::{self, SEARCH_BYTES, SEARCH_DEEP, SEARCH_NAMES};
use packdrift_records::{sha256_of_bytes, sha256_up_to};
use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};

/// Why an input could not be laid out: a path that no file can have is the result's fault, anything else the machine's.
fn failed(error: std::io::Error) -> Failure {
    use std::io::ErrorKind::{AlreadyExists, InvalidFilename, InvalidInput, IsADirectory, NotADirectory};
    if matches!(error.kind(), AlreadyExists | InvalidFilename | InvalidInput | IsADirectory | NotADirectory) {
        return Failure::Refused(format!(
            "it names an input by a path that cannot be a file's beside the others ({error})"
        ));
    }
    Failure::machine("copy the inputs", error)
}

/// Copies of the inputs.
pub(super) struct Placed {
    /// Where the command runs.
    pub(super) folder: PathBuf,
    /// What holds all copies.
    pub(super) root: PathBuf,
    /// Paths from the root of the file system, each with the one that stands for it.
    moved: Vec<(String, String)>,
}

/// Finds each input and lays a copy where its path leads from the folder to run in. All that are not found are told together.
pub(super) fn place(head: &Head, beside: &Path, look_in: &[PathBuf], root: &Path) -> Result<Placed, Failure> {
    let inputs = &head.inputs;
    // So deep that no `..` leads out.
    let ups = |path: &str| Path::new(path).components().filter(|part| *part == Component::ParentDir).count();
    let depth = 1 + inputs.iter().map(|input| ups(&input.path)).max().unwrap_or(0);
    let folder = (0..depth).fold(root.join("run"), |folder, level| folder.join(level.to_string()));
    if inputs.len() > limits::INPUTS {
        return Err(Failure::Refused(format!(
            "it names {} inputs, and a result has at most {}",
            inputs.len(),
            limits::INPUTS
        )));
    }
    std::fs::create_dir_all(&folder).map_err(failed)?;
    let mut placed = Placed { folder: folder.clone(), root: root.to_path_buf(), moved: Vec::new() };
    // A tour makes its inputs itself, wherever it was told to.
    if head.command == "tour" {
        let leads_out = |path: &&String| Path::new(path).is_absolute() || ups(path) > 0;
        let out = head.arguments.iter().filter(leads_out);
        placed.moved.extend(out.map(|path| (path.clone(), root.join("tour").display().to_string())));
        return Ok(placed);
    }
    let mut search = Search::new(beside, look_in);
    let mut missing = Vec::new();
    // Inputs of the same content are one file: a result cannot make one of the user's a thousand.
    let mut copies: HashMap<&str, PathBuf> = HashMap::new();
    let of_nothing = sha256_of_bytes(b"");
    for (number, input) in inputs.iter().enumerate() {
        // Nothing has to be found to know what an empty file holds.
        let is_empty = input.sha256 == of_nothing;
        let found = if is_empty { None } else { search.find(input) };
        if found.is_none() && !is_empty {
            missing.push(format!("{} (SHA-256 {})", input.path, input.sha256));
            continue;
        }
        let path = Path::new(&input.path);
        let copy = if path.is_absolute() {
            let name = path.file_name().map_or_else(|| "input".into(), ToOwned::to_owned);
            let copy = root.join("from-the-root").join(number.to_string()).join(name);
            placed.moved.push((input.path.clone(), copy.display().to_string()));
            copy
        } else {
            folder.join(path)
        };
        copy.parent().map_or(Ok(()), std::fs::create_dir_all).map_err(failed)?;
        match (found, copies.get(input.sha256.as_str())) {
            (None, _) => std::fs::write(&copy, ""),
            (Some(_), Some(first)) => std::fs::hard_link(first, &copy),
            (Some(found), None) => std::fs::copy(found, &copy).map(drop),
        }
        .map_err(failed)?;
        copies.entry(&input.sha256).or_insert(copy);
    }
    if missing.is_empty() {
        return Ok(placed);
    }
    let limit = if search.ended {
        format!(
            "\nNot all was looked at: the search ends at {SEARCH_NAMES} names in a folder and at {} GiB. Name the folder itself that they lie in",
            SEARCH_BYTES >> 30
        )
    } else {
        String::new()
    };
    Err(Failure::Refused(format!(
        "these inputs were not found, under their names or any other; say where to look with --look-in DIR:\n  {}{limit}",
        missing.join("\n  ")
    )))
}

impl Placed {
    /// An argument with the path that stands for it here.
    pub(super) fn argument(&self, argument: &str) -> String {
        for (old, new) in &self.moved {
            if argument == old {
                return new.clone();
            }
            if let Some(option) = argument.strip_suffix(old.as_str()).filter(|option| option.ends_with('=')) {
                return format!("{option}{new}");
            }
        }
        argument.to_owned()
    }

    /// A result with the paths that were asked for then.
    pub(super) fn with_old_paths(&self, result: Vec<u8>) -> Vec<u8> {
        let Ok(mut text) = String::from_utf8(result) else { return Vec::new() };
        for (old, new) in &self.moved {
            let escaped = |path: &str| {
                let quoted = serde_json::to_string(path).unwrap_or_default();
                quoted.trim_matches('"').to_owned()
            };
            text = text.replace(&escaped(new), &escaped(old));
        }
        text.into_bytes()
    }
}

/// Looks for files by their SHA-256: first under their own names, then among all files nearby.
struct Search {
    folders: Vec<PathBuf>,
    known: Option<HashMap<String, PathBuf>>,
    /// What may still be looked at: names, and bytes.
    names: usize,
    bytes: u64,
    /// Whether there was more to look at.
    ended: bool,
}

impl Search {
    fn new(beside: &Path, look_in: &[PathBuf]) -> Self {
        // A report's folder stands beside what it was made from; a loose result stands among it, and what is above is not its own.
        let above = beside.join("files.txt").is_file().then(|| beside.join(".."));
        let near = [Some(beside.to_path_buf()), above, Some(PathBuf::new())];
        let folders = look_in.iter().cloned().chain(near.into_iter().flatten()).collect();
        Self { folders, known: None, names: SEARCH_NAMES, bytes: SEARCH_BYTES, ended: false }
    }

    fn find(&mut self, input: &Input) -> Option<PathBuf> {
        let named = Path::new(&input.path);
        let name = named.file_name().map(Path::new);
        let candidates = [Some(named), name].into_iter().flatten();
        let paths: Vec<PathBuf> =
            candidates.flat_map(|name| self.folders.iter().map(move |folder| folder.join(name))).collect();
        if let Some(path) = paths.into_iter().find(|path| self.sha256(path).is_some_and(|is| is == input.sha256)) {
            return Some(path);
        }
        if self.known.is_none() {
            let mut known = HashMap::new();
            for folder in self.folders.clone() {
                self.names = SEARCH_NAMES;
                let folder = if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
                let Ok(there) = std::fs::metadata(&folder) else { continue };
                self.look(&folder, device(&there), SEARCH_DEEP, &mut known);
            }
            self.known = Some(known);
        }
        self.known.as_ref()?.get(&input.sha256).cloned()
    }

    /// The SHA-256 of an ordinary file that tells its length, as files of a disk do and those that a system makes up do not.
    fn sha256(&mut self, path: &Path) -> Option<String> {
        let there = std::fs::metadata(path).ok()?;
        let length = there.len();
        if !there.is_file() || length == 0 || length > limits::FILE_BYTES {
            return None;
        }
        if length > self.bytes {
            self.ended = true;
            return None;
        }
        self.bytes -= length;
        sha256_up_to(path, length).ok().flatten()
    }

    /// The SHA-256 of the files in a folder and the folders below it. Hidden ones, links, and what lies on another file system (`/proc` below
    /// `/`) are left out.
    fn look(&mut self, folder: &Path, home: u64, deep: usize, known: &mut HashMap<String, PathBuf>) {
        for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
            if self.names == 0 {
                self.ended = true;
                return;
            }
            self.names -= 1;
            // Of the entry itself: a link is neither folder nor file.
            let Ok(there) = entry.metadata() else { continue };
            let is_hidden = entry.file_name().to_string_lossy().starts_with('.');
            if is_hidden || device(&there) != home {
                continue;
            }
            let path = entry.path();
            if there.is_dir() && deep > 0 {
                self.look(&path, home, deep - 1, known);
            } else if there.is_file()
                && let Some(sha256) = self.sha256(&path)
            {
                known.entry(sha256).or_insert(path);
            }
        }
    }
}

/// The file system that something lies on, by its number.
#[cfg(unix)]
fn device(there: &std::fs::Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::dev(there)
}

/// Elsewhere the standard library does not tell; links are not followed there either.
#[cfg(not(unix))]
fn device(_: &std::fs::Metadata) -> u64 {
    0
}
