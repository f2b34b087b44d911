//! What a gauge's scatter takes of what it must judge, how two neighbouring sizes look to it, and who reads how.

use super::Gauged;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw, fitted};
use crate::figure::drafting::dimension;
use crate::figure::ink::Ink;
use crate::figure::labels::Labels;
use crate::figure::{Error, Figure, Format, unique};
use crate::number::{estimated_share, significant};
use crate::table::{Cell, Column, Table};
use packdrift_lot::gauge::{Discrimination, GaugeStudy, SdEstimate};

/// All figures of a study.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(gauged: &Gauged) -> Result<Vec<Figure>, Error> {
    let (study, unit) = (&gauged.study, gauged.unit());
    let mut all = vec![sources(study)?];
    if let Some(d) = study.discrimination {
        all.push(two_sizes(study, &d, unit)?);
    }
    if study.by_operator.len() > 1 {
        all.push(operators(study, unit)?);
    }
    unique(&mut all.iter_mut().collect::<Vec<_>>());
    Ok(all)
}

/// Each source's share of the tolerance, or of all scatter, against the two bounds.
fn sources(study: &GaugeStudy) -> Result<Figure, Error> {
    let c = &study.components;
    let share = |sd: f64| study.options.tolerance.map_or(sd / c.total.sd, |t| 6.0 * sd / t);
    let of = if study.options.tolerance.is_some() { "the tolerance" } else { "all scatter seen" };
    let mut rows: Vec<(&str, SdEstimate)> = vec![("same operator again", c.repeatability)];
    rows.extend(c.operators.map(|e| ("between operators", e)));
    rows.extend(c.interaction.map(|e| ("operators, by part", e)));
    rows.push(("the gauge in all", c.gauge));
    let mut table = Table::new(
        "sources",
        &format!("Share of {of} that each source of the gauge's scatter takes"),
        vec![Column::text("source"), Column::number("share"), Column::number("from"), Column::number("to")],
    );
    for (name, e) in &rows {
        table.push(vec![
            Cell::text(*name),
            Cell::estimated_share(share(e.sd)),
            Cell::estimated_share(share(e.interval.lower)),
            Cell::estimated_share(share(e.interval.upper)),
        ]);
    }
    let (fit, unfit) = (study.options.fit_up_to, study.options.unfit_above);
    let most = rows.iter().map(|r| share(r.1.sd)).fold(0.0, f64::max).max(1.25 * unfit);
    let whisker = share(c.gauge.interval.upper).min(1.6 * most);
    let high = most.max(whisker).min(2.5 * most) * 1.04;
    Figure::draw(
        "sources",
        format!("What the gauge takes of {of}: {}", estimated_share(study.deciding_share)),
        format!(
            "Bars: {}. Good up to {}, marginal up to {}.",
            rows.iter().map(|(n, e)| format!("{n} {}", estimated_share(share(e.sd)))).collect::<Vec<_>>().join(", "),
            estimated_share(fit),
            estimated_share(unfit)
        ),
        format!(
            "Bars are {}; the fine line is what the readings leave open, and the verdict is by its right end for the gauge in all (an arrow: it goes on). Shares of sources do not add: their squares do.",
            if study.options.tolerance.is_some() {
                "six standard deviations over the width of the tolerance"
            } else {
                "standard deviations over that of all readings"
            }
        ),
        table,
        |format| {
            let row = format.pick(44.0, 56.0);
            let (width, top) = (format.pick(960.0, 360.0), 44.0);
            let height = top + row * rows.len() as f64 + 48.0;
            draw(width, height, |canvas| {
                let (left, right, bottom) = (format.pick(190.0, 10.0), width - 24.0, height - 48.0);
                let x = Axis::new(0.0, 100.0 * high, left, right);
                for (from, to, ink) in
                    [(0.0, fit, Ink::MainWash), (fit, unfit, Ink::SecondWash), (unfit, high, Ink::LimitWash)]
                {
                    canvas.rectangle((x.within(100.0 * from), top - 4.0), (x.within(100.0 * to), bottom), ink)?;
                }
                // Told apart in grey print too: plain, hatched, hatched closer the other way.
                for (from, to, apart, falling, ink) in
                    [(fit, unfit, 14.0, false, Ink::Second), (unfit, high, 8.0, true, Ink::Limit)]
                {
                    let (a, b) = ((x.within(100.0 * from), top - 4.0), (x.within(100.0 * to), bottom));
                    canvas.hatch(a, b, apart, falling, Pen::new(ink, 0.5))?;
                }
                let labels = Labels::new(canvas);
                for (from, to, word, ink) in [
                    (0.0, fit, "good", Ink::Main),
                    (fit, unfit, "marginal", Ink::Second),
                    (unfit, high, "too much", Ink::Limit),
                ] {
                    let middle = 0.5 * (x.within(100.0 * from) + x.within(100.0 * to));
                    let places = [top - 14.0, top - 30.0].map(|y| ((middle, y), Anchor::Middle));
                    labels.put(word, Lettering::SMALL, Lettering::new(ink, Lettering::SMALL).bold(), &places)?;
                }
                x.draw_horizontal(canvas, bottom, None, &format!("share of {of}, %"))?;
                for (k, (name, e)) in rows.iter().enumerate() {
                    let whole = *name == "the gauge in all";
                    let y = top + row * (k as f64 + 0.5) + format.pick(0.0, 9.0);
                    let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
                    let lettering = if whole { lettering.bold() } else { lettering };
                    match format {
                        Format::Wide => canvas.text(name, (left - 10.0, y), lettering.anchored(Anchor::End))?,
                        Format::Narrow => {
                            // On paper: hatching would strike it out.
                            let wide = lettering.width(name);
                            canvas.rectangle((left + 2.0, y - 28.0), (left + wide + 6.0, y - 11.0), Ink::Paper)?;
                            canvas.text(name, (left + 4.0, y - 19.0), lettering)?;
                        }
                    }
                    let end = x.within(100.0 * share(e.sd));
                    let half = if whole { 10.0 } else { 7.0 };
                    canvas.rectangle((left, y - half), (end, y + half), if whole { Ink::Main } else { Ink::Metal })?;
                    canvas.outline((left, y - half), (end, y + half), Pen::new(Ink::Ink, 0.8))?;
                    let (from, to) =
                        (x.within(100.0 * share(e.interval.lower)), x.within(100.0 * share(e.interval.upper)));
                    canvas.line((from, y), (to, y), Pen::new(Ink::Ink, 1.4))?;
                    for (at, end) in [(from, e.interval.lower), (to, e.interval.upper)] {
                        if x.holds(100.0 * share(end)) {
                            canvas.line((at, y - 4.0), (at, y + 4.0), Pen::new(Ink::Ink, 1.4))?;
                        } else {
                            // It goes on beyond the figure: an arrow.
                            canvas.polygon(&[(at, y), (at - 8.0, y - 4.0), (at - 8.0, y + 4.0)], Ink::Ink)?;
                        }
                    }
                }
                Ok(())
            })
        },
    )
}

