//! Five years of a fleet: how its valves really drift, what was done to them, and what the inspectors wrote down.
//!
//! Truth of a valve's contact offset over the hours h of a segment: `start + slope·h + wander`, the wander a Wiener process;
//! of its stem wear: a gamma process, which cannot heal. A reading adds the inspector's error. On top lie the mishaps that
//! a forecast must survive: a packet of shims that was off, one day's faulty instrument, a pack that slipped, slips of the pen.

use crate::INVENTED;
use crate::random::Draws;
use jiff::civil::{Date, date};
use jiff::{SpanRound, ToSpan, Unit};
use std::fmt::Write as _;

const ENGINES: usize = 24;
const FIRST_DAY: Date = date(2021, 11, 1);
const LAST_DAY: Date = date(2026, 10, 31);

/// The damage zone of the contact offset lies outside these, mm; the policy file repeats them.
const OFFSET_LOWER: f64 = 0.40;
const OFFSET_UPPER: f64 = 1.60;
/// The damage zone of the stem wear lies above, mm.
const STEM_WEAR_UPPER: f64 = 0.15;
/// An inspector re-shims a valve whose reading is this near the zone, mm.
const RESHIM_MARGIN: f64 = 0.10;

/// Standard deviation of one reading of the offset, mm.
const OFFSET_READING_SD: f64 = 0.020;
/// Standard deviation of one reading of the stem wear, mm.
const WEAR_READING_SD: f64 = 0.004;
/// Wander of the offset, mm per square root of an hour.
const WANDER: f64 = 3.0e-4;

/// Engines shimmed from the packet that was off, and by how much, mm.
const OFF_PACKET_ENGINES: std::ops::Range<usize> = 12..18;
const OFF_PACKET_SHIFT: f64 = 0.06;
/// The round of inspections on which engines 7 to 9 (on one day) were read with a faulty instrument, and its error, mm.
const FAULTY_ROUND: usize = 5;
const FAULTY_ENGINES: std::ops::Range<usize> = 6..9;
const FAULTY_SHIFT: f64 = 0.11;
/// The valve whose pack slipped (engine index, valve index), the round before which it did, and by how much, mm.
const SLIP: (usize, usize, usize, f64) = (9, 0, 6, 0.18);

const VALVES: [(&str, &str); 4] =
    [("1 intake", "intake"), ("1 exhaust", "exhaust"), ("2 intake", "intake"), ("2 exhaust", "exhaust")];

/// What the generator knows of one valve at the end of the last segment of its offset.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueValve {
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Segment of the offset, from 1.
    pub segment: u32,
    /// True offset at the segment's start, mm.
    pub start: f64,
    /// True mean drift of the offset, mm per hour.
    pub slope: f64,
    /// True offset at the last reading, mm.
    pub level: f64,
    /// Engine meter at the last reading, hours.
    pub hours: f64,
    /// True stem wear at the last reading, mm.
    pub stem_wear: f64,
}

struct Row {
    engine: usize,
    valve: usize,
    day: Date,
    hours: f64,
    feature: &'static str,
    value: f64,
    event: &'static str,
}

/// The generated fleet.
pub struct Fleet {
    rows: Vec<Row>,
    usage: Vec<f64>,
    truth: Vec<TrueValve>,
    events: Vec<String>,
}

fn engine_name(engine: usize) -> String {
    format!("P{:02}", engine + 1)
}

/// Truth and state of one valve while the years are played through.
struct Valve {
    segment: u32,
    start: f64,
    slope: f64,
    offset: f64,
    wear_rate: f64,
    wear: f64,
    /// Offset, stem wear and meter as they truly were when the inspector left.
    seen: (f64, f64, f64),
}

impl Fleet {
    /// Plays five years.
    pub fn generate(seed: u64) -> Self {
        let mut fleet = Self { rows: Vec::new(), usage: Vec::new(), truth: Vec::new(), events: Vec::new() };
        for engine in 0..ENGINES {
            fleet.play_engine(seed, engine);
        }
        fleet
    }

