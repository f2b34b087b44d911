//! One valve: its readings, the fitted line with its bands, the limits, and when they are reached.

use super::order::{self, Ranked};
use super::usage;
use crate::calendar;
use crate::figure::axis::{Axis, extent};
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw};
use crate::figure::drafting::spread_out;
use crate::figure::ink::Ink;
use crate::figure::labels::{Labels, beside};
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{chance as chance_words, counted, fixed, plain, plus_minus};
use crate::table::{Cell, Column, Table};
use packdrift_trend::{BandPoint, Policy, SeriesPoint};

/// The figure of one valve.
pub(super) fn figure(r: &Ranked<'_>, policy: Option<&Policy>) -> Result<Figure, Error> {
    let unit = order::unit(r.feature);
    let mut table = Table::new(
        "readings",
        "Readings of this valve",
        vec![
            Column::number("meter").unit("h").key("hours"),
            Column::text("date"),
            Column::number("reading").unit(unit),
            Column::number("segment"),
            Column::number("weight"),
        ],
    );
    for p in &r.valve.series {
        table.push(vec![
            Cell::fixed(p.hours, 0),
            p.day.map_or(Cell::Empty, |d| Cell::text(calendar::iso(d))),
            Cell::plain(p.value),
            Cell::Count(u64::from(p.segment)),
            Cell::fixed(p.weight, 2),
        ]);
    }
    let description = format!(
        "{} over running hours with the fitted line, its 95 % bands and the limits. {}",
        counted(r.valve.series.len(), "reading"),
        sentence(r, policy)
    );
    Figure::draw(
        &format!("{}-{}-{}", r.feature.feature, r.valve.engine, r.valve.valve),
        format!("{}: {}", r.name(), order::title(r.feature)),
        description,
        sentence(r, policy),
        table,
        |format| paint(r, policy, format),
    )
}

/// What the figure says, in words.
fn sentence(r: &Ranked<'_>, policy: Option<&Policy>) -> String {
    let (v, unit) = (r.valve, order::unit(r.feature));
    let mut out = match v.status {
        Some(status) => {
            let mut word = status.name().to_owned();
            if let Some(first) = word.get_mut(0..1) {
                first.make_ascii_uppercase();
            }
            format!("{word}: ")
        }
        None => String::new(),
    };
    out.push_str(&format!(
        "{} {}, drifting by {} per 1000 h",
        order::with_unit(&plus_minus(v.level, v.level_se), unit),
        v.newest.map_or_else(|| "now".to_owned(), |n| format!("when last read, on {}", calendar::iso(n.day))),
        plus_minus(v.slope * 1e3, v.slope_se * 1e3)
    ));
    if let (Some(chance), Some(policy)) = (v.chance_by_horizon, policy) {
        out.push_str(&format!("; {} chance of damage within {} h", chance_words(chance), plain(policy.horizon)));
    }
    out.push('.');
    if let Some(middle) = v.crossing_hours.p50 {
        if middle <= v.hours {
            out.push_str(" It is probably outside already.");
        } else {
            out.push_str(&format!(" It reaches the limit at about {} h", fixed(middle, 0)));
            match (v.crossing_hours.p05, v.crossing_hours.p95) {
                (Some(early), Some(late)) => {
                    out.push_str(&format!(" ({} to {} h with a chance of 90 %)", fixed(early, 0), fixed(late, 0)));
                }
                (Some(early), None) => out.push_str(&format!(" (by {} h with a chance of 5 %)", fixed(early, 0))),
                _ => {}
            }
            if let (Some(date), Some(hours)) = (usage::when(v, middle, policy), usage::hours_a_week(v, policy)) {
                out.push_str(&match date.strip_prefix(usage::PAST) {
                    Some(date) => format!(", by its usage about {date}, which is past"),
                    None => format!(", about {date} at {} h a week", fixed(hours, 0)),
                });
            }
            out.push('.');
        }
    }
    out
}

/// What is drawn of the hours: from the first reading to the horizon, or to the late end of the crossing where that is not far.
fn hours_drawn(r: &Ranked<'_>, policy: Option<&Policy>) -> (f64, f64) {
    let v = r.valve;
    let first = extent(v.series.iter().map(|p| p.hours)).0.min(v.segment_start);
    let ahead = policy.map_or(0.0, |p| p.horizon).max(0.0);
    let band_end = extent(v.band.iter().map(|b| b.hours)).1;
    let mut last = v.hours + ahead;
    for crossing in [v.crossing_hours.p50, v.crossing_hours.p95].into_iter().flatten() {
        if crossing <= v.hours + 1.5 * ahead {
            last = last.max(crossing);
        }
    }
    if !last.is_finite() || last <= first {
        last = band_end;
    }
    (first, last + 0.02 * (last - first))
}