/// Single readings of two parts that differ by what must be told.
fn two_sizes(study: &GaugeStudy, d: &Discrimination, unit: &str) -> Result<Figure, Error> {
    let sd = study.components.gauge.sd;
    let mut table = Table::new(
        "two-sizes",
        "Two sizes as the gauge reads them",
        vec![Column::text("what"), Column::number("value").unit(unit)],
    );
    for (what, value) in [
        ("difference to be told", d.difference),
        ("standard deviation of a single reading", sd),
        ("smallest difference told", d.smallest_told),
    ] {
        table.push(vec![Cell::text(what), Cell::significant(value, 3)]);
    }
    let verdict = match (d.can_tell, d.difference >= d.smallest_told) {
        (true, _) => "told apart",
        (false, true) => "not shown to be told apart",
        (false, false) => "not told apart",
    };
    Figure::draw(
        "two sizes",
        format!("Two sizes {} {unit} apart: {verdict}", significant(d.difference, 2)),
        format!(
            "Where single readings of a part and of one {} {unit} larger fall, as two curves; the smallest difference told is {} {unit}.",
            significant(d.difference, 2),
            significant(d.smallest_told, 2)
        ),
        format!(
            "How often a single reading by anyone falls where, for a part and for one {} {unit} thicker. The wrong one reads larger with a chance of {}.",
            significant(d.difference, 2),
            estimated_share(d.wrong_order)
        ),
        table,
        |format| {
            let (width, height) = (format.pick(960.0, 360.0), format.pick(270.0, 270.0));
            draw(width, height, |c| {
                let (left, right, top, bottom) = (10.0, width - 10.0, 86.0, height - 46.0);
                let pad = (4.0 * sd).max(0.35 * d.difference);
                let x = Axis::new(-pad, d.difference + pad, left, right);
                let curve = |middle: f64| -> Vec<(f64, f64)> {
                    (-80..=80)
                        .map(|k| {
                            let z = f64::from(k) / 20.0;
                            (x.at(middle + z * sd), bottom - (bottom - top) * (-0.5 * z * z).exp())
                        })
                        .collect()
                };
                // Names stand over their curves, or to either side of them where these are near each other.
                let near = x.at(d.difference) - x.at(0.0) < 90.0;
                let outwards = |anchor| if near { anchor } else { Anchor::Middle };
                for (middle, wash, ink, name, anchor) in [
                    (0.0, Ink::MainWash, Ink::Main, "a part", outwards(Anchor::End)),
                    (d.difference, Ink::SecondWash, Ink::Second, "the next size", outwards(Anchor::Start)),
                ] {
                    let line = curve(middle);
                    let mut area = line.clone();
                    area.push((line[line.len() - 1].0, bottom));
                    area.push((line[0].0, bottom));
                    c.polygon(&area, wash)?;
                    c.polyline(&line, Pen::new(ink, 2.0))?;
                    c.text(name, (x.at(middle), 34.0), Lettering::new(ink, Lettering::NORMAL).bold().anchored(anchor))?;
                    c.line((x.at(middle), 44.0), (x.at(middle), bottom), Pen::new(ink, 1.0).dashed(Dash::Short))?;
                }
                // The first curve's line again: the second's wash may lie over it.
                c.polyline(&curve(0.0), Pen::new(Ink::Main, 2.0))?;
                let told = format!("told from {} {unit} on", significant(d.smallest_told, 2));
                let end = x.within(d.smallest_told);
                dimension(c, x.at(0.0), end, 70.0, "", Ink::Ink)?;
                // On a line of its own, clear of names, curves and lines however narrow the page. As large as the names: on paper smaller letters
                // would be hard to read.
                c.text(
                    &told,
                    (0.5 * width, 14.0),
                    Lettering::new(Ink::Ink, Lettering::NORMAL).anchored(Anchor::Middle),
                )?;
                x.draw_horizontal(c, bottom, None, &format!("reading less the part's own size, {unit}"))
            })
        },
    )
}

