//! The inputs of a result: found by their content, and laid out in a folder as they were named.

use super::Input;
use crate::exit::Failure;
use packdrift_records::sha256_of_file;
use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};

/// Files that are looked at in each folder, and how many folders deep.
const MOST: usize = 10_000;
const DEEP: usize = 3;

/// Copies of the inputs.
pub(super) struct Placed {
    /// Where the command runs.
    pub(super) folder: PathBuf,
    /// Paths from the root of the file system, each with the one that stands for it.
    moved: Vec<(String, String)>,
}

/// Finds each input and lays a copy where its path leads from the folder to run in. All that are not found are told together.
pub(super) fn place(
    inputs: &[Input],
    command: &str,
    beside: &Path,
    look_in: &[PathBuf],
    root: &Path,
) -> Result<Placed, Failure> {
    // So deep that no `..` leads out.
    let ups = |path: &str| Path::new(path).components().filter(|part| *part == Component::ParentDir).count();
    let depth = 1 + inputs.iter().map(|input| ups(&input.path)).max().unwrap_or(0);
    let folder = (0..depth).fold(root.join("run"), |folder, level| folder.join(level.to_string()));
    let failed = |error| Failure::machine("copy the inputs", error);
    std::fs::create_dir_all(&folder).map_err(failed)?;
    let mut placed = Placed { folder: folder.clone(), moved: Vec::new() };
    // A tour makes its inputs itself.
    if command == "tour" {
        return Ok(placed);
    }
    let mut search = Search::new(beside, look_in);
    let mut missing = Vec::new();
    for (number, input) in inputs.iter().enumerate() {
        let Some(found) = search.find(input) else {
            missing.push(format!("{} (SHA-256 {})", input.path, input.sha256));
            continue;
        };
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
        std::fs::copy(found, copy).map_err(failed)?;
    }
    if missing.is_empty() {
        return Ok(placed);
    }
    Err(Failure::Refused(format!(
        "these inputs were not found, under their names or any other; say where to look with --look-in DIR:\n  {}",
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
}

impl Search {
    fn new(beside: &Path, look_in: &[PathBuf]) -> Self {
        // A report's folder stands beside what it was made from; a loose result stands among it, and what is above is not its own.
        let above = beside.join("files.txt").is_file().then(|| beside.join(".."));
        let near = [Some(beside.to_path_buf()), above, Some(PathBuf::new())];
        Self { folders: look_in.iter().cloned().chain(near.into_iter().flatten()).collect(), known: None }
    }

    fn find(&mut self, input: &Input) -> Option<PathBuf> {
        let is_it = |path: &PathBuf| path.is_file() && sha256_of_file(path).is_ok_and(|is| is == input.sha256);
        let named = Path::new(&input.path);
        let name = named.file_name().map(Path::new);
        let candidates = [Some(named), name].into_iter().flatten();
        let mut paths = candidates.flat_map(|name| self.folders.iter().map(move |folder| folder.join(name)));
        if let Some(path) = paths.find(is_it) {
            return Some(path);
        }
        let folders = &self.folders;
        let known = self.known.get_or_insert_with(|| {
            let mut known = HashMap::new();
            folders.iter().for_each(|folder| look(folder, DEEP, &mut MOST.clone(), &mut known));
            known
        });
        known.get(&input.sha256).cloned()
    }
}

/// The SHA-256 of the files in a folder and the folders below it, hidden ones left out.
fn look(folder: &Path, deep: usize, left: &mut usize, known: &mut HashMap<String, PathBuf>) {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        let is_hidden = entry.file_name().to_string_lossy().starts_with('.');
        let Ok(kind) = entry.file_type() else { continue };
        if *left == 0 || is_hidden {
            continue;
        }
        if kind.is_dir() && deep > 0 {
            look(&path, deep - 1, left, known);
        } else if kind.is_file() {
            *left -= 1;
            if let Ok(sha256) = sha256_of_file(&path) {
                known.entry(sha256).or_insert(path);
            }
        }
    }
}
