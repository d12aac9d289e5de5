//! Two by two tables and ratios of rates; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::contingency::{Table, mantel_haenszel};
use leakdrift::stats::rate_ratio::{Rate, rate_ratio, rate_ratio_at_least, rate_ratio_p};
use leakdrift::stats::special::chi_square_sf;

/// `poisson.test` of R on lung cancer in Danish cities.
#[test]
fn poisson_rates() {
    let case = load("rate-ratio-poisson");
    let (events, exposure) = (numbers(&case["data"]["events"]), numbers(&case["data"]["exposure"]));
    let rate = |n: usize| Rate { events: events[n], exposure: exposure[n] };
    // The case takes the first city's rate over the second's.
    let ratio = rate_ratio(rate(0), rate(1), 0.95).unwrap();
    assert_case(&case, "rate_ratio", ratio.value);
    assert_case(&case, "ci95_lower", ratio.low);
    assert_case(&case, "ci95_upper", ratio.high);
    assert_case(&case, "p_two_sided", rate_ratio_p(rate(0), rate(1)).unwrap());
}

/// No event on one side: the end that the data cannot bound is infinite; no event at all has no ratio.
#[test]
fn rates_without_events() {
    let rate = |events: f64| Rate { events, exposure: 100.0 };
    let ratio = rate_ratio(rate(4.0), rate(0.0), 0.95).unwrap();
    // All of 4 events on one side: the share is at least 0.025^(1/4), by hand.
    let share = 0.025_f64.powf(0.25);
    assert_rel(ratio.low, share / (1.0 - share), 1e-9);
    assert_eq!((ratio.value, ratio.high), (f64::INFINITY, f64::INFINITY));
    assert!(rate_ratio(rate(0.0), rate(0.0), 0.95).is_none());
}

/// Two strata worked by hand: 4 of 10 against 2 of 10, and 5 of 20 against 3 of 20.
///
/// OR = (4·8/20 + 5·17/40)/(6·2/20 + 15·3/40) = 3.725/1.725; E = 3 + 4;
/// V = 10·10·6·14/(400·19) + 20·20·8·32/(1600·39).
#[test]
fn strata_by_hand() {
    let of = |failed, units, failed_others, units_others| Table {
        failed,
        units,
        failed_others,
        units_others,
    };
    let tables = [of(4.0, 10.0, 2.0, 10.0), of(5.0, 20.0, 3.0, 20.0)];
    let found = mantel_haenszel(&tables, 0.95).unwrap();
    let ratio = found.odds_ratio.unwrap();
    assert_rel(ratio.value, 3.725 / 1.725, 1e-12);
    assert!(ratio.low < 1.0 && ratio.high > ratio.value);
    assert_abs(found.observed, 9.0, 1e-12);
    assert_abs(found.expected, 7.0, 1e-12);
    let variance = 8400.0 / 7600.0 + 102_400.0 / 62_400.0;
    assert_rel(found.p_value, chi_square_sf(4.0 / variance, 1.0), 1e-12);
    // A day on which only one group was tested says nothing.
    let alone = [of(4.0, 10.0, 0.0, 0.0)];
    assert!(mantel_haenszel(&alone, 0.95).is_none());
}

/// The lower end by itself, by hand: all of 4 events on one side, the share is at least 0.05^(1/4); and where both
/// sides have events it is the end of an interval at 90 %.
#[test]
fn the_lower_end_of_a_ratio_by_itself() {
    let rate = |events: f64, exposure: f64| Rate { events, exposure };
    let share = 0.05_f64.powf(0.25);
    let alone = rate_ratio_at_least(rate(4.0, 50.0), rate(0.0, 100.0), 0.95).unwrap();
    assert_rel(alone, 2.0 * share / (1.0 - share), 1e-9);
    let (first, second) = (rate(7.0, 50.0), rate(3.0, 100.0));
    let both = rate_ratio(first, second, 0.90).unwrap();
    assert_rel(rate_ratio_at_least(first, second, 0.95).unwrap(), both.low, 1e-9);
    assert!(rate_ratio_at_least(rate(0.0, 1.0), rate(0.0, 1.0), 0.95).is_none());
}
