//! What the supplier sent and how well the workshop can measure it.

use crate::INVENTED;
use crate::random::Draws;
use std::fmt::Write as _;

/// Six packets of 0.60 mm shims, 25 measured from each; the fourth packet is about 7 % thick.
pub(crate) fn shims_csv(seed: u64) -> String {
    let mut draws = Draws::new(seed, 2);
    let mut text = format!("{INVENTED}\nlot,part,reading\n");
    for lot in 0..6 {
        let off = if lot == 3 { 0.042 } else { 0.0 };
        let mean = draws.normal(0.602 + off, 0.005);
        for part in 1..=25 {
            let truth = draws.normal(mean, 0.006);
            let _ = writeln!(text, "packet {},{part:03},{:.3}", char::from(b'A' + lot), draws.normal(truth, 0.002));
        }
    }
    text
}

pub(crate) fn drawing_toml() -> String {
    format!("{INVENTED}\n\n[drawing]\nnominal = 0.60\nlower = 0.57\nupper = 0.63\n")
}

/// Ten shims of all sizes, three fitters, three trials each, with the workshop's micrometer.
pub(crate) fn gauge_csv(seed: u64) -> String {
    let mut draws = Draws::new(seed, 3);
    let sizes = [0.15, 0.25, 0.40, 0.60];
    let parts: Vec<f64> = (0..10).map(|i| draws.normal(sizes[i % 4] * 1.01, 0.006)).collect();
    let mut text = format!("{INVENTED}\nlot,part,operator,trial,reading\n");
    for operator in ["fitter 1", "fitter 2", "fitter 3"] {
        let bias = draws.normal(0.0, 0.0015);
        for trial in 1..=3 {
            for (part, truth) in parts.iter().enumerate() {
                let reading = draws.normal(truth + bias, 0.002);
                let _ = writeln!(text, "mixed sizes,{:02},{operator},{trial},{reading:.3}", part + 1);
            }
        }
    }
    text
}
