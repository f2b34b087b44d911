//! What a backtest came to: the scores in words, as a table, and as two figures.

use super::order;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw, fitted};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{counted, significant};
use crate::table::{Cell, Column, Table};
use packdrift_trend::{BacktestModel, FeatureResult, Scores, TrendResult};

/// Nominal shares of the three intervals.
const NOMINAL: [f64; 3] = [0.5, 0.8, 0.95];

fn shares(scores: &Scores) -> [f64; 3] {
    [scores.coverage50, scores.coverage80, scores.coverage95]
}

/// The first model with scores: `auto`, or the one asked for.
fn first(feature: &FeatureResult) -> Option<(&BacktestModel, &Scores)> {
    feature.backtest.iter().find_map(|m| m.scores.as_ref().map(|s| (m, s)))
}

/// In words.
pub(super) fn lines(feature: &FeatureResult) -> Vec<String> {
    if feature.backtest.is_empty() {
        return Vec::new();
    }
    let Some((model, scores)) = first(feature) else {
        return vec!["Backtest: no hidden reading could be forecast; valves need a second reading each.".into()];
    };
    let [half, most, nearly] = shares(scores).map(|s| format!("{:.0}", 100.0 * s));
    let unit = order::unit(feature);
    let mut lines = vec![format!(
        "Backtest, {} of {} hidden and forecast by {}: {half} % fell inside the 50 % interval, {most} % inside 80 %, {nearly} % inside 95 %; \
         typical miss {}.",
        counted(model.forecasts, "reading"),
        counted(feature.segments, "segment"),
        model.model,
        order::with_unit(&significant(scores.rmse, 2), unit),
    )];
    // Readings of one valve go together: the binomial error is doubled before anything is said.
    let short = NOMINAL.iter().zip(shares(scores)).zip(scores.coverage_se).any(|((n, s), se)| n - s > 2.0 * 3.5 * se);
    if short {
        lines.push(
            "Fewer fell inside than promised: take the chances given here as too small, and look for events that were not noted.".into(),
        );
    }
    lines
}

/// Columns of the table of scores.
fn head() -> Table {
    Table::new(
        "backtest",
        "Forecasts of hidden readings: share inside each interval, and scores (smaller is better)",
        vec![
            Column::text("feature"),
            Column::text("model"),
            Column::number("forecasts"),
            Column::number("inside 50 %").key("coverage_0.5"),
            Column::number("inside 80 %").key("coverage_0.8"),
            Column::number("inside 95 %").key("coverage_0.95"),
            Column::number("ranked probability score").key("crps"),
            Column::number("logarithmic score").key("log_score"),
            Column::number("root mean square error").key("rmse"),
            Column::text("note"),
        ],
    )
}

fn row(feature: &FeatureResult, model: &BacktestModel) -> Vec<Cell> {
    let mut cells = vec![Cell::text(&feature.feature), Cell::text(&model.model), Cell::Count(model.forecasts as u64)];
    match &model.scores {
        Some(scores) => {
            cells.extend(shares(scores).map(Cell::share));
            cells.extend([
                Cell::significant(scores.crps, 4),
                Cell::fixed(scores.log_score, 3),
                Cell::significant(scores.rmse, 4),
            ]);
        }
        None => cells.extend([Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty]),
    }
    cells.push(Cell::text(&model.note));
    cells
}

