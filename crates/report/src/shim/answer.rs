//! The answer: the sentence that decides, and what to do.

use super::words::{chance, chance_of, standing, steps};
use super::{Current, Shimming};
use crate::number::{counted, fixed, percent};
use crate::page::Answer;
use crate::table::Standing;
use packdrift_stock::{After, Build, Candidate, Compared, Missing, Origin, Proposal, Rounds, Warning};
use packdrift_verdict::Standing as Verdict;

/// The answer to a question, its steps apart from what else there is to say: a page lists them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Said {
    standing: Standing,
    sentence: String,
    /// What to do first; empty where that is no build.
    steps: Vec<String>,
    /// What follows the steps.
    more: String,
}

impl Said {
    /// Steps and all.
    pub(super) fn whole(self) -> Answer {
        let advice = format!("{} {}", self.steps.join(" "), self.more.trim());
        Answer { standing: self.standing, sentence: self.sentence, advice: advice.trim().to_owned() }
    }

    /// For a page that has the steps in a list.
    pub(super) fn beside_its_steps(self) -> Answer {
        Self { steps: Vec::new(), ..self }.whole()
    }
}

/// The answer to a question, and what to do.
pub(super) fn answer(shimming: &Shimming<'_>) -> Answer {
    said(shimming).whole()
}

pub(super) fn said(shimming: &Shimming<'_>) -> Said {
    match shimming.rounds {
        Some(rounds) => after_builds(shimming, rounds),
        None => before(shimming),
    }
}

fn before(shimming: &Shimming<'_>) -> Said {
    let proposal = shimming.proposal;
    let Some(advised) = proposal.advised() else {
        let sentence = "No build can be assembled from these pieces.".to_owned();
        return Said { standing: Standing::Act, sentence, steps: Vec::new(), more: String::new() };
    };
    let mut sentence = unread(shimming);
    sentence.push_str(&if !shimming.bench.doubtful().is_empty() {
        format!(
            "Read {} again before anything is built: {}.",
            shimming.bench.doubtful().join(" and "),
            surprises(shimming, shimming.bench.readings())
        )
    } else if proposal.fewest.is_none() {
        not_good_enough(shimming, proposal, advised)
    } else if advised.is_as_now() {
        format!(
            "Leave {} as it is: offset and preload are inside their limits with a chance of {}.",
            shimming.valves(),
            chance_of(advised)
        )
    } else {
        format!(
            "For {}: {} touched, and offset and preload come inside their limits with a chance of {}.",
            shimming.valves(),
            counted(advised.touched, "part"),
            chance_of(advised)
        )
    });
    let mut steps = steps(advised, shimming.lengths);
    let mut advice = String::new();
    if !shimming.bench.doubtful().is_empty() {
        let then = std::mem::take(&mut steps).join(" ");
        advice = format!("If the latest reading is right, with a chance of {}: {then}", chance_of(advised));
    }
    if proposal.fewest.is_some() {
        advice.push_str(&in_doubt(shimming, shimming.bench.chance_with_a_worse_gauge(advised)));
    }
    if let Some(missing) = &proposal.missing {
        advice.push(' ');
        advice.push_str(&wanted(shimming, missing));
    } else if no_piece_helps(proposal) {
        advice.push_str(&what_else(advised));
    }
    advice.push_str(&reasons(proposal));
    Said { standing: standing(proposal.verdict.standing()), sentence, steps, more: advice }
}

/// That no piece would help, and what to do then.
fn what_else(best: &Build) -> String {
    let mut words = " No single further piece, of whatever thickness, does better.".to_owned();
    if best.is_as_now() {
        words.push_str(
            " Look whether the parts in the bay are those of the pack file and its limits what is meant; put further sizes into the drawer file, or let a piece be \
             thinned (--dress).",
        );
    }
    words
}

/// Whether pieces were looked for that the drawer has not, and none would bring more than the best build has.
fn no_piece_helps(proposal: &Proposal) -> bool {
    let too_coarse = proposal.warnings.iter().any(|warning| matches!(warning, Warning::ReadingTooCoarse { .. }));
    proposal.fewest.is_none() && proposal.missing.is_none() && !too_coarse
}

/// What rests on the gauge: ` The chance is that of a gauge with a standard uncertainty of 0.020 mm; with one twice as bad it would be 96.3 %.`
fn in_doubt(shimming: &Shimming<'_>, chance: Option<f64>) -> String {
    let (Some(chance), Some(u)) = (chance, shimming.measured.first().map(|m| m.u)) else { return String::new() };
    format!(
        " The chance is that of a gauge with a standard uncertainty of {}; with one twice as bad it would be {}.",
        shimming.lengths.with_unit(u),
        crate::number::chance(chance)
    )
}

/// That a valve was not measured is said first.
fn unread(shimming: &Shimming<'_>) -> String {
    let unread = shimming.bench.unread();
    if unread.is_empty() {
        return String::new();
    }
    let valves = unread.join(" and ");
    let only = if unread.len() == shimming.measured.len() { "No reading was used" } else { "One reading is missing" };
    format!("{only}: {valves} was not measured, so this is by the pack file alone. ")
}