fn paint(r: &Ranked<'_>, policy: Option<&Policy>, format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(540.0, 340.0), format.pick(340.0, 300.0));
    let (left, right, top) = (50.0, width - 12.0, 46.0);
    let bottom = height - 40.0;
    let v = r.valve;
    let unit = order::unit(r.feature);
    let limits = r.feature.limits.as_ref();
    let (lower, upper) = (limits.and_then(|l| l.lower), limits.and_then(|l| l.upper));
    let (start, end) = hours_drawn(r, policy);
    draw(width, height, |c| {
        let x = Axis::new(start, end, left, right);
        let band: Vec<&BandPoint> = v.band.iter().filter(|b| x.holds(b.hours)).collect();
        let y = values_drawn(r, &band, bottom, top);
        for (limit, outer) in [(lower, y.low()), (upper, y.high())] {
            if let Some(limit) = limit.filter(|l| y.holds(*l)) {
                let (a, b) = ((left, y.at(limit)), (right, y.at(outer)));
                c.rectangle(a, b, Ink::LimitWash)?;
                c.hatch(a, b, 10.0, false, Pen::new(Ink::Limit, 0.4))?;
            }
        }
        y.draw_vertical(c, left, right, &order::with_comma(&order::title(r.feature), unit))?;
        x.draw_horizontal(c, bottom, None, "meter, h")?;
        draw_band(c, &x, &y, &band)?;
        for limit in [lower, upper].into_iter().flatten().filter(|l| y.holds(*l)) {
            c.line((left, y.at(limit)), (right, y.at(limit)), Pen::new(Ink::Limit, 1.8))?;
        }
        moments(c, &x, r, policy, top, bottom)?;
        let labels = Labels::new(c);
        for p in &v.series {
            let at = (x.at(p.hours), y.at(p.value));
            reading(c, at, p, v.segment)?;
            labels.keep_free((at.0 - 6.0, at.1 - 6.0), (at.0 + 6.0, at.1 + 6.0));
        }
        for line in lines(&x, &y, &band) {
            labels.keep_line_free(&line, 3.0);
        }
        for at in [v.hours, v.hours + policy.map_or(0.0, |p| p.horizon)].map(|h| x.at(h)) {
            labels.keep_line_free(&[(at, top), (at, bottom)], 3.0);
        }
        for at in [lower, upper].into_iter().flatten().filter(|l| y.holds(*l)) {
            labels.keep_free((left, y.at(at) - 8.0), (right, y.at(at) + 8.0));
        }
        crossing(c, &labels, &x, &y, r, policy, format)
    })
}

/// The values drawn: readings, band and the limit it drifts to; the other limit where it does not squeeze the rest.
fn values_drawn(r: &Ranked<'_>, band: &[&BandPoint], bottom: f64, top: f64) -> Axis {
    let v = r.valve;
    let readings = v.series.iter().map(|p| p.value);
    let core: Vec<f64> = readings.chain(band.iter().flat_map(|b| [b.low, b.high])).chain(r.limit()).collect();
    let (low, high) = extent(core.iter().copied());
    let limits = r.feature.limits.as_ref();
    let near = |l: &f64| *l >= low - 0.4 * (high - low) && *l <= high + 0.4 * (high - low);
    let others = limits.into_iter().flat_map(|l| [l.lower, l.upper]).flatten().filter(near);
    Axis::holding(core.iter().copied().chain(others), 0.07, bottom, top)
}

fn draw_band(c: &Canvas<'_>, x: &Axis, y: &Axis, band: &[&BandPoint]) -> Result<(), Error> {
    let low = band.iter().map(|b| (x.at(b.hours), y.within(b.low)));
    let high = band.iter().rev().map(|b| (x.at(b.hours), y.within(b.high)));
    c.polygon(&low.chain(high).collect::<Vec<_>>(), Ink::MainWash)?;
    let [low, fit, high] = lines(x, y, band);
    for edge in [low, high] {
        c.polyline(&edge, Pen::new(Ink::Main, 0.9).dashed(Dash::Short))?;
    }
    c.polyline(&fit, Pen::new(Ink::Main, 2.0))
}

/// The lower edge of a reading's band, the fit, and the upper edge.
fn lines(x: &Axis, y: &Axis, band: &[&BandPoint]) -> [Vec<(f64, f64)>; 3] {
    [|b: &BandPoint| b.reading_low, |b: &BandPoint| b.fit, |b: &BandPoint| b.reading_high]
        .map(|value| band.iter().map(|b| (x.at(b.hours), y.within(value(b)))).collect())
}