    fn play_engine(&mut self, seed: u64, engine: usize) {
        let mut draws = Draws::new(seed, 1000 + engine as u64);
        let usage = draws.normal(42.0, 7.0).clamp(24.0, 62.0);
        self.usage.push(usage);
        // All valves of an engine share its oil and load.
        let engine_factor = draws.normal(1.0, 0.12).clamp(0.6, 1.4);
        let mut valves: Vec<Valve> =
            VALVES.iter().map(|&(_, group)| new_valve(&mut draws, engine, group, engine_factor)).collect();

        let mut day = FIRST_DAY.saturating_add((draws.uniform(0.0, 60.0) as i64).days());
        let mut hours = draws.uniform(5.0, 60.0).round();
        let mut round = 0;
        // The engines that were read with the faulty instrument were read on one and the same day.
        let faulty_day = date(2024, 7, 16);
        while day <= LAST_DAY {
            let faulty = round == FAULTY_ROUND && FAULTY_ENGINES.contains(&engine);
            for (index, valve) in valves.iter_mut().enumerate() {
                let slipped = (engine, index, round) == (SLIP.0, SLIP.1, SLIP.2);
                if slipped {
                    valve.offset += SLIP.3;
                    self.events.push(format!("{},{},{day},slip,{:.2}", engine_name(engine), VALVES[index].0, SLIP.3));
                }
                self.inspect(&mut draws, (engine, index), valve, (day, hours), faulty, engine_factor);
            }
            if faulty {
                self.events.push(format!("{},all,{day},faulty instrument,{FAULTY_SHIFT:.2}", engine_name(engine)));
            }
            let mut next = day.saturating_add((draws.normal(204.0, 22.0).clamp(130.0, 280.0) as i64).days());
            if round + 1 == FAULTY_ROUND && FAULTY_ENGINES.contains(&engine) {
                // Some seeds bring an engine past that day: two days then hold its readings before and after the work apart.
                next = faulty_day.max(day.saturating_add(2.days()));
            }
            let elapsed =
                (usage * days_between(day, next) / 7.0 * draws.normal(1.0, 0.08).clamp(0.7, 1.3)).round().max(1.0);
            for valve in &mut valves {
                valve.offset += valve.slope * elapsed + draws.normal(0.0, WANDER * elapsed.sqrt());
                valve.wear += draws.gamma(valve.wear_rate * elapsed / 0.002, 0.002);
            }
            hours += elapsed;
            day = next;
            round += 1;
        }
        // The play has gone on to the day after the last look; the truth is told at that look itself.
        for (index, valve) in valves.iter().enumerate() {
            let (level, stem_wear, hours) = valve.seen;
            self.truth.push(TrueValve {
                engine: engine_name(engine),
                valve: VALVES[index].0.to_owned(),
                segment: valve.segment,
                start: valve.start,
                slope: valve.slope,
                level,
                hours,
                stem_wear,
            });
        }
    }

    fn inspect(
        &mut self,
        draws: &mut Draws,
        (engine, index): (usize, usize),
        valve: &mut Valve,
        (day, hours): (Date, f64),
        faulty: bool,
        engine_factor: f64,
    ) {
        let shift = if faulty { FAULTY_SHIFT } else { 0.0 };
        let read = |draws: &mut Draws, truth: f64| {
            // Now and then a figure is misread or mistyped: a heavy tail.
            let sd = if draws.uniform(0.0, 1.0) < 0.01 { 5.0 } else { 1.0 } * OFFSET_READING_SD;
            round_to(draws.normal(truth + shift, sd), 3)
        };
        let found = read(draws, valve.offset);
        let mut push = |feature, value, event| {
            self.rows.push(Row { engine, valve: index, day, hours, feature, value, event });
        };
        push("contact_offset", found, "");
        let near = !(OFFSET_LOWER + RESHIM_MARGIN..=OFFSET_UPPER - RESHIM_MARGIN).contains(&found);
        // A crowded winter: some that should have been re-shimmed were left, which is what the planner must find.
        let done = near && draws.uniform(0.0, 1.0) < 0.75;
        let worn = valve.wear > STEM_WEAR_UPPER - 0.01 && draws.uniform(0.0, 1.0) < 0.8;
        let wear_reading = round_to(draws.normal(valve.wear, WEAR_READING_SD).max(0.0), 3);
        push("stem_wear", wear_reading, "");
        let mut later = Vec::new();
        if done {
            valve.segment += 1;
            valve.offset = draws.normal(1.0, 0.045);
            valve.start = valve.offset;
            later.push(("reshim", "contact_offset", read(draws, valve.offset)));
        }
        if worn {
            valve.wear = 0.0;
            valve.wear_rate = wear_rate(draws, VALVES[index].1, engine_factor);
            later.push(("replace", "stem_wear", round_to(draws.normal(0.0, WEAR_READING_SD).max(0.0), 3)));
        }
        for (event, feature, value) in later {
            // Read again after the engine has run an hour with the new parts.
            self.rows.push(Row {
                engine,
                valve: index,
                day: day.saturating_add(1.day()),
                hours: hours + 1.0,
                feature,
                value,
                event,
            });
            self.events.push(format!("{},{},{day},{event},", engine_name(engine), VALVES[index].0));
        }
        valve.seen = (valve.offset, valve.wear, hours);
    }