/// What the verdict says besides what the sentence has said: other rockers that need a look, a bay that is loose.
fn reasons(proposal: &Proposal) -> String {
    let good_but_open = proposal.verdict.standing() == Verdict::NotShown && proposal.fewest.is_some();
    if proposal.verdict.standing() != Verdict::Watch && !good_but_open {
        return String::new();
    }
    let cure = proposal.verdict.what_settles_it().unwrap_or_default();
    format!(" But {}. {cure}", proposal.verdict.reasons().join("; "))
}

fn not_good_enough(shimming: &Shimming<'_>, proposal: &Proposal, best: &Build) -> String {
    let valves = shimming.valves();
    let wanted = percent(shimming.enough);
    if shimming.bench.is_loose() {
        return format!(
            "The bay is loose, and a reading of {valves} says little: no build is sure to bring it inside. Make this one, which takes up the \
             play, and read again; its chance is {}, wanted are {wanted}.",
            chance_of(best)
        );
    }
    let out = best.forecast.others.iter().filter(|other| {
        let now = proposal.now.others.iter().find(|now| now.valve == other.valve);
        now.is_some_and(|now| now.chance - other.chance > 1.0 - shimming.enough)
    });
    if let Some(out) = out.min_by(|a, b| a.chance.total_cmp(&b.chance)) {
        return format!(
            "No build from this drawer is good enough for {valves}: the best, with a chance of {}, pushes the rocker of {} out of its limits \
             (inside with {}). Measure that one too and name it with --also.",
            chance_of(best),
            out.valve,
            chance(out.chance, out.chance_se)
        );
    }
    if best.is_as_now() {
        return format!(
            "No piece in the drawer helps {valves}: as it stands the bay is inside its limits with a chance of {}, wanted are {wanted}.",
            chance_of(best)
        );
    }
    format!(
        "No build from this drawer is good enough for {valves}: the best comes inside with a chance of {}, wanted are {wanted}.",
        chance_of(best)
    )
}

/// What piece is wanted, and where it would go.
fn wanted(shimming: &Shimming<'_>, missing: &Missing) -> String {
    let lengths = shimming.lengths;
    let thickness = lengths.with_unit(missing.thickness);
    let mut words = match missing.good_enough {
        Some((low, high)) => format!(
            "What is missing is a piece of {thickness} (anything from {} to {})",
            lengths.fixed(low),
            lengths.fixed(high)
        ),
        None => format!("No single further piece would be enough; the one that brings most is of {thickness}"),
    };
    if let Some(near) = &missing.nearest_to_be_had {
        words.push_str(&format!(
            "; the best that can be had is {} ({}), chance {}",
            near.name,
            where_it_is(near),
            chance(near.chance, near.chance_se)
        ));
    }
    words.push_str(&format!(
        ". With it, a chance of {}: {}",
        chance_of(&missing.build),
        steps(&missing.build, lengths).join(" ")
    ));
    words
}

fn where_it_is(near: &Candidate) -> String {
    match (near.in_drawer, near.lead_days) {
        (true, _) => "in the drawer".to_owned(),
        (false, Some(days)) => format!("to be ordered, {} days", fixed(days, 0)),
        (false, None) => "to be ordered".to_owned(),
    }
}

/// `1 exhaust reads +1.200 mm where +1.002 ± 0.030 was expected`, for the latest reading of each valve; that readings do not agree, where it is that
/// which is in doubt.
fn surprises(shimming: &Shimming<'_>, readings: &[Compared]) -> String {
    let lengths = shimming.lengths;
    let latest = |k: &usize| readings[k + 1..].iter().all(|later| later.valve != readings[*k].valve);
    let words: Vec<String> = (0..readings.len())
        .filter(latest)
        .map(|k| {
            let one = &readings[k];
            let before: Vec<String> = readings[..k]
                .iter()
                .filter(|other| other.valve == one.valve)
                .map(|other| lengths.signed(other.reading))
                .collect();
            if !one.believed && !one.is_surprising() && !before.is_empty() {
                return format!(
                    "{} read {} and then {} {}, which do not agree",
                    one.valve,
                    before.join(", "),
                    lengths.signed(one.reading),
                    lengths.unit()
                );
            }
            format!(
                "{} reads {} {} where {} was expected",
                one.valve,
                lengths.signed(one.reading),
                lengths.unit(),
                lengths.plus_minus(one.surprise.expected, one.surprise.sd)
            )
        })
        .collect();
    words.join("; ")
}

