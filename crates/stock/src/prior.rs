//! What is known before anything is measured: from the pack file's tolerances and lots, and from the drawer.

use crate::beliefs::Beliefs;
use crate::drawer::{PacketScatter, Piece};
use crate::objective::Kind;
use nalgebra::DMatrix;
use packdrift_spread::Stack;

/// A packet: what its pieces share.
#[derive(Debug, Clone, Copy)]
struct Packet {
    bias: f64,
    between: f64,
    within: f64,
}

/// Two sizes this near are the same size, mm.
const SAME_SIZE: f64 = 1e-6;

/// The expected value of every input, mm: the mean of its distribution, with its lot's bias.
pub(crate) fn expected_inputs(stack: &Stack) -> Vec<f64> {
    let bias = |lot: usize| stack.lots[lot].bias;
    stack.inputs.iter().map(|input| input.distribution.mean() + input.lot.map_or(0.0, bias)).collect()
}

/// The joint prior of the stack's dimensions (entries 0..n, in the stack's order) and the drawer's pieces, and the drawer's kinds (one per
/// row).
///
/// A dimension has the mean and standard uncertainty of its distribution; parts of one lot share N(bias, between²) besides. A measured
/// piece is N(reading, u²). A piece known by its size only is size + d + e with d common to its packet (the pack file's lot of
/// that name, or the lot of a part of that nominal; else by `scatter`). A measured piece whose packet is known counts as a
/// reading of that packet.
pub(crate) fn prior(stack: &Stack, drawer: &[Piece], scatter: PacketScatter) -> (Beliefs, Vec<Kind>) {
    let n = stack.inputs.len();
    let sd: Vec<f64> = stack.inputs.iter().map(|input| input.distribution.standard_uncertainty()).collect();
    let mut mean = expected_inputs(stack);
    let mut packets: Vec<(f64, Packet)> = Vec::new();
    // Entry, lot or packet, and variance beside the packet's.
    let mut shared: Vec<(usize, usize, f64)> = Vec::new();
    for (i, input) in stack.inputs.iter().enumerate() {
        if let Some(lot) = input.lot {
            shared.push((i, lot, 0.0));
        }
    }
    let mut kinds = Vec::with_capacity(drawer.len());
    let mut readings = Vec::new();
    for (row, piece) in drawer.iter().enumerate() {
        let size = if piece.u.is_none() { Some(piece.thickness) } else { piece.size };
        let mut kind = Kind {
            row,
            thickness: piece.thickness,
            entry: None,
            own: piece.u.map_or(0.0, |u| u * u),
            count: piece.count,
        };
        if let Some(size) = size.filter(|_| piece.u.is_none() || piece.count == 1) {
            let (index, packet) = match lot_of(stack, piece, size, &sd) {
                Some(found) => found,
                None => {
                    let at = packets.iter().position(|(s, _)| (s - size).abs() < SAME_SIZE).unwrap_or_else(|| {
                        let between = scatter.between_share * size;
                        packets.push((size, Packet { bias: 0.0, between, within: scatter.within }));
                        packets.len() - 1
                    });
                    (stack.lots.len() + at, packets[at].1)
                }
            };
            let entry = mean.len();
            mean.push(size + packet.bias);
            kind.entry = Some(entry);
            let within = packet.within * packet.within;
            if let Some(u) = piece.u {
                shared.push((entry, index, within));
                kind.own = 0.0;
                readings.push((entry, piece.thickness, u));
            } else {
                shared.push((entry, index, 0.0));
                kind.own = within;
                kind.thickness = size + packet.bias;
            }
        }
        kinds.push(kind);
    }
    let mut covariance = DMatrix::zeros(mean.len(), mean.len());
    for (i, sd) in sd.iter().enumerate() {
        covariance[(i, i)] = sd * sd;
    }
    for c in &stack.correlations {
        let (i, j) = c.between;
        let value = c.coefficient * sd[i] * sd[j];
        covariance[(i, j)] += value;
        covariance[(j, i)] += value;
    }
    for (k, &(i, lot, own)) in shared.iter().enumerate() {
        covariance[(i, i)] += own;
        let between =
            if lot < stack.lots.len() { stack.lots[lot].between } else { packets[lot - stack.lots.len()].1.between };
        covariance[(i, i)] += between * between;
        for &(j, other, _) in &shared[..k] {
            if lot == other {
                covariance[(i, j)] += between * between;
                covariance[(j, i)] += between * between;
            }
        }
    }
    debug_assert!(mean.len() >= n, "the dimensions come first");
    let mut beliefs = Beliefs::new(mean, covariance);
    for (entry, reading, u) in readings {
        let expected = beliefs.mean(entry);
        beliefs.observe(&[(entry, 1.0)], expected, reading, u);
    }
    for kind in &mut kinds {
        if let Some(entry) = kind.entry {
            kind.thickness = beliefs.mean(entry);
        }
    }
    (beliefs, kinds)
}

/// Bias, scatter between packets and scatter within one of a size: of the pack file's lot, else by `scatter`, mm.
pub(crate) fn scatter_of(stack: &Stack, piece: &Piece, size: f64, scatter: PacketScatter) -> (f64, f64, f64) {
    let sd: Vec<f64> = stack.inputs.iter().map(|input| input.distribution.standard_uncertainty()).collect();
    lot_of(stack, piece, size, &sd).map_or((0.0, scatter.between_share * size, scatter.within), |(_, packet)| {
        (packet.bias, packet.between, packet.within)
    })
}

/// The pack file's lot that a size belongs to: by name, else the only lot that has a part of this nominal.
fn lot_of(stack: &Stack, piece: &Piece, size: f64, sd: &[f64]) -> Option<(usize, Packet)> {
    let of_size = |lot: usize| {
        (0..stack.inputs.len())
            .find(|&i| stack.inputs[i].lot == Some(lot) && (stack.inputs[i].nominal - size).abs() < SAME_SIZE)
    };
    let named = stack.lots.iter().position(|lot| lot.name == piece.name);
    let lot = named.or_else(|| {
        let mut lots = (0..stack.lots.len()).filter(|&lot| of_size(lot).is_some());
        let first = lots.next();
        first.filter(|_| lots.next().is_none())
    })?;
    let part = of_size(lot).or_else(|| (0..stack.inputs.len()).find(|&i| stack.inputs[i].lot == Some(lot)))?;
    let within = sd[part];
    Some((lot, Packet { bias: stack.lots[lot].bias, between: stack.lots[lot].between, within }))
}
