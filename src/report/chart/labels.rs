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
/// - A flag hangs to the right of its pole, or to the left where the right has no room. No flag
///   covers another flag, nor another rule's pole, unless all of `lanes` rows are taken: then `None`,
///   and the label is left out.
#[must_use]
pub fn flags(poles: &[(f64, f64)], from: f64, to: f64, lanes: usize) -> Vec<Option<Flag>> {
    const GAP: f64 = 10.0;
    let mut order: Vec<usize> = (0..poles.len()).collect();
    // From right to left, so that a pole rises beside the flags placed before it, not through them.
    order.sort_by(|a, b| poles[*b].0.total_cmp(&poles[*a].0).then(a.cmp(b)));
    let mut placed: Vec<Option<Flag>> = vec![None; poles.len()];
    for i in order {
        let (x, width) = poles[i];
        let right = (x + GAP, x + GAP + width);
        let left = (x - GAP - width, x - GAP);
        let slid = (to - width, to);
        let mut choices = Vec::new();
        if right.1 <= to {
            choices.push(right);
        }
        if left.0 >= from {
            choices.push(left);
        }
        if choices.is_empty() {
            choices.push(if slid.0 >= from { slid } else { (from, from + width) });
        }
        let free = |(a, b): (f64, f64), lane: usize| {
            placed.iter().enumerate().all(|(j, flag)| {
                let Some(flag) = flag else { return true };
                let covers_flag = flag.lane == lane && a < flag.right + GAP && b > flag.left - GAP;
                let other = poles[j].0;
                let covers_pole = lane <= flag.lane && a - GAP / 2.0 < other && other < b + GAP / 2.0;
                let pole_covered = flag.lane <= lane && flag.left - GAP / 2.0 < x && x < flag.right + GAP / 2.0;
                !(covers_flag || covers_pole || pole_covered)
            })
        };
        placed[i] = (0..lanes)
            .flat_map(|lane| choices.iter().map(move |c| (*c, lane)))
            .find(|(c, lane)| free(*c, *lane))
            .map(|((left, right), lane)| Flag { left, right, lane });
    }
    placed
}

/// Moves labels along a line so that they keep `apart` from one another and stay between `from` and
/// `to`, each as near to its wish as its neighbours allow. Where there is no room for all, they are
/// spread evenly.
#[must_use]
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
