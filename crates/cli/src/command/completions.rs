//! `completions SHELL`: what a shell needs to complete commands, options and the values that they take.

use crate::exit::{Failure, Verdict};
use crate::output::to_stdout;
use clap::{Args, ValueEnum};
use clap_complete::aot;

/// Options of `completions`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift completions bash
  packdrift completions zsh
  packdrift completions fish")]
#[command(after_help = "\
Write it where the shell looks, then begin a new shell:
  bash  ~/.local/share/bash-completion/completions/packdrift
  zsh   a file `_packdrift` in a folder of $fpath, before `compinit` runs
  fish  ~/.config/fish/completions/packdrift.fish")]
pub(crate) struct Completions {
    /// The shell.
    #[arg(value_enum)]
    shell: Shell,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Shell {
    Bash,
    Zsh,
    Fish,
}

impl Completions {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        let shell = match self.shell {
            Shell::Bash => aot::Shell::Bash,
            Shell::Zsh => aot::Shell::Zsh,
            Shell::Fish => aot::Shell::Fish,
        };
        let mut script = Vec::new();
        aot::generate(shell, &mut crate::shown_command_line(), "packdrift", &mut script);
        to_stdout(|out| out.write_all(&script))?;
        Ok(Verdict::Acceptable)
    }
}
