//! How often the intervals of one law and cell hold the truth.

use rayon::prelude::*;

use leakdrift::analysis::body::describe::{Because, Options, Which, describe};
use leakdrift::movement::edges::Edges;

use crate::plan::{Cell, Made, chance, series};
use crate::truth::Truth;

/// The accepted share of healthy units rejected.
const ACCEPTED: f64 = 0.001;
/// Share beyond the limit whose interval is asked.
const ASKED: f64 = 0.002;
/// A limit that rejects this part of the accepted share is not too tight.
const SAFE: f64 = 0.3;

/// What is counted, in the order of the columns.
pub const COLUMNS: [&str; 8] =
    ["X50", "X99", "X99.865", "share", "P_pkU", "U", "L", "share beyond the data ≤ its bound"];
/// A limit beyond the data: healthy units above it in one of so many series.
const BEYOND: f64 = 5.0;

/// Where an interval lies against the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Holds,
    Below,
    Above,
}

/// What one series said.
struct Said {
    sides: [Option<Side>; 8],
    which: Option<(Which, Because)>,
    too_tight: bool,
    /// Distance of `U` from the truth, in distances of the truth from the median.
    surplus: Option<f64>,
}

/// A row of the table.
pub struct Row {
    /// The law.
    pub law: &'static str,
    /// Whether it is one of the families.
    pub of_a_family: bool,
    /// Series.
    pub replicates: usize,
    /// For each column: series that answered, intervals wholly below the truth, wholly above it.
    pub counts: [(usize, usize, usize); 8],
    /// Series whose answer was `together`; `apart`; none.
    pub answers: [usize; 3],
    /// Series in which a long tail explains what strays would; two groups.
    pub odd: [usize; 2],
    /// Series in which a limit that rejects 0.3 of the accepted share is called too tight.
    pub too_tight: usize,
    /// Median distance of `U` from the truth, in distances of the truth from the median.
    pub surplus: f64,
}

impl Row {
    /// Share of the intervals that hold the truth.
    pub fn coverage(&self, column: usize) -> f64 {
        let (n, below, above) = self.counts[column];
        (n - below - above) as f64 / n as f64
    }
}

/// Simulates one law and cell.
pub fn row(law: &Truth, cell: &Cell, replicates: usize, seed: u64) -> Row {
    let made = Made::new(law, cell);
    let x = |q: f64| law.upper_quantile_with_levels(q, made.level_sd);
    let limit = x(ASKED);
    let rare = 1.0 / (BEYOND * cell.units as f64);
    let truth = True {
        beyond: (rare, x(rare)),
        quantiles: [(0.5, x(0.5)), (0.99, x(0.01)), (0.998_65, x(0.001_35))],
        limit,
        end: x(ACCEPTED),
        safe: x(SAFE * ACCEPTED),
    };
    let said: Vec<Said> = (0..replicates as u64)
        .into_par_iter()
        .map(|replicate| ask(law, cell, &made, &truth, seed, replicate))
        .collect();
    let mut counts = [(0, 0, 0); 8];
    for one in &said {
        for (count, side) in counts.iter_mut().zip(one.sides) {
            if let Some(side) = side {
                count.0 += 1;
                count.1 += usize::from(side == Side::Below);
                count.2 += usize::from(side == Side::Above);
            }
        }
    }
    let of = |test: &dyn Fn(&Said) -> bool| said.iter().filter(|s| test(s)).count();
    let because = |why: Because| of(&|s: &Said| s.which.is_some_and(|(_, because)| because == why));
    let answered =
        |which: Which| of(&|s: &Said| s.which.is_some_and(|(answer, _)| answer == which));
    let mut surplus: Vec<f64> = said.iter().filter_map(|s| s.surplus).collect();
    surplus.sort_by(f64::total_cmp);
    Row {
        law: law.name,
        of_a_family: law.of_a_family,
        replicates,
        counts,
        answers: [
            answered(Which::Together),
            answered(Which::Apart),
            of(&|s: &Said| s.which.is_none()),
        ],
        odd: [because(Because::LongTail), because(Because::TwoGroups)],
        too_tight: of(&|s: &Said| s.too_tight),
        surplus: surplus.get(surplus.len() / 2).copied().unwrap_or(f64::NAN),
    }
}

/// What the intervals should hold.
struct True {
    quantiles: [(f64, f64); 3],
    limit: f64,
    /// A share beyond the data, and the limit it lies above.
    beyond: (f64, f64),
    end: f64,
    safe: f64,
}

fn ask(law: &Truth, cell: &Cell, made: &Made, truth: &True, seed: u64, replicate: u64) -> Said {
    let data = series(law, cell, made, &mut chance(seed, law.name, cell, replicate));
    let mut said = Said { sides: [None; 8], which: None, too_tight: false, surplus: None };
    let Ok(body) = describe(&data, &Edges::uniform(made.step), &Options::default()) else {
        return said;
    };
    let Ok((which, because)) = body.in_use.clone() else {
        return said;
    };
    said.which = Some((which, because));
    let side = |low: f64, high: f64, x: f64| {
        if high < x {
            Side::Below
        } else if low > x {
            Side::Above
        } else {
            Side::Holds
        }
    };
    for (i, &(p, x)) in truth.quantiles.iter().enumerate() {
        said.sides[i] = body.quantile(which, p).ok().map(|e| side(e.low, e.high, x));
    }
    said.sides[3] = body.reject_share(which, truth.limit).ok().map(|e| side(e.low, e.high, ASKED));
    let (rare, far) = truth.beyond;
    said.sides[7] = body.reject_share(which, far).ok().map(|e| side(0.0, e.high, rare));
    let index =
        (truth.limit - truth.quantiles[0].1) / (truth.quantiles[2].1 - truth.quantiles[0].1);
    said.sides[4] = body.performance(which, truth.limit).ok().map(|e| side(e.low, e.high, index));
    let bounds: Vec<_> =
        body.answers().iter().map(|&answer| body.bounds(answer, ACCEPTED)).collect();
    // The answer in use comes first.
    if let Some(Ok(b)) = bounds.first() {
        said.sides[5] = Some(side(f64::NEG_INFINITY, b.upper, truth.end));
        said.sides[6] = Some(side(b.lower, f64::INFINITY, truth.end));
        said.surplus = Some((b.upper - truth.end) / (truth.end - truth.quantiles[0].1));
    }
    said.too_tight =
        !bounds.is_empty() && bounds.iter().all(|b| b.as_ref().is_ok_and(|b| truth.safe < b.lower));
    said
}
