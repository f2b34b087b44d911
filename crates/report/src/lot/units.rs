//! A study with its lengths in the unit that is shown. The statistics are in mm; every figure of a study is a length, the square of one, or free of units,
//! so the same readings in inches give the same study but for the factor. A test of this crate holds the one to the other.

use crate::Lengths;
use crate::converted::Of;
use packdrift_lot::chart::{Chart, Trace};
use packdrift_lot::components::{ComponentEstimate, Components};
use packdrift_lot::guard::GuardBand;
use packdrift_lot::packets::{Coefficient, DeviationModel};
use packdrift_lot::shape::Resolution;
use packdrift_lot::{
    Basis, Deviation, Doubt, Drawing, LotOptions, LotResult, LotStudy, OneSided, Process, ToleranceIntervals,
};
use packdrift_lotpack::{AcceptanceMap, LotInPack};

impl Of {
    fn pair(self, (a, b): (f64, f64)) -> (f64, f64) {
        (self.length(a), self.length(b))
    }

    fn drawing(self, d: Drawing) -> Drawing {
        Drawing { nominal: self.maybe(d.nominal), lower: self.maybe(d.lower), upper: self.maybe(d.upper) }
    }

    fn options(self, mut o: LotOptions) -> LotOptions {
        o.drawing = self.drawing(o.drawing);
        o.instrument.uncertainty = self.maybe(o.instrument.uncertainty);
        o.instrument.repeatability = self.maybe(o.instrument.repeatability);
        o.instrument.step = self.maybe(o.instrument.step);
        if let Some(sorting) = &mut o.sorting {
            sorting.uncertainty = self.maybe(sorting.uncertainty);
        }
        o
    }

    fn trace(self, t: &mut Trace) {
        t.points.iter_mut().for_each(|x| *x = self.length(*x));
        for x in [&mut t.centre, &mut t.lower, &mut t.upper] {
            *x = self.length(*x);
        }
    }

    fn chart(self, mut c: Chart) -> Chart {
        self.trace(&mut c.location);
        self.trace(&mut c.scatter);
        c.sd_within = self.length(c.sd_within);
        c
    }

    fn guard(self, g: GuardBand) -> GuardBand {
        GuardBand {
            width: self.length(g.width),
            accept_from: self.maybe(g.accept_from),
            accept_to: self.maybe(g.accept_to),
            reject_below: self.maybe(g.reject_below),
            reject_above: self.maybe(g.reject_above),
        }
    }

    fn one_sided(self, o: OneSided) -> OneSided {
        OneSided { from: self.length(o.from), to: self.length(o.to) }
    }

    fn tolerance(self, t: ToleranceIntervals) -> ToleranceIntervals {
        ToleranceIntervals {
            one_sided: self.one_sided(t.one_sided),
            two_sided: self.interval(t.two_sided),
            free_one_sided: t.free_one_sided.map(|o| self.one_sided(o)),
            free_two_sided: t.free_two_sided.map(|i| self.interval(i)),
            ..t
        }
    }

    fn deviation(self, d: Deviation) -> Deviation {
        Deviation { value: self.length(d.value), interval: self.interval(d.interval), ..d }
    }

    fn lot(self, l: LotResult) -> LotResult {
        let mut l = LotResult {
            drawing: self.drawing(l.drawing),
            mean: self.length(l.mean),
            sd: self.maybe(l.sd),
            mean_interval: l.mean_interval.map(|i| self.interval(i)),
            sd_interval: l.sd_interval.map(|i| self.interval(i)),
            gauge_sd: self.length(l.gauge_sd),
            shown_gauge_sd: self.length(l.shown_gauge_sd),
            parts_sd: self.maybe(l.parts_sd),
            common_error: self.length(l.common_error),
            minimum: self.length(l.minimum),
            median: self.length(l.median),
            maximum: self.length(l.maximum),
            deviation: l.deviation.map(|d| self.deviation(d)),
            tolerance: l.tolerance.map(|t| self.tolerance(t)),
            chart: l.chart.map(|c| self.chart(c)),
            guard: l.guard.map(|g| self.guard(g)),
            ..l
        };
        match &mut l.shape.resolution {
            Resolution::Given { step } | Resolution::Found { step } => *step = self.length(*step),
            Resolution::Continuous => {}
        }
        l.outliers.named.iter_mut().for_each(|o| o.value = self.length(o.value));
        l.parts.iter_mut().for_each(|p| p.value = self.length(p.value));
        if let Some(share) = &mut l.share_outside
            && let Basis::Sorted { u, claimed, .. } = &mut share.basis
        {
            (*u, *claimed) = (self.length(*u), self.maybe(*claimed));
        }
        if let Some(Doubt::Alike { step }) = &mut l.doubt {
            *step = self.length(*step);
        }
        l
    }

