//! Where labels go so that none covers another.

/// Where the words of an upright rule stand: `lane` 0 is the one next to the panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flag {
    /// Left end of the words.
    pub left: f64,
    /// Right end of the words.
    pub right: f64,
    /// Rows above the panel.
    pub lane: usize,
}

/// Places the labels of upright rules like flags on poles above a panel.
///
/// - `poles`: place and label width of each rule, any order. `from`, `to`: ends of the room.
/// - A flag hangs beside its pole, on the side that has room. Where it can be had, no flag covers
///   another rule's pole; none ever covers another flag. Where all of `lanes` rows are taken: `None`,
///   and the label is left out.
pub fn flags(poles: &[(f64, f64)], from: f64, to: f64, lanes: usize) -> Vec<Option<Flag>> {
    let cost = |placed: &[Option<Flag>]| {
        let missing = placed.iter().filter(|f| f.is_none()).count();
        (missing, placed.iter().flatten().map(|f| f.lane).max().unwrap_or(0))
    };
    // A few ways of going about it; the first of the best is taken.
    let mut best: Option<Vec<Option<Flag>>> = None;
    for leftwards in [true, false] {
        for side_first in [true, false] {
            let tried = hung(poles, from, to, lanes, leftwards, side_first);
            if best.as_ref().is_none_or(|b| cost(&tried) < cost(b)) {
                best = Some(tried);
            }
        }
    }
    let mut placed = best.unwrap_or_default();
    for i in 0..poles.len() {
        if placed[i].is_none() {
            placed[i] = choices(poles[i], from, to, true)
                .iter()
                .flat_map(|c| (0..lanes).map(move |lane| Flag { left: c.0, right: c.1, lane }))
                .find(|f| placed.iter().flatten().all(|other| !overlap(f, other)));
        }
    }
    placed
}

const GAP: f64 = 10.0;

/// Where a flag could hang: to the right of its pole, to the left, or where only there it fits.
fn choices((x, width): (f64, f64), from: f64, to: f64, right_first: bool) -> Vec<(f64, f64)> {
    let right = (x + GAP, x + GAP + width);
    let left = (x - GAP - width, x - GAP);
    let mut found: Vec<(f64, f64)> =
        [right, left].into_iter().filter(|c| c.0 >= from && c.1 <= to).collect();
    if !right_first {
        found.reverse();
    }
    if found.is_empty() {
        let start = (to - width).max(from);
        found.push((start, start + width));
    }
    found
}

fn overlap(a: &Flag, b: &Flag) -> bool {
    a.lane == b.lane && a.left < b.right + GAP && a.right > b.left - GAP
}

/// One way of hanging the flags: going leftwards they prefer the right side, so that a pole rises
/// beside the flags hung before it, and the other way round.
fn hung(
    poles: &[(f64, f64)],
    from: f64,
    to: f64,
    lanes: usize,
    leftwards: bool,
    side_first: bool,
) -> Vec<Option<Flag>> {
    let mut order: Vec<usize> = (0..poles.len()).collect();
    order.sort_by(|a, b| poles[*a].0.total_cmp(&poles[*b].0).then(b.cmp(a)));
    if leftwards {
        order.reverse();
    }
    let mut placed: Vec<Option<Flag>> = vec![None; poles.len()];
    for i in order {
        let sides = choices(poles[i], from, to, leftwards);
        let flag = |side: (f64, f64), lane| Flag { left: side.0, right: side.1, lane };
        let wishes: Vec<Flag> = if side_first {
            sides.iter().flat_map(|s| (0..lanes).map(move |lane| flag(*s, lane))).collect()
        } else {
            (0..lanes).flat_map(|lane| sides.iter().map(move |s| flag(*s, lane))).collect()
        };
        let near = |f: &Flag, x: f64| f.left - GAP / 2.0 < x && x < f.right + GAP / 2.0;
        let free = |wish: &Flag| {
            placed.iter().enumerate().all(|(j, other)| {
                let Some(other) = other else { return true };
                let covers_pole = wish.lane <= other.lane && near(wish, poles[j].0);
                let pole_covered = other.lane <= wish.lane && near(other, poles[i].0);
                !(overlap(wish, other) || covers_pole || pole_covered)
            })
        };
        placed[i] = wishes.into_iter().find(free);
    }
    placed
}

/// Moves labels along a line so that they keep `apart` from one another and stay between `from` and
/// `to`, each as near to its wish as its neighbours allow. Where there is no room for all, they are
/// spread evenly.
pub fn nudged(wishes: &[f64], apart: f64, from: f64, to: f64) -> Vec<f64> {
    let n = wishes.len();
    if n == 0 {
        return Vec::new();
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| wishes[*a].total_cmp(&wishes[*b]).then(a.cmp(b)));
    let mut out = vec![0.0; n];
    if apart * (n - 1) as f64 >= to - from {
        let step = if n > 1 { (to - from) / (n - 1) as f64 } else { 0.0 };
        for (k, i) in order.into_iter().enumerate() {
            out[i] = from + step * k as f64;
        }
        return out;
    }
    // Pool neighbours that are too close: with the spacing taken out, the nearest ascending sequence.
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (k, i) in order.iter().enumerate() {
        pools.push((wishes[*i] - apart * k as f64, 1));
        while pools.len() > 1 && pools[pools.len() - 2].0 > pools[pools.len() - 1].0 {
            let (b, nb) = pools.pop().expect("more than one pool");
            let (a, na) = pools.pop().expect("more than one pool");
            pools.push(((a * na as f64 + b * nb as f64) / (na + nb) as f64, na + nb));
        }
    }
    let mut k = 0;
    for (place, count) in pools {
        for _ in 0..count {
            let shift = apart * k as f64;
            let last = apart * (n - 1) as f64;
            out[order[k]] = place.clamp(from, to - last) + shift;
            k += 1;
        }
    }
    out
}
