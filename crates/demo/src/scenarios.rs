//! Decisions a planner might try beside today's plan.

use crate::INVENTED;

/// A third more running.
pub(crate) fn busy() -> String {
    format!("{INVENTED}\n\nscenario = \"A third more running\"\n\n[running]\nall = 1.33\n")
}

/// A window more.
pub(crate) fn one_window_more() -> String {
    format!(
        "{INVENTED}\n\nscenario = \"One window more, in January\"\n\n[[add]]\nstart = 2027-01-11\nend = 2027-01-22\nengines = 4\n"
    )
}
