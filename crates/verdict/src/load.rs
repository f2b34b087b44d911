//! A load that sources differ on.

use crate::Verdict;

/// What rests on the load of a spring washer that its formula does not settle: not shown, and that the load is to be measured.
///
/// ```
/// let open = packdrift_verdict::load_not_settled("the load of bay/wave is not settled");
/// assert_eq!(open.exit_status(), 1);
/// assert!(open.what_settles_it().is_some_and(|cure| cure.contains("law = \"table\"")));
/// ```
pub fn load_not_settled(reason: impl Into<String>) -> Verdict {
    Verdict::not_shown(reason).settled_by(
        "Measure the load of the spring washer and give it (law = \"table\", or the rate: law = \"linear\").",
    )
}