    /// The true state of every valve.
    pub fn truth(&self) -> &[TrueValve] {
        &self.truth
    }

    pub(crate) fn inspections_csv(&self) -> String {
        let mut text = format!("{INVENTED}\nengine,valve,date,hours,feature,value,event,group\n");
        for r in &self.rows {
            let (valve, group) = VALVES[r.valve];
            let _ = writeln!(
                text,
                "{},{valve},{},{:.0},{},{:.3},{},{group}",
                engine_name(r.engine),
                r.day,
                r.hours,
                r.feature,
                r.value,
                r.event
            );
        }
        text
    }

    pub(crate) fn policy_toml(&self) -> String {
        let mut text = format!(
            "{INVENTED}

risk = 0.05                        # largest acceptable chance of being in the damage zone before the next look
horizon = 2000                     # hours

[feature.contact_offset]
unit = \"mm\"
lower = {OFFSET_LOWER:.2}                       # outside lower..upper is the damage zone
upper = {OFFSET_UPPER:.2}

[feature.stem_wear]
unit = \"mm\"
upper = {STEM_WEAR_UPPER:.2}

[usage]                            # hours a week; by engine where it differs
default = 42
"
        );
        for (engine, usage) in self.usage.iter().enumerate().filter(|(_, u)| (*u - 42.0).abs() > 8.0) {
            let _ = writeln!(text, "{} = {usage:.0}", engine_name(engine));
        }
        text.push_str(
            "
[[window]]                         # service windows
start = 2027-03-01
end = 2027-03-12
engines = 6                        # how many can be done in it
[[window]]
start = 2027-06-14
end = 2027-06-25
engines = 6
[[window]]
start = 2027-10-04
end = 2027-10-15
engines = 8

[cost]                             # for the cheapest interval
planned = 180
failure = 2600
",
        );
        text
    }

    pub(crate) fn truth_csv(&self) -> String {
        let mut text =
            format!("{INVENTED}\nengine,valve,segment,start_mm,slope_mm_per_hour,level_mm,hours,stem_wear_mm\n");
        for t in &self.truth {
            let _ = writeln!(
                text,
                "{},{},{},{:.5},{:.8},{:.5},{:.0},{:.5}",
                t.engine, t.valve, t.segment, t.start, t.slope, t.level, t.hours, t.stem_wear
            );
        }
        text
    }

    pub(crate) fn truth_events_csv(&self) -> String {
        let mut text = format!("{INVENTED}\nengine,valve,date,what,size_mm\n");
        for engine in OFF_PACKET_ENGINES {
            let _ =
                writeln!(text, "{},all,,shims from the packet that was off,{OFF_PACKET_SHIFT:.2}", engine_name(engine));
        }
        for event in &self.events {
            text.push_str(event);
            text.push('\n');
        }
        text
    }
}

fn new_valve(draws: &mut Draws, engine: usize, group: &str, engine_factor: f64) -> Valve {
    let off = if OFF_PACKET_ENGINES.contains(&engine) { OFF_PACKET_SHIFT } else { 0.0 };
    let start = draws.normal(1.0 + off, 0.045);
    // Exhaust rockers creep outwards, intake rockers inwards: which limit matters is decided by the drift's direction.
    let slope =
        engine_factor * if group == "exhaust" { draws.normal(4.6e-5, 1.4e-5) } else { draws.normal(-2.6e-5, 1.1e-5) };
    let wear_rate = wear_rate(draws, group, engine_factor);
    Valve { segment: 1, start, slope, offset: start, wear_rate, wear: 0.0, seen: (start, 0.0, 0.0) }
}

/// Mean growth of the stem wear, mm per hour.
fn wear_rate(draws: &mut Draws, group: &str, engine_factor: f64) -> f64 {
    engine_factor * if group == "exhaust" { draws.gamma(16.0, 0.75e-6) } else { draws.gamma(16.0, 0.45e-6) }
}

fn days_between(from: Date, to: Date) -> f64 {
    from.until(to)
        .and_then(|span| span.round(SpanRound::new().largest(Unit::Day).relative(from)))
        .map_or(0.0, |span| f64::from(span.get_days()))
}

fn round_to(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}
