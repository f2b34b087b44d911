//! Segments for unit tests.

use crate::segments::Segments;

/// One group; each history (hours since its start, readings) is the only segment of the only valve of an engine of its own.
pub(crate) fn segments(histories: impl IntoIterator<Item = Vec<(f64, f64)>>) -> Segments {
    let mut s = Segments { offset: vec![0], group_names: vec![String::new()], ..Segments::default() };
    for (v, history) in (0..).zip(histories) {
        for (hours, value) in history {
            s.row.push(s.row.len() as u32);
            s.hours.push(hours);
            s.value.push(value);
        }
        s.valve.push(v);
        s.engine.push(v);
        s.group.push(0);
        s.number.push(1);
        s.part.push(v);
        s.origin.push(0.0);
        s.current.push(true);
        s.offset.push(s.value.len());
    }
    s
}
