//! How does a packet's shared deviation change the spread of preload and offset?
//!
//! The idea: the shims of one packet come from one strip, so they are thick or thin *together*. A sum of n such shims scatters by
//! √(n·within² + n²·between²), not by √(n·(within² + between²)). Three steps:
//!
//! 1. the trade's own example, three shims from one packet, all 7.9 % thick;
//! 2. the demo pack twice: as it is, and with the lots' scatter given to each part on its own;
//! 3. the same again for packets that scatter less and more.
//!
//! It should show: a preload that spreads wider with shared packets (four washers of one packet add up), and an offset that barely
//! changes (only the parts between a face and the rocker count: one washer and one shim).

use crate::chart::{Chart, Mark, Series};
use crate::demo;
use maud::html;
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::Standing;
use packdrift_spread::{Distribution, MethodChoice, Options, Silent, Stack, StackResult, analyse};
use std::error::Error;

/// Packets' scatter, as a multiple of what the demo pack has.
const FACTORS: [f64; 6] = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0];

pub(crate) fn study() -> Result<Page, Box<dyn Error>> {
    let stack = packdrift_records::read_stack(&demo("pack.toml"))?.value;
    let requirements = ["preload, cylinder 1", "offset, 1 exhaust"];
    let mut figures = Vec::new();
    let mut at_one = Vec::new();
    for name in requirements {
        let (mut shared, mut own) = (Vec::new(), Vec::new());
        for factor in FACTORS {
            let scaled = with_packets_scattering(&stack, factor);
            let (s, o) = (sd_of(&scaled, name)?, sd_of(&independent(&scaled)?, name)?);
            shared.push((factor, s));
            own.push((factor, o));
            if (factor - 1.0).abs() < f64::EPSILON {
                at_one.push((name, s, o));
            }
        }
        let unit = if name.starts_with("preload") { "N" } else { "mm" };
        let chart = Chart {
            id: &format!("sd of {name}"),
            title: &format!("Standard deviation of the {name}, when running"),
            description: format!(
                "Two curves over the packets' scatter. Shared: from {} to {} {unit}. Independent: from {} to {} {unit}.",
                number::significant(shared[0].1, 3),
                number::significant(shared[FACTORS.len() - 1].1, 3),
                number::significant(own[0].1, 3),
                number::significant(own[FACTORS.len() - 1].1, 3)
            ),
            caption: "Where the curves part, the assumption that every part scatters on its own is wrong by that much.",
            x: "packets' scatter over the demo's",
            y: &format!("standard deviation, {unit}"),
            holds: &[0.0],
        };
        figures.push(chart.figure(&[
            Series {
                label: "parts of one packet together (true)".into(),
                ink: Ink::Main,
                mark: Mark::Line,
                points: shared,
            },
            Series { label: "every part on its own".into(), ink: Ink::Limit, mark: Mark::Dashes, points: own },
        ])?);
    }
    let (_, preload_shared, preload_own) = at_one[0];
    let (_, offset_shared, offset_own) = at_one[1];
    let (sum_shared, sum_own) = three_shims();

    Ok(Page {
        lead: None,
        title: "One packet, one deviation".into(),
        kind: "Study".into(),
        notice: "Invented data, except the three shims of the first section.".into(),
        answer: Some(Answer {
            standing: Standing::Attend,
            sentence: format!(
                "Counting each part on its own understates the spread of the demo's preload by {} and that of the offset by {}.",
                number::percent(1.0 - preload_own / preload_shared),
                number::percent(1.0 - offset_own / offset_shared)
            ),
            advice: "Name the packet (lot = …) of every shim and washer that comes from one.".into(),
        }),
        sections: vec![
            Section::new(
                "Three shims from one packet",
                html! {
                    p { "A shim sold as 0.381 mm measured 0.411, two sold as 0.762 measured 0.822 each (common practice, no source): a planned \
                         sum of 1.905 became 2.055. All three are 7.9 % thick, which is one deviation seen three times, not three." }
                    p { "Give the sizes a standard deviation of 7.9 % of the size. If the three scatter independently, the sum's standard \
                         deviation is " (number::significant(sum_own, 3)) " mm; if they share it, " (number::significant(sum_shared, 3))
                        " mm. The observed excess of 0.150 mm is " (number::significant(0.150 / sum_own, 2)) " standard deviations under the first \
                         assumption and " (number::significant(0.150 / sum_shared, 2)) " under the second: an ordinary packet, not a rarity." }
                },
            ),
            Section::new(
                "The demo pack, both ways",
                html! {
                    p { "Preload depends on the sum of all parts: four washers of one packet count four times what their packet is off. The offset \
                         depends on the parts between one face and the rocker only: one washer and one shim, from two packets, so sharing \
                         changes nothing there as long as a side holds one part of each packet." }
                    @for figure in &figures { (figure.html()) }
                },
            ),
        ],
        cautions: Vec::new(),
    })
}

fn with_packets_scattering(stack: &Stack, factor: f64) -> Stack {
    let mut scaled = stack.clone();
    for lot in &mut scaled.lots {
        lot.between *= factor;
    }
    scaled
}

/// The same parts, each with its packet's scatter to itself.
fn independent(stack: &Stack) -> Result<Stack, Box<dyn Error>> {
    let mut alone = stack.clone();
    for input in &mut alone.inputs {
        let Some(lot) = input.lot.take() else { continue };
        let lot = &stack.lots[lot];
        let Distribution::Normal { mean, sd } = input.distribution else {
            return Err("the study expects normal scatter within lots".into());
        };
        input.distribution = Distribution::normal(mean + lot.bias, sd.hypot(lot.between))?;
    }
    Ok(alone)
}

fn sd_of(stack: &Stack, requirement: &str) -> Result<f64, Box<dyn Error>> {
    let result = run(stack)?;
    let found = result.requirements.iter().find(|r| r.name == requirement && r.condition == "running");
    found.and_then(|r| r.spread.sd).ok_or_else(|| format!("no standard deviation of {requirement}").into())
}

fn run(stack: &Stack) -> Result<StackResult, Box<dyn Error>> {
    let options = Options { method: MethodChoice::MonteCarlo, trials: Some(400_000), ..Options::default() };
    Ok(analyse(stack, &options, &Silent)?)
}

/// Standard deviation of 0.381 + 2 × 0.762 mm where each is off by 7.9 % of its size: all by the same, and each by its own.
fn three_shims() -> (f64, f64) {
    let sizes = [0.381, 0.762, 0.762];
    let shared = 0.079 * sizes.iter().sum::<f64>();
    let own = 0.079 * sizes.iter().map(|s| s * s).sum::<f64>().sqrt();
    (shared, own)
}
