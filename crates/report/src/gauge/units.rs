//! A gauge study with its lengths in the unit that is shown; see [`crate::lot`] for why that is the same study.

use crate::Lengths;
use crate::converted::Of;
use packdrift_lot::gauge::{
    AnovaTable, AverageAndRange, Discrimination, GaugeComponents, GaugeStudy, MeanSquareRow, OperatorSummary,
    SdEstimate, WildReading,
};
use packdrift_lotpack::ReadingInPack;

impl Of {
    fn sd(self, e: SdEstimate) -> SdEstimate {
        SdEstimate { sd: self.length(e.sd), interval: self.interval(e.interval) }
    }

    fn gauge_components(self, c: GaugeComponents) -> GaugeComponents {
        GaugeComponents {
            repeatability: self.sd(c.repeatability),
            operators: c.operators.map(|e| self.sd(e)),
            interaction: c.interaction.map(|e| self.sd(e)),
            reproducibility: self.sd(c.reproducibility),
            gauge: self.sd(c.gauge),
            parts: self.sd(c.parts),
            total: self.sd(c.total),
        }
    }

    fn row(self, r: MeanSquareRow) -> MeanSquareRow {
        MeanSquareRow { sum_of_squares: self.square(r.sum_of_squares), ..r }
    }

    fn table(self, t: AnovaTable) -> AnovaTable {
        AnovaTable {
            operators: self.row(t.operators),
            parts: self.row(t.parts),
            interaction: self.row(t.interaction),
            repeatability: self.row(t.repeatability),
            total: self.row(t.total),
            pooled: self.row(t.pooled),
            ..t
        }
    }

    fn ranges(self, a: AverageAndRange) -> AverageAndRange {
        AverageAndRange {
            repeatability: self.length(a.repeatability),
            reproducibility: self.length(a.reproducibility),
            gauge: self.length(a.gauge),
            parts: self.length(a.parts),
            total: self.length(a.total),
        }
    }

    fn discrimination(self, d: Discrimination) -> Discrimination {
        Discrimination {
            difference: self.length(d.difference),
            smallest_told: self.length(d.smallest_told),
            smallest_told_at_most: self.length(d.smallest_told_at_most),
            ..d
        }
    }

    fn operator(self, o: OperatorSummary) -> OperatorSummary {
        OperatorSummary {
            difference: self.length(o.difference),
            interval: o.interval.map(|i| self.interval(i)),
            repeatability: self.maybe(o.repeatability),
            ..o
        }
    }

    fn wild(self, w: WildReading) -> WildReading {
        WildReading {
            reading: self.length(w.reading),
            expected: self.length(w.expected),
            gauge_sd: self.maybe(w.gauge_sd),
            ..w
        }
    }
}

/// The study; its warnings keep their mm, and are put into words with the unit.
pub(super) fn study(study: GaugeStudy, lengths: Lengths) -> GaugeStudy {
    if lengths == Lengths::Millimetres {
        return study;
    }
    let of = Of(lengths);
    let mut s = GaugeStudy {
        mean: of.length(study.mean),
        components: of.gauge_components(study.components),
        table: study.table.map(|t| of.table(t)),
        average_and_range: study.average_and_range.map(|a| of.ranges(a)),
        by_operator: study.by_operator.into_iter().map(|o| of.operator(o)).collect(),
        discrimination: study.discrimination.map(|d| of.discrimination(d)),
        wild: study.wild.map(|w| of.wild(w)),
        ..study
    };
    for cell in &mut s.odd_cells {
        (cell.range, cell.limit) = (of.length(cell.range), of.length(cell.limit));
    }
    s.options.tolerance = of.maybe(s.options.tolerance);
    s.options.difference = of.maybe(s.options.difference);
    s
}

/// A reading's error in the pack, likewise.
pub(super) fn pack(mut pack: ReadingInPack, lengths: Lengths) -> ReadingInPack {
    pack.u = lengths.of(pack.u);
    for r in pack.requirements.iter_mut().filter(|r| r.unit == "mm") {
        (r.unit, r.added_sd) = (lengths.unit(), lengths.of(r.added_sd));
    }
    pack
}