/// Each operator's difference from all, with what the readings leave open, over the scatter of his or her own repeats.
fn operators(study: &GaugeStudy, unit: &str) -> Result<Figure, Error> {
    let people = &study.by_operator;
    let mut table = Table::new(
        "who-reads-how",
        "Each operator against the mean of all",
        vec![
            Column::text("operator"),
            Column::number("difference").unit(unit),
            Column::number("from").unit(unit),
            Column::number("to").unit(unit),
            Column::number("own repeatability").unit(unit),
        ],
    );
    for o in people {
        table.push(vec![
            Cell::text(o.operator.as_str()),
            Cell::significant(o.difference, 2),
            o.interval.map_or(Cell::Empty, |i| Cell::significant(i.lower, 2)),
            o.interval.map_or(Cell::Empty, |i| Cell::significant(i.upper, 2)),
            o.repeatability.map_or(Cell::Empty, |r| Cell::significant(r, 2)),
        ]);
    }
    let differing = people.iter().filter(|o| o.reads_differently).count();
    let finding =
        if differing == 0 { "as one".to_owned() } else { format!("{differing} of {} differently", people.len()) };
    let reach = people
        .iter()
        .flat_map(|o| {
            [
                o.difference.abs() + o.repeatability.unwrap_or(0.0),
                o.interval.map_or(0.0, |i| i.lower.abs().max(i.upper.abs())),
            ]
        })
        .fold(0.0, f64::max)
        * 1.08;
    Figure::draw(
        "operators",
        format!("Who reads how: {finding}"),
        people
            .iter()
            .map(|o| format!("{} {} {unit} from the mean of all", o.operator, significant(o.difference, 2)))
            .collect::<Vec<_>>()
            .join("; "),
        "The stroke is an operator's mean against the mean of all on the same parts, with what the readings leave open; the pale bar is one standard deviation of his or her own repeat readings to either side.",
        table,
        |format| {
            let row = format.pick(40.0, 54.0);
            let (width, top) = (format.pick(960.0, 360.0), 20.0);
            let height = top + row * people.len() as f64 + 48.0;
            draw(width, height, |c| {
                let (left, right, bottom) = (format.pick(190.0, 10.0), width - 16.0, height - 48.0);
                let x = Axis::new(-reach, reach, left, right);
                c.line((x.at(0.0), top - 8.0), (x.at(0.0), bottom), Pen::new(Ink::Muted, 1.0).dashed(Dash::Short))?;
                x.draw_horizontal(c, bottom, None, &format!("difference from the mean of all, {unit}"))?;
                for (k, o) in people.iter().enumerate() {
                    let y = top + row * (k as f64 + 0.5) + format.pick(0.0, 9.0);
                    let ink = if o.reads_differently { Ink::Limit } else { Ink::Main };
                    let lettering =
                        Lettering::new(if o.reads_differently { Ink::Limit } else { Ink::Ink }, Lettering::NORMAL)
                            .bold();
                    let shown = fitted(&o.operator, Lettering::NORMAL, format.pick(165.0, 300.0));
                    match format {
                        Format::Wide => c.text(&shown, (left - 10.0, y), lettering.anchored(Anchor::End))?,
                        Format::Narrow => c.text(&shown, (left + 4.0, y - 20.0), lettering)?,
                    }
                    if let Some(r) = o.repeatability {
                        c.rectangle(
                            (x.within(o.difference - r), y - 8.0),
                            (x.within(o.difference + r), y + 8.0),
                            Ink::MainWash,
                        )?;
                    }
                    if let Some(i) = o.interval {
                        c.line((x.within(i.lower), y), (x.within(i.upper), y), Pen::new(ink, 2.0))?;
                    }
                    c.line((x.at(o.difference), y - 9.0), (x.at(o.difference), y + 9.0), Pen::new(ink, 3.0))?;
                }
                Ok(())
            })
        },
    )
}
