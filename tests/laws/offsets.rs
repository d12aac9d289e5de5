//! Effects that groups share: their intervals hold as often as they say.

use leakdrift::stats::offsets::{Entry, fit};
use rand_distr::{Distribution, StandardNormal, StudentT};
use rand_pcg::Pcg64;

const DAYS: usize = 80;
const MODELS: usize = 4;
const STATIONS: usize = 3;
const SERIES: usize = 1500;

/// Share of intervals at 95 % that hold an effect of nothing, of cells with errors from `draw`.
fn held(draw: impl Fn(&mut Pcg64) -> f64) -> f64 {
    let chance = &mut Pcg64::new(20_261_201, 1);
    let (mut held, mut all) = (0.0, 0.0);
    for _ in 0..SERIES {
        let mut entries = Vec::new();
        let mut columns = vec![Vec::new(); STATIONS - 1];
        for group in 0..DAYS * MODELS {
            let level: f64 = StandardNormal.sample(chance);
            for station in 0..STATIONS {
                let cluster = (group / MODELS) as i32;
                let value = level + 0.3 * draw(chance);
                entries.push(Entry { group, cluster, value, weight: 1.0 });
                for (k, column) in columns.iter_mut().enumerate() {
                    column.push(f64::from(u8::from(station == k + 1)));
                }
            }
        }
        let effects = fit(&entries, &columns, None).expect("two stations beside the first");
        for k in 0..STATIONS - 1 {
            let mut alone = vec![0.0; STATIONS - 1];
            alone[k] = 1.0;
            all += 1.0;
            held += f64::from(effects.value[k].abs() <= effects.reach(&alone, 0.95));
        }
    }
    held / all
}

/// Of 3 000 intervals the shares are known to 0.5 %. With weights in place of the scores' slopes 91.8 % of the first held.
#[test]
fn intervals_of_stations_hold_as_often_as_they_say() {
    let of_normal = held(|chance| StandardNormal.sample(chance));
    assert!((0.94..=0.963).contains(&of_normal), "{of_normal}");
    // Long-tailed errors, of which many are taken for strays.
    let long = StudentT::new(3.0).expect("a law");
    let of_long = held(|chance| long.sample(chance));
    assert!((0.935..=0.965).contains(&of_long), "{of_long}");
}
