//! The drawer: single pieces that somebody has measured, and packets that nobody has opened.

use crate::INVENTED;
use crate::random::Draws;
use std::fmt::Write as _;

pub(crate) fn drawer_csv(seed: u64) -> String {
    let mut draws = Draws::new(seed, 4);
    let mut text = format!("{INVENTED}\npiece,size,thickness,u,count,cost,lead_days\n");
    let mut number = 0;
    for (size, scatter, measured, unopened) in
        [(0.15, 0.005, 3, 10), (0.25, 0.006, 4, 10), (0.40, 0.007, 4, 8), (0.60, 0.008, 3, 6), (1.20, 0.010, 2, 4)]
    {
        let packet = draws.normal(0.0, scatter);
        for _ in 0..measured {
            number += 1;
            let thickness = draws.normal(size + packet, scatter);
            let _ = writeln!(text, "S{number:02},,{thickness:.3},0.002,1,0.90,14");
        }
        let _ = writeln!(text, ",{size:.2},{size:.2},,{unopened},0.90,14");
    }
    text
}