/// All features' scores; None where no backtest was asked for.
pub(super) fn table(result: &TrendResult) -> Option<Table> {
    let mut table = head();
    for feature in &result.features {
        for model in &feature.backtest {
            table.push(row(feature, model));
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// Share inside the intervals by model, and where the readings fell in the first model's forecasts.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub(super) fn figures(feature: &FeatureResult) -> Result<Vec<Figure>, Error> {
    let scored: Vec<(&str, &Scores)> =
        feature.backtest.iter().filter_map(|m| Some((m.model.as_str(), m.scores.as_ref()?))).collect();
    let Some((model, scores)) = first(feature) else { return Ok(Vec::new()) };
    Ok(vec![inside(feature, &scored)?, fell(feature, &model.model, model.forecasts, scores)?])
}

fn inside(feature: &FeatureResult, scored: &[(&str, &Scores)]) -> Result<Figure, Error> {
    let mut table = Table::new(
        "backtest-inside",
        "Share of hidden readings inside each interval, by model",
        vec![
            Column::text("model"),
            Column::number("inside 50 %").key("coverage_0.5"),
            Column::number("inside 80 %").key("coverage_0.8"),
            Column::number("inside 95 %").key("coverage_0.95"),
        ],
    );
    for (model, scores) in scored {
        let mut cells = vec![Cell::text(*model)];
        cells.extend(shares(scores).map(Cell::share));
        table.push(cells);
    }
    Figure::draw(
        &format!("{}-backtest", feature.feature),
        format!("{}: hidden readings inside their intervals", order::title(feature)),
        format!(
            "For {}, the share of hidden readings inside the 50, 80 and 95 % intervals beside those figures.",
            counted(scored.len(), "model")
        ),
        "Each dot is a share; the bar through it runs two standard errors to either side. Honest forecasts have their dots on the dashed lines; \
         to the left of them the intervals are too narrow, to the right too wide.",
        table,
        |format| draw_inside(scored, format),
    )
}

fn draw_inside(scored: &[(&str, &Scores)], format: Format) -> Result<Svg, Error> {
    let (width, row) = (format.pick(760.0, 340.0), format.pick(34.0, 56.0));
    let (left, right, top) = (format.pick(250.0, 10.0), width - 14.0, 30.0);
    let bottom = top + row * scored.len() as f64 + 4.0;
    draw(width, bottom + 40.0, |c| {
        let x = Axis::new(0.3, 1.0, left, right);
        x.draw_horizontal(c, bottom, Some(top), "share of hidden readings inside")?;
        for nominal in NOMINAL {
            c.line((x.at(nominal), top - 6.0), (x.at(nominal), bottom), Pen::new(Ink::Ink, 1.2).dashed(Dash::Long))?;
            let label = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
            c.text(&format!("{:.0} %", 100.0 * nominal), (x.at(nominal), 13.0), label)?;
        }
        for (i, (model, scores)) in scored.iter().enumerate() {
            let at = top + row * i as f64;
            let y = at + format.pick(0.5 * row, 38.0);
            let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
            let (name_at, room, anchor) = format
                .pick(((left - 12.0, y), left - 16.0, Anchor::End), ((left, at + 13.0), width - 20.0, Anchor::Start));
            let name = fitted(model, Lettering::NORMAL, room);
            if format == Format::Narrow {
                let end = name_at.0 + lettering.width(&name) + 2.0;
                c.rectangle((name_at.0, name_at.1 - 9.0), (end, name_at.1 + 9.0), Ink::Paper)?;
            }
            c.text(&name, name_at, lettering.anchored(anchor))?;
            for (share, se) in shares(scores).into_iter().zip(scores.coverage_se) {
                let (low, high) = (x.within(share - 2.0 * se), x.within(share + 2.0 * se));
                c.line((low, y), (high, y), Pen::new(Ink::Main, 2.0))?;
                c.dot((x.within(share), y), 4.5, Ink::Main)?;
            }
        }
        Ok(())
    })
}

fn fell(feature: &FeatureResult, model: &str, forecasts: usize, scores: &Scores) -> Result<Figure, Error> {
    let mut table = Table::new(
        "backtest-where",
        "Where hidden readings fell in their forecasts",
        vec![Column::text("tenth of the forecast"), Column::number("readings")],
    );
    for (k, n) in scores.pit.iter().enumerate() {
        table.push(vec![Cell::text(format!("{} to {} %", 10 * k, 10 * (k + 1))), Cell::Count(*n as u64)]);
    }
    Figure::draw(
        &format!("{}-backtest-where", feature.feature),
        format!("{}: where hidden readings fell in their forecasts", order::title(feature)),
        format!(
            "Histogram of {} over the ten equal parts of their forecasts by {model}.",
            counted(forecasts, "reading")
        ),
        "Each forecast is cut into ten parts of equal chance (the probability integral transform). Honest forecasts fill them evenly, about the \
         dashed line and mostly within the shaded strip of two standard errors; a bowl means forecasts too narrow, a hump too wide, a slope off to one side.",
        table,
        |format| draw_fell(forecasts, scores, format),
    )
}

fn draw_fell(forecasts: usize, scores: &Scores, format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(760.0, 340.0), format.pick(300.0, 260.0));
    let (left, right, top, bottom) = (58.0, width - 14.0, 34.0, height - 42.0);
    let n = forecasts as f64;
    let (even, error) = (0.1 * n, (0.09 * n).sqrt());
    draw(width, height, |c: &Canvas<'_>| {
        let most = scores.pit.iter().copied().max().unwrap_or(0) as f64;
        let x = Axis::new(0.0, 1.0, left, right);
        let y = Axis::new(0.0, 1.1 * most.max(even + 2.0 * error), bottom, top);
        let strip = ((left, y.at(even + 2.0 * error)), (right, y.at((even - 2.0 * error).max(0.0))));
        c.rectangle(strip.0, strip.1, Ink::MainWash)?;
        x.draw_horizontal(c, bottom, None, "part of the forecast below the reading")?;
        y.draw_vertical(c, left, right, "readings")?;
        for (k, count) in scores.pit.iter().enumerate() {
            let (a, b) = (0.1 * k as f64, 0.1 * (k + 1) as f64);
            c.rectangle((x.at(a) + 3.0, y.at(*count as f64)), (x.at(b) - 3.0, bottom), Ink::Main)?;
        }
        c.line((left, y.at(even)), (right, y.at(even)), Pen::new(Ink::Ink, 1.4).dashed(Dash::Long))
    })
}