fn after_builds(shimming: &Shimming<'_>, rounds: &Rounds) -> Said {
    let after = &rounds.after;
    let read = surprises(shimming, &after.readings);
    let now = chance(after.now.chance, after.now.chance_se);
    let sentence = match (after.verdict.standing(), &after.doubt) {
        (Verdict::Shown, _) => {
            let aside = set_aside(shimming, &after.readings);
            format!("Done. After build {}: {read}; inside the limits with a chance of {now}.{aside}", rounds.number)
        }
        (Verdict::Watch, _) => format!(
            "Done for {}. After build {}: {read}; inside the limits with a chance of {now}.{} But {}.",
            shimming.valves(),
            rounds.number,
            set_aside(shimming, &after.readings),
            after.verdict.reasons().join("; ")
        ),
        (_, Some(doubt)) => format!(
            "Read {} again. After build {}: {read}. If that is right the bay is inside its limits with a chance of {now}; if it is not, with {}.",
            doubt.valves.join(" and "),
            rounds.number,
            chance(doubt.without.chance, doubt.without.chance_se)
        ),
        (Verdict::ReadAgain, None) => format!(
            "Read again: {}. After build {}: {read}; inside the limits with a chance of {now}.",
            after.verdict.reasons().join("; "),
            rounds.number
        ),
        _ => format!(
            "Not done. After build {}: {read}; inside the limits with a chance of {now}{}.",
            rounds.number,
            outside(shimming, &after.readings)
        ),
    };
    let (standing, more) = (standing(after.verdict.standing()), what_now(shimming, rounds));
    Said { standing, sentence, steps: Vec::new(), more }
}

/// ` Set aside: 1 exhaust +1.200 mm, which later readings do not bear out.`; nothing where all are believed.
fn set_aside(shimming: &Shimming<'_>, readings: &[Compared]) -> String {
    let lengths = shimming.lengths;
    let aside: Vec<String> = readings
        .iter()
        .filter(|one| !one.believed)
        .map(|one| format!("{} {} {}", one.valve, lengths.signed(one.reading), lengths.unit()))
        .collect();
    if aside.is_empty() {
        return String::new();
    }
    format!(" Set aside: {}, which the other readings do not bear out.", aside.join(", "))
}

/// What is to be read instead, once for each valve that reads outside its limits.
fn outside(shimming: &Shimming<'_>, readings: &[Compared]) -> String {
    let lengths = shimming.lengths;
    let latest = |k: usize| !readings[k + 1..].iter().any(|later| later.valve == readings[k].valve && later.believed);
    let out: Vec<String> = readings
        .iter()
        .enumerate()
        .filter(|&(k, one)| one.believed && one.is_outside() && latest(k))
        .map(|(_, one)| {
            format!(", and {} is to read {} {}", one.valve, lengths.range(one.limits.0, one.limits.1), lengths.unit())
        })
        .collect();
    out.concat()
}

fn what_now(shimming: &Shimming<'_>, rounds: &Rounds) -> String {
    let after = &rounds.after;
    let mut advice = String::new();
    if after.doubt.is_some() {
        advice.push_str(
            "A surprising reading is not believed alone: look for dirt, a wrong piece or a rocker that hangs, and read again (a further --result). ",
        );
    }
    if !after.contradicted.is_empty() {
        advice.push_str(&contradicted(rounds, after));
    }
    let next = match shimming.current() {
        Current { proposal: Some(next), .. } => next.advised().filter(|build| !build.is_as_now()),
        _ => None,
    };
    if let Some(next) = next {
        let when = if after.verdict.standing() == Verdict::ReadAgain { "If it reads so again, next" } else { "Next" };
        advice.push_str(&format!(
            "{when}: {} That comes inside with a chance of {}.",
            steps(next, shimming.lengths).join(" "),
            chance_of(next)
        ));
    } else {
        if let (false, Some(cure)) = (after.done, after.verdict.what_settles_it()) {
            advice.push_str(cure);
        }
        advice.push_str(&no_next(shimming));
    }
    if after.verdict.exit_status() == 0 {
        advice.push_str(&in_doubt(shimming, after.bench.now_with_a_worse_gauge()));
    }
    advice.trim().to_owned()
}

/// Where a next build was looked for, and the bay as it is stands better than with any: that no piece helps, and what would.
fn no_next(shimming: &Shimming<'_>) -> String {
    let Current { proposal: Some(next), .. } = shimming.current() else { return String::new() };
    let Some(best) = next.advised().filter(|build| build.is_as_now() && !build.good_enough) else {
        return String::new();
    };
    let what =
        next.missing.as_ref().map_or_else(|| what_else(best), |missing| format!(" {}", wanted(shimming, missing)));
    format!(" No piece in the drawer helps.{what}")
}

/// Readings that agree with each other and not with what was expected.
fn contradicted(rounds: &Rounds, after: &After) -> String {
    let put_in: Vec<&str> = rounds
        .build
        .put_in()
        .filter(|piece| matches!(piece.origin, Origin::Drawer { .. }))
        .map(|piece| piece.name.as_str())
        .collect();
    let pieces = if put_in.is_empty() { String::new() } else { format!(" ({})", put_in.join(", ")) };
    format!(
        "The readings of {} agree with each other and not with what was expected: a piece that was put in is not what its label says, or the \
         reading before the build was wrong. Take out what was put in{pieces} and measure it. ",
        after.contradicted.join(" and ")
    )
}
