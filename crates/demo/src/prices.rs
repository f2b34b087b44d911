//! The first bay of the demo's pack with prices: what each tolerance costs to make, or in which grades its parts can be bought.

/// What stands at the head of the priced file, below the mark that it is invented.
const WHAT: &str = "\
#
# The bay of the first cylinder alone, as in pack.toml, with what its tolerances cost (invented prices, a part): the span is milled, adjusters and stems are
# set out on the machine, rockers are turned, ground or lapped, shims come from a packet as bought, sorted, or measured one by one.
# What has no cost is fixed: washers, the spring washer, the packets' deviations.
#
#   packdrift allocate pack-with-prices.toml --max-out 0.01
#   packdrift allocate pack-with-prices.toml --max-out 0.01 --fit-from drawer.csv
";

/// Drawn dimensions, and what they cost.
const PRICES: [(&str, &str); 6] = [
    ("nominal = 54.90, tol = 0.06", "fixed = 4.0, scale = 0.30"),
    ("nominal = 11.30, tol = 0.06", "fixed = 1.0, scale = 0.12"),
    ("nominal = 11.90, tol = 0.08", "fixed = 2.0, scale = 0.25"),
    ("nominal = 39.40, tol = 0.08", "fixed = 2.0, scale = 0.25"),
    (
        "nominal = 24.00, tol = 0.05",
        "grades = [ { tol = 0.02, price = 4.5 }, { tol = 0.05, price = 1.6 }, { tol = 0.10, price = 0.8 } ]",
    ),
    (
        "tol = 0.03, lot = \"shim",
        "grades = [ { tol = 0.006, price = 2.2 }, { tol = 0.015, price = 0.9 }, { tol = 0.03, price = 0.4 } ]",
    ),
];

/// What fitting costs the shop.
const SHOP: &str = "
# What it costs to fit a build from the drawer, for `allocate --fit-from drawer.csv` (invented).
[cost]
builds_a_year = 250
minute = 0.80                     # at the bench
read_minutes = 1.0                # one offset
open_minutes = 4.0                # a bay, whatever is changed in it
piece_minutes = 1.0               # each part touched
measuring = 0.30                  # a piece
tighter = 0.50                    # what a piece from a tighter lot costs more …
tighter_share = 0.5               # … and its scatter over that of the catalogue's
holding = 0.2                     # a piece for a year, of its price
size_a_year = 5.0                 # a size for a year: its place and its line in the books
";

/// The pack file with prices, from the one without.
pub(crate) fn pack_with_prices(pack: &str) -> String {
    let (head, rest) = pack.split_once('\n').unwrap_or((pack, ""));
    let mut out = format!("{head}\n{WHAT}");
    let mut in_the_second = false;
    for block in blocks(rest) {
        let of_the_second = ["cylinder 2", "2 intake", "2 exhaust"].iter().any(|name| block.contains(name));
        if block.starts_with("[[") {
            in_the_second = of_the_second;
        }
        if in_the_second || block.lines().all(|line| line.starts_with('#')) {
            continue;
        }
        for line in block.lines() {
            out.push('\n');
            out.push_str(&priced(line));
        }
        out.push('\n');
    }
    out.push_str(SHOP);
    out.replace("whole rocker shaft (invented)", "first cylinder, with prices (invented)")
}

/// Paragraphs: what stands between blank lines.
fn blocks(text: &str) -> impl Iterator<Item = &str> {
    text.split("\n\n").map(|block| block.trim_matches('\n')).filter(|block| !block.is_empty())
}

/// A line with its cost, where it has one.
fn priced(line: &str) -> String {
    let cost = PRICES.iter().find(|(drawn, _)| line.contains(drawn));
    match (cost, line.rfind(" }")) {
        (Some((_, cost)), Some(end)) => format!("{}, cost = {{ {cost} }}{}", &line[..end], &line[end..]),
        _ => line.to_owned(),
    }
}