    fn estimate(self, e: ComponentEstimate) -> ComponentEstimate {
        ComponentEstimate {
            within_sd: self.length(e.within_sd),
            between_sd: self.length(e.between_sd),
            mean: self.length(e.mean),
            mean_se: self.length(e.mean_se),
        }
    }

    /// The likelihood stays that of the readings in mm.
    fn components(self, c: Components) -> Components {
        let mut c = Components {
            anova_between_variance: self.square(c.anova_between_variance),
            anova: self.estimate(c.anova),
            within_interval: self.interval(c.within_interval),
            between_interval: self.interval(c.between_interval),
            ..c
        };
        c.reml.estimate = self.estimate(c.reml.estimate);
        for source in [&mut c.table.between, &mut c.table.within] {
            source.sum_of_squares = self.square(source.sum_of_squares);
        }
        c
    }

    fn coefficient(self, c: Coefficient) -> Coefficient {
        Coefficient {
            value: self.length(c.value),
            standard_error: self.length(c.standard_error),
            interval: self.interval(c.interval),
            ..c
        }
    }

    fn deviations(self, d: DeviationModel) -> DeviationModel {
        DeviationModel {
            constant: self.coefficient(d.constant),
            constant_beside: d.constant_beside.map(|c| self.coefficient(c)),
            lot_to_lot_sd: self.length(d.lot_to_lot_sd),
            ..d
        }
    }

    fn process(self, p: Process) -> Process {
        Process {
            bias: self.maybe(p.bias),
            mean_se: self.length(p.mean_se),
            between_sd: self.length(p.between_sd),
            within_sd: self.length(p.within_sd),
            total_sd: self.length(p.total_sd),
            ..p
        }
    }

    fn study(self, s: LotStudy) -> LotStudy {
        let mut s = LotStudy {
            lots: s.lots.into_iter().map(|l| self.lot(l)).collect(),
            components: s.components.map(|c| self.components(c)),
            deviations: s.deviations.map(|d| self.deviations(d)),
            process: s.process.map(|p| self.process(p)),
            repeatability: s.repeatability.map(|(sd, nu)| (self.length(sd), nu)),
            gauge_sd: self.length(s.gauge_sd),
            options: self.options(s.options),
            without: s.without.map(|w| Box::new(self.study(*w))),
            ..s
        };
        for group in &mut s.groups {
            group.nominal = self.maybe(group.nominal);
            group.components = group.components.map(|c| self.components(c));
            group.process = group.process.map(|p| self.process(p));
        }
        s.set_aside.iter_mut().for_each(|one| one.reading = self.length(one.reading));
        s
    }

    fn map(self, m: AcceptanceMap) -> AcceptanceMap {
        let lengths = |values: Vec<f64>| values.into_iter().map(|x| self.length(x)).collect();
        let points = |values: Vec<(f64, f64)>| values.into_iter().map(|p| self.pair(p)).collect();
        AcceptanceMap {
            bias: lengths(m.bias),
            sd: lengths(m.sd),
            frontier: points(m.frontier),
            drawing_frontier: points(m.drawing_frontier),
            region: points(m.region),
            lot: self.pair(m.lot),
            assumed: self.pair(m.assumed),
            ..m
        }
    }

    fn pack(self, p: LotInPack) -> LotInPack {
        LotInPack {
            bias: self.length(p.bias),
            sd: self.length(p.sd),
            assumed_bias: self.length(p.assumed_bias),
            assumed_sd: self.length(p.assumed_sd),
            bias_room: p.bias_room.map(|i| self.interval(i)),
            largest_sd: self.maybe(p.largest_sd),
            map: self.map(p.map),
            ..p
        }
    }
}

/// The study; its warnings keep their mm, and are put into words with the unit.
pub(super) fn study(study: LotStudy, lengths: Lengths) -> LotStudy {
    if lengths == Lengths::Millimetres { study } else { Of(lengths).study(study) }
}

/// A lot in the pack, likewise.
pub(super) fn pack(pack: LotInPack, lengths: Lengths) -> LotInPack {
    if lengths == Lengths::Millimetres { pack } else { Of(lengths).pack(pack) }
}
