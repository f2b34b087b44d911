//! `manual FOLDER`: a page for `man` of each command, from the same description of the options as `--help`.

use crate::exit::{Failure, Verdict};
use crate::output::{in_window, to_stdout};
use crate::{examples, interrupt};
use clap::Args;
use clap_mangen::Man;
use clap_mangen::roff::{Roff, roman};
use packdrift_records::write;
use packdrift_visible as visible;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Options of `manual`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift manual man1
  packdrift manual ~/.local/share/man/man1")]
#[command(after_help = "\
The pages are packdrift.1, packdrift-stack.1 and so on. `man` finds them in ~/.local/share/man/man1 and in
/usr/local/share/man/man1. The folder may hold other pages: they stay.")]
pub(crate) struct Manual {
    /// The folder to write the pages to.
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Overwrite pages of these names, though packdrift did not write them.
    #[arg(long, help_heading = "Output")]
    force: bool,
}

/// The first line of a page: by it packdrift knows its own.
const MARK: &str = ".\\\" Written by `packdrift manual`.\n";

impl Manual {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        let pages = pages().map_err(|error| Failure::machine("write a manual page", error))?;
        {
            let of = |name: &String| self.folder.join(name);
            if !self.force {
                pages.iter().try_for_each(|(name, _)| refuse_anothers(&of(name)))?;
            }
            for (name, page) in &pages {
                let _writing = interrupt::while_writing_to(&of(name));
                write::file(&of(name), page)?;
            }
        }
        let folder = self.folder.display().to_string();
        let text = format!("{}: {} manual pages, packdrift(1) first\n", visible::line(&folder), pages.len());
        let text = in_window(|| text);
        to_stdout(|out| out.write_all(text.as_bytes()))?;
        Ok(Verdict::Acceptable)
    }
}

/// Refuses to replace a page that somebody else wrote.
fn refuse_anothers(page: &Path) -> Result<(), Failure> {
    let begins = write::first_bytes(page, MARK.len() as u64);
    let ours = begins.is_some_and(|there| there.is_empty() || there == MARK.as_bytes());
    if ours || std::fs::symlink_metadata(page).is_err_and(|error| error.kind() == io::ErrorKind::NotFound) {
        return Ok(());
    }
    Err(Failure::Refused(format!(
        "{} is there already, and packdrift did not write it, so nothing was written. Name another folder, or say --force to overwrite it",
        page.display()
    )))
}

/// Each page's name and text: the program's, then each command's.
fn pages() -> io::Result<Vec<(String, Vec<u8>)>> {
    let mut all = crate::shown_command_line().disable_help_subcommand(true);
    all.build();
    std::iter::once(&all).chain(all.get_subcommands()).map(page).collect()
}

/// One page: name, synopsis, description, options by heading, commands, exit status, examples.
fn page(command: &clap::Command) -> io::Result<(String, Vec<u8>)> {
    let man = Man::new(command.clone()).manual("packdrift").source(format!("packdrift {}", env!("CARGO_PKG_VERSION")));
    let mut page = MARK.as_bytes().to_vec();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    if let Some(after) = command.get_after_help() {
        page.write_all(&section("NOTES", &after.to_string())?)?;
    }
    page.write_all(&section("EXAMPLES", &examples::of(command).join("\n"))?)?;
    Ok((man.get_filename(), page))
}

/// A section whose lines stand as they are.
fn section(heading: &str, text: &str) -> io::Result<Vec<u8>> {
    let mut roff = Roff::default();
    roff.control("SH", [heading]);
    roff.control("nf", []);
    for line in text.lines() {
        roff.text([roman(line)]);
    }
    roff.control("fi", []);
    let mut section = Vec::new();
    roff.to_writer(&mut section)?;
    Ok(section)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn each_command_has_a_page_with_its_options_and_examples() {
        let pages = pages().unwrap();
        let shown = crate::shown_command_line();
        assert_eq!(pages.len(), 1 + shown.get_subcommands().count());
        for command in shown.get_subcommands() {
            let name = format!("packdrift-{}.1", command.get_name());
            let (_, page) = pages.iter().find(|(other, _)| *other == name).unwrap();
            let page = String::from_utf8(page.clone()).unwrap().replace('\\', "");
            for option in command.get_arguments().filter(|a| !a.is_hide_set()).filter_map(clap::Arg::get_long) {
                assert!(page.contains(&format!("--{option}")), "{name}: --{option}");
            }
            for example in examples::of(command) {
                assert!(page.contains(&example), "{name}: {example}\n{page}");
            }
        }
    }
}