/// Now, the horizon, and where segments begin.
fn moments(
    c: &Canvas<'_>,
    x: &Axis,
    r: &Ranked<'_>,
    policy: Option<&Policy>,
    top: f64,
    bottom: f64,
) -> Result<(), Error> {
    let v = r.valve;
    let label = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
    let mut moments = vec![(x.at(v.hours), "now".to_owned())];
    if let Some(horizon) = policy.map(|p| p.horizon).filter(|h| *h > 0.0 && x.holds(v.hours + h)) {
        moments.push((x.at(v.hours + horizon), format!("+{} h", plain(horizon))));
    }
    let halves: Vec<f64> = moments.iter().map(|m| label.width(&m.1) / 2.0).collect();
    let wanted: Vec<f64> = moments.iter().map(|m| m.0).collect();
    let widest = halves.iter().copied().fold(0.0, f64::max);
    let places = spread_out(&wanted, halves.iter().sum::<f64>() + 8.0, widest, c.width() - widest);
    for ((at, text), place) in moments.iter().zip(places) {
        c.line((*at, top - 4.0), (*at, bottom), Pen::new(Ink::Muted, 1.0).dashed(Dash::Long))?;
        c.text(text, (place, top - 11.0), label)?;
    }
    // The first reading of every later segment: something was done just before it.
    for pair in v.series.windows(2) {
        if pair[1].segment != pair[0].segment && x.holds(pair[1].hours) {
            let at = x.at(pair[1].hours);
            c.line((at, bottom), (at, bottom - 10.0), Pen::new(Ink::Second, 3.0))?;
        }
    }
    Ok(())
}

fn reading(c: &Canvas<'_>, at: (f64, f64), p: &SeriesPoint, current: u32) -> Result<(), Error> {
    if p.doubted {
        let pen = Pen::new(Ink::Limit, 1.6);
        c.line((at.0 - 4.0, at.1 - 4.0), (at.0 + 4.0, at.1 + 4.0), pen)?;
        c.line((at.0 - 4.0, at.1 + 4.0), (at.0 + 4.0, at.1 - 4.0), pen)
    } else if p.segment == current {
        c.dot(at, 3.2, Ink::Ink)
    } else {
        c.dot(at, 3.2, Ink::Paper)?;
        c.ring(at, 3.0, Pen::new(Ink::Muted, 1.3))
    }
}

/// The hours at which the limit is reached, as a bar on the limit with its middle marked.
fn crossing(
    c: &Canvas<'_>,
    labels: &Labels<'_, '_>,
    x: &Axis,
    y: &Axis,
    r: &Ranked<'_>,
    policy: Option<&Policy>,
    format: Format,
) -> Result<(), Error> {
    let v = r.valve;
    let (Some(limit), Some(early)) = (r.limit(), v.crossing_hours.p05) else { return Ok(()) };
    if !x.holds(early) {
        return Ok(());
    }
    let level = y.at(limit);
    let late = v.crossing_hours.p95.unwrap_or(f64::INFINITY).min(x.high());
    c.rectangle((x.at(early), level - 3.5), (x.at(late), level + 3.5), Ink::Limit)?;
    let Some(middle) = v.crossing_hours.p50.filter(|m| x.holds(*m)) else { return Ok(()) };
    let m = x.at(middle);
    let diamond = [(m, level - 7.0), (m + 6.0, level), (m, level + 7.0), (m - 6.0, level), (m, level - 7.0)];
    c.polygon(&diamond, Ink::Paper)?;
    c.polyline(&diamond, Pen::new(Ink::Limit, 1.8))?;
    let mut text = if middle <= v.hours { "outside now".to_owned() } else { format!("{} h", fixed(middle, 0)) };
    if middle > v.hours && format == Format::Wide {
        if let Some(date) = usage::when(v, middle, policy) {
            text.push_str(&format!(" · {date}"));
        }
    }
    // On the inner side of the limit, away from the hatching and from every mark; the caption says the same where there is no room.
    let inward = if r.feature.limits.as_ref().and_then(|l| l.upper) == Some(limit) { 1.0 } else { -1.0 };
    let lettering = Lettering::new(Ink::Limit, Lettering::SMALL).bold();
    let places = beside((m, level), &[18.0, 32.0, 46.0, 60.0, 80.0, 100.0].map(|dy| inward * dy));
    labels.put(&text, Lettering::SMALL, lettering, &places).map(|_| ())
}
