//! The examples of a command: what its `--help` begins with, and what its manual page ends with.

/// The lines under `Examples:`, as they are typed.
pub(crate) fn of(command: &clap::Command) -> Vec<String> {
    let text = command.get_before_help().map(ToString::to_string).unwrap_or_default();
    text.lines().filter_map(|line| line.strip_prefix("  ")).map(|line| line.trim().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::of;
    use crate::{command_line, shown_command_line};

    /// Options of a command that may stand under no heading of their own: more, and nobody finds one.
    const LOOSE: usize = 4;

    /// The words of a line; quotes hold words together.
    fn words(line: &str) -> Vec<String> {
        let pieces = line.split('"').enumerate();
        pieces
            .flat_map(|(k, piece)| {
                let quoted = k % 2 == 1;
                if quoted { vec![piece.to_owned()] } else { piece.split_whitespace().map(str::to_owned).collect() }
            })
            .collect()
    }

    #[test]
    fn each_help_begins_with_an_example_that_its_command_takes() {
        let mut all = shown_command_line();
        let commands: Vec<clap::Command> = all.get_subcommands().cloned().collect();
        assert!(commands.len() >= 16, "{}", commands.len());
        for mut command in commands {
            let name = command.get_name().to_owned();
            let help = command.render_long_help().to_string();
            assert!(help.starts_with("Examples:\n  packdrift "), "{name}: {help}");
            let examples = of(&command);
            assert!(!examples.is_empty(), "{name}");
            for example in examples {
                let words = words(&example);
                assert_eq!(words.get(1), Some(&name), "{example}");
                assert!(example.chars().count() <= 96, "{example}");
                let taken = command_line().try_get_matches_from(&words);
                assert!(taken.is_ok(), "{example}: {}", taken.unwrap_err());
            }
        }
        let whole = all.render_long_help().to_string();
        assert!(whole.starts_with("Examples:\n  packdrift tour\n"), "{whole}");
    }

    #[test]
    fn options_stand_under_headings() {
        for command in shown_command_line().get_subcommands() {
            let loose = |a: &&clap::Arg| !a.is_positional() && !a.is_hide_set() && a.get_help_heading().is_none();
            let loose: Vec<_> = command.get_arguments().filter(loose).map(|a| a.get_id().as_str()).collect();
            assert!(loose.len() <= LOOSE, "{}: {loose:?}", command.get_name());
        }
    }

    #[test]
    fn what_is_kept_inside_is_not_shown() {
        let hidden = |command: &clap::Command| command.find_subcommand("try-read").is_some();
        assert!(hidden(&command_line()) && !hidden(&shown_command_line()));
    }
}
