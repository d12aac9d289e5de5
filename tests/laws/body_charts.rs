//! The charts of one body: what they show are its units, each once, and the curves its numbers come from.
//!
//! Readings are the quantiles of known distributions, so that every number is known without drawing any.

use super::chart_inputs::{assert_drawn, bell, drift_input, estimate, probability_input};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::analysis::body::curves::{Density, Kind};
use leakdrift::analysis::body::describe::{Body, Options, Which, describe};
use leakdrift::analysis::body::healthy::{Ask, healthy};
use leakdrift::analysis::body::observed::Known;
use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::readings::Reading;
use leakdrift::report::chart::distribution::{self, TallyLine, Trips};
use leakdrift::report::chart::one_series::group_names;
use leakdrift::report::chart::probability::{self, Probability, ProbabilityScale, named};
use leakdrift::report::chart::{Bar, Chart, Layer, Role, Shape, drift};
use leakdrift::series::Says;
use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::special::normal_quantile;

const STEP: f64 = 0.01;

fn shown(x: f64) -> Observation {
    let k = (x / STEP).round();
    Observation::Between { low: (k - 0.5) * STEP, high: (k + 0.5) * STEP }
}

/// Body of these observations, spread over 40 days so that each day has its share of all sizes.
fn body_of(all: &[Observation]) -> Body {
    let data = Grouped::new(
        all.iter().enumerate().map(|(i, o)| (i32::try_from(i % 40).expect("few"), *o, 1.0)),
    )
    .unwrap();
    describe(&data, &Edges::uniform(STEP), &Options::default()).unwrap()
}

/// The quantiles of a lognormal distribution at the middles of `n` equal shares.
fn lognormal(n: u32, median: f64, spread: f64) -> Vec<f64> {
    (0..n)
        .map(|i| (f64::from(i) + 0.5) / f64::from(n))
        .map(|p| median * (spread * normal_quantile(p)).exp())
        .collect()
}

fn plain() -> Vec<Observation> {
    lognormal(2000, 2.0, 0.1).into_iter().map(shown).collect()
}

fn two_sorts() -> Vec<Observation> {
    let mut all = lognormal(1200, 1.9, 0.02);
    all.extend(lognormal(800, 2.3, 0.02));
    all.into_iter().map(shown).collect()
}

/// The chart of a body as the report makes it, without limits.
fn chart_of(body: &Body) -> Chart {
    let names = ["lower".to_owned(), "upper".to_owned()];
    probability::chart(&Probability {
        observed: body.ranks(STEP),
        units: body.units_by_kind(STEP),
        curves: body.curves(0.001).into_iter().map(|c| named(c, body, &names, 1.0)).collect(),
        step: STEP,
        high_limit: None,
        bounds: None,
        ..probability_input(ProbabilityScale::Lognormal)
    })
    .unwrap()
}

/// The number before `unit` in the last pair of brackets.
fn counted(text: &str) -> Option<f64> {
    let inside = text.rsplit_once('(')?.1;
    inside.contains("unit").then_some(())?;
    let digits: String = inside.chars().filter(char::is_ascii_digit).collect();
    digits.parse().ok()
}

/// By hand: 2000 units, 3 strays far above (the rule may take the highest of the others for one more), 4 zero readings and 5 trips: 2012, each in one legend entry.
#[test]
fn legend_counts_add_up_to_the_units() {
    let mut all = plain();
    all.extend([4.5, 4.8, 5.1].map(shown));
    all.extend([Observation::Below(STEP / 2.0); 4]);
    all.extend([Observation::Above(6.0); 5]);
    let body = body_of(&all);
    let chart = chart_of(&body);
    let mut entries: Vec<&str> = chart
        .layers()
        .filter(|l| matches!(l, Layer::Points { .. }))
        .filter_map(Layer::name)
        .collect();
    // Both panels have the same entries.
    entries.sort_unstable();
    entries.dedup();
    let counts: Vec<(f64, &str)> =
        entries.iter().map(|e| (counted(e).expect("a count"), *e)).collect();
    let sum: f64 = counts.iter().map(|c| c.0).sum();
    assert!(sum == 2012.0, "{counts:?}");
    assert!(chart.subtitle.starts_with("2012 units"), "{}", chart.subtitle);
    let of = |words: &str| counts.iter().find(|c| c.1.contains(words)).map(|c| c.0);
    assert!(of("stray that passed").is_some_and(|n| (3.0..=4.0).contains(&n)));
    assert_eq!(of("zero shown"), Some(4.0));
    assert_eq!(of("tripped"), Some(5.0));
    assert_drawn(&chart);
}

/// The 3 strays lie beyond everything else; the last has a place although nothing lies above it.
#[test]
fn every_stray_has_a_mark_of_its_own_kind() {
    let mut all = plain();
    all.extend([4.5, 4.8, 5.1].map(shown));
    let body = body_of(&all);
    let strays: Vec<f64> =
        body.ranks(STEP).iter().filter(|o| o.stray).map(|o| f64::midpoint(o.low, o.high)).collect();
    assert_eq!(strays.len(), 3);
    for (found, truth) in strays.iter().zip([4.5, 4.8, 5.1]) {
        assert_abs(*found, truth, 1e-9);
    }
    let chart = chart_of(&body);
    let marked = chart.panels.last().unwrap().layers.iter().any(|l| {
        matches!(l, Layer::Points { role: Role::Stray, shape: Shape::Down, points, .. } if points.len() == 3)
    });
    assert!(marked);
}

/// By hand: of 2000 body units and 20 strays kept apart below, a reading with 1000 body units below it
/// has the share 1000/2000 of the body, not 1020/2020 of all units.
#[test]
fn the_body_is_ranked_without_strays_kept_apart() {
    let mut all = plain();
    all.extend([shown(0.3); 20]);
    all.extend([4.5, 4.8, 5.1].map(shown));
    let body = body_of(&all);
    assert_eq!(body.which().unwrap(), Which::Apart);
    let at = 2.0;
    let seen = body.ranks(STEP);
    let point = seen.iter().find(|o| o.low < at && at < o.high).expect("a reading at the median");
    // Symmetric about the median, so half of the body lies below the middle of its step.
    assert_abs(point.p, 0.5, 1e-3);
}

#[test]
fn the_curve_is_the_one_that_the_numbers_come_from() {
    let kinds = |body: &Body| -> Vec<Kind> { body.curves(0.001).iter().map(|c| c.kind).collect() };
    // Nothing beyond: the body up to the threshold of the tail, from there the tail.
    let body = body_of(&plain());
    assert_eq!(body.which().unwrap(), Which::Together);
    let tail = body.tail.as_ref().unwrap();
    let found = body.curves(0.001);
    assert_eq!(kinds(&body), [Kind::Body, Kind::Tail]);
    let last = found[0].points.last().unwrap();
    assert_abs(last.p, 1.0 - tail.share, 1e-9);
    let first = &found[1].points[0];
    assert_rel(first.reading, tail.threshold, 1e-6);
    let middle = &found[1].points[8];
    let answer = body.quantile(Which::Together, middle.p).unwrap();
    assert_eq!(middle.estimate, Some(answer));
    // In µA a thousand times as much.
    let names = ["lower".to_owned(), "upper".to_owned()];
    let in_ua = &named(found[1].clone(), &body, &names, 1000.0).points[8];
    let (a, b) = (in_ua.estimate.as_ref().unwrap(), middle.estimate.as_ref().unwrap());
    for (ua, ma) in [(in_ua.reading, middle.reading), (a.low, b.low), (a.high, b.high)] {
        assert_rel(ua, 1000.0 * ma, 1e-12);
    }
    // Its density on the distribution chart: the units beyond the threshold are those of the tail.
    let beyond = area(&body.tail_densities()) * body.units_of_density();
    assert_rel(beyond, tail.share * body.units, 0.05);

    // Strays apart: the body all along.
    let mut all = plain();
    all.extend([4.5, 4.8, 5.1].map(shown));
    assert_eq!(kinds(&body_of(&all)), [Kind::Body]);
    assert!(body_of(&all).tail_densities().is_empty());

    // Two groups: no single body.
    assert_eq!(
        kinds(&body_of(&two_sorts())),
        [Kind::Readings, Kind::Groups, Kind::Lower, Kind::Upper, Kind::Tail]
    );
}

/// Trapezoids.
fn area(along: &[Density]) -> f64 {
    along.windows(2).map(|w| (w[1].ma - w[0].ma) * f64::midpoint(w[0].per_ma, w[1].per_ma)).sum()
}

/// Two groups of 60 and 40 % with medians 1.9 and 2.3: each part's area is its share, both together are the
/// density of the body, and each alone passes a half at its median.
#[test]
fn two_groups_are_both_shown() {
    let body = body_of(&two_sorts());
    let two = body.groups.as_ref().unwrap();
    let names = group_names(two, None, &|ma| format!("{ma:.2} mA"));
    assert_eq!(names, ["lower group: 60 %, around 1.90 mA", "upper group: 40 %, around 2.30 mA"]);
    let found = body.group_densities().unwrap();
    for (density, share) in found.iter().zip([0.6, 0.4]) {
        assert_abs(area(density), share, 1e-3);
    }
    for (i, point) in body.densities().iter().enumerate() {
        let sum: f64 = found.iter().map(|density| density[i].per_ma).sum();
        assert_abs(sum, point.per_ma, 1e-9);
    }
    for (kind, median) in [(Kind::Lower, 1.9), (Kind::Upper, 2.3)] {
        let all = body.curves(0.001);
        let curve = all.iter().find(|c| c.kind == kind).unwrap();
        let past = curve.points.iter().position(|f| f.p >= 0.5).unwrap();
        let (a, b) = (&curve.points[past - 1], &curve.points[past]);
        let crossing = a.reading + (b.reading - a.reading) * (0.5 - a.p) / (b.p - a.p);
        assert_abs(crossing, median, 2e-3);
    }
    // Between the groups lie the 60 % of the lower one: both together pass there.
    let all = body.curves(0.001);
    let both = all.iter().find(|c| c.kind == Kind::Groups).unwrap();
    let between = both.points.iter().find(|f| f.reading > 2.09).unwrap();
    assert_abs(between.p, 0.6, 2e-3);
    assert_drawn(&chart_of(&body));
}

/// A pass shown as the limit reaches half a step above it, where trips would be put: no unit lies there.
#[test]
fn no_point_stands_between_a_limit_and_the_edge_of_its_reading() {
    let limit = 2.2;
    let all: Vec<Observation> = lognormal(2000, 2.0, 0.1)
        .into_iter()
        .map(|x| if x > limit { Observation::Above(limit) } else { shown(x) })
        .collect();
    // By hand: ln 1.1 / 0.1 = 0.9531 standard deviations, 17.03 % above, 341 units.
    let body = body_of(&all);
    let seen = body.ranks(STEP);
    assert!(
        seen.iter()
            .filter(|o| o.known == Known::Within)
            .all(|o| f64::midpoint(o.low, o.high) <= limit)
    );
    let trip = seen.iter().find(|o| o.known == Known::Above).unwrap();
    assert_abs(trip.low, limit, 0.0);
    let trips = body.units_by_kind(STEP).iter().find(|u| u.known == Known::Above).unwrap().count;
    assert_eq!(trips, 341);
}

/// Of a body that a straight line carries and that no reading lies beyond, every reading counts: the forecast starts
/// from that answer, not from the one with strays kept out.
#[test]
fn the_forecast_is_of_the_tail_in_use() {
    let last = 59;
    let mut readings: Vec<Reading> = lognormal(40 * 60, 1.0, 0.05)
        .into_iter()
        .enumerate()
        .map(|(i, spread)| {
            // 37 has no divisor in common with 60, so that each day has its share of all sizes.
            let day = i32::try_from(i * 37 % 60).expect("few");
            let x = 2.0 * spread + 0.004 * f64::from(day);
            let ma = (x / STEP).round() * STEP;
            Reading { day, station: 0, ma, step_ma: STEP, says: Says::Value, count: 1.0 }
        })
        .collect();
    readings.sort_by_key(|r| r.day);
    let edges = Edges::uniform(STEP);
    let ask = Ask {
        edges: edges.clone(),
        step_ma: STEP,
        limit_ma: Some(3.0),
        low_limit_ma: None,
        slope: true,
        to: last,
        horizon: last + 30,
        longest_forecast: last,
        stations: Vec::new(),
        scale_error: ScaleError::default(),
    };
    let found = healthy(&readings, &ask, &Config::default()).unwrap();
    assert!(found.lines.is_some() && found.in_use == Ok(Which::Together));
    let (apart, together) = (found.apart.as_ref().unwrap(), found.together.as_ref().unwrap());
    let (apart, together) = (&apart.quantile_ma, &together.quantile_ma);
    assert!((apart.value - together.value).abs() > 1e-6 && apart.high != together.high);
    let forecast = found.forecast();
    let today = &forecast[0];
    assert_eq!(today.day, last);
    for (shown, judged) in [
        (today.estimate.value, together.value),
        (today.estimate.low, together.low),
        (today.estimate.high, together.high),
    ] {
        assert_rel(shown, judged, 1e-12);
    }
    // 0.004 mA a day, as long as the spread stays.
    let rise = forecast[1].estimate.value - today.estimate.value;
    assert!(rise > 0.0, "{rise}");
}

/// A chart that draws an interval says the level that it has, whatever the settings ask for.
#[test]
fn intervals_of_forecasts_and_bands_say_their_level() {
    let names = |chart: &Chart| -> Vec<String> {
        chart.layers().filter_map(Layer::name).map(str::to_owned).collect()
    };
    let shown = names(&drift::chart(&drift_input()).unwrap());
    assert!(shown.iter().any(|n| n == "its 90 % interval"), "{shown:?}");
    let mut input = probability_input(ProbabilityScale::Normal);
    for point in &mut input.curves[0].points {
        point.estimate = Some(estimate(point.reading, point.reading, point.reading + 0.1, 0.8));
    }
    let shown = names(&probability::chart(&input).unwrap());
    assert!(shown.iter().any(|n| n == "80 % confidence band"), "{shown:?}");
}

fn bars(chart: &Chart, wanted: Role) -> Vec<Bar> {
    chart.panels[0]
        .layers
        .iter()
        .find_map(|l| match l {
            Layer::Bars { role, bars, .. } if *role == wanted => Some(bars.clone()),
            _ => None,
        })
        .unwrap_or_default()
}

fn line(reading: f64, step: f64, count: u64) -> TallyLine {
    TallyLine { reading, step, count, stray: false }
}

/// By hand, bars of 0.01: 8 units at 1.144 (0.001) and 20 at 1.14 (0.01) lie in 1.135 to 1.145; 6 at 1.145
/// (0.001) reach half a step to either side of the edge and give 3 to each bar.
#[test]
fn a_fine_reading_on_an_edge_is_shared() {
    let mut input = bell(1.14, 0.01, 0.01, 1.3);
    input.tally = vec![line(1.14, 0.01, 20), line(1.144, 0.001, 8), line(1.145, 0.001, 6)];
    let chart = distribution::chart(&input).unwrap();
    let found = bars(&chart, Role::Reading);
    assert_eq!(found.len(), 2);
    for (bar, (from, to, top)) in found.iter().zip([(1.135, 1.145, 31.0), (1.145, 1.155, 3.0)]) {
        assert_abs(bar.from, from, 1e-9);
        assert_abs(bar.to, to, 1e-9);
        assert_abs(bar.top, top, 1e-6);
    }
    assert!(chart.notes.iter().any(|n| n.contains("stands for 0.001 to 0.01 mA")));
}

/// By hand: 50 units of a step of 0.01 lie evenly from 1.155 to 1.165. Bars of 0.001 have their edges at
/// 1.1545, 1.1555 and so on: 9 whole ones with 5 units each, and half a one with 2.5 at either end.
#[test]
fn a_coarser_reading_is_spread_over_its_step() {
    let mut input = bell(1.14, 0.01, 0.001, 1.3);
    input.tally = vec![line(1.139, 0.001, 7), line(1.16, 0.01, 50)];
    let found = bars(&distribution::chart(&input).unwrap(), Role::Reading);
    let tops: Vec<f64> = [7.0, 2.5].into_iter().chain([5.0; 9]).chain([2.5]).collect();
    assert_eq!(found.len(), tops.len());
    for (bar, top) in found.iter().zip(tops) {
        assert_abs(bar.to - bar.from, 0.001, 1e-9);
        assert_abs(bar.top, top, 1e-6);
    }
    assert_abs(found[1].from, 1.1545, 1e-9);
}

#[test]
fn units_in_the_subtitle_are_those_drawn() {
    let mut input = bell(2.0, 0.1, 0.01, 2.6);
    input.tally = vec![line(2.0, 0.01, 70), line(2.1, 0.01, 30)];
    input.tally.push(TallyLine { stray: true, ..line(5.0, 0.01, 2) });
    input.trips = vec![Trips { limit: 2.6, count: 4 }];
    input.under = vec![Trips { limit: 1.0, count: 3 }];
    input.period = "2026".into();
    let chart = distribution::chart(&input).unwrap();
    assert_eq!(
        chart.subtitle,
        "109 units, 2026: 102 passed (2 of them strays), 4 tripped, 3 healthy under the low limit"
    );
    for panel in &chart.panels {
        let drawn: f64 = panel
            .layers
            .iter()
            .filter_map(|l| match l {
                Layer::Bars { bars, .. } => Some(bars.iter().map(|b| b.top).sum::<f64>()),
                _ => None,
            })
            .sum();
        assert_abs(drawn, 109.0, 1e-9);
    }
    assert_drawn(&chart);
}

#[test]
fn two_ends_never_print_alike() {
    let mut input = bell(0.095, 0.002, 0.001, 0.105);
    input.tail_bounds = Some((0.100_9, 0.101_4));
    let chart = distribution::chart(&input).unwrap();
    let named = |words: &str| chart.layers().filter_map(Layer::name).any(|n| n == words);
    assert!(named("end of the healthy tail 0.1009 to 0.1014 mA"));
    // Ends that differ are left as they are.
    input.tail_bounds = Some((0.100_9, 0.103_2));
    let chart = distribution::chart(&input).unwrap();
    let named = |words: &str| chart.layers().filter_map(Layer::name).any(|n| n == words);
    assert!(named("end of the healthy tail 0.101 to 0.103 mA"));
}

/// Trips are told in the legend.
#[test]
fn trips_are_counted_in_the_legend() {
    let chart = distribution::chart(&bell(4.8, 0.12, 0.01, 5.0)).unwrap();
    assert!(
        chart
            .layers()
            .filter_map(Layer::name)
            .any(|n| n == "tripped, somewhere above 5.00 mA (332 units)")
    );
    // The arrow beside the limit lies on the panel.
    for panel in &chart.panels {
        for layer in &panel.layers {
            if let Layer::Points { role: Role::Limit, points, .. } = layer {
                let x = panel.x.as_ref().unwrap();
                assert!(points.iter().all(|p| x.holds(p.x)));
            }
        }
    }
}

/// Labels of 28 pixels on a panel of some 590 need an eighteenth of it each. Shares shown are round,
/// and the median is one of them.
#[test]
fn share_labels_are_round_and_keep_apart() {
    for scale in [
        ProbabilityScale::Normal,
        ProbabilityScale::Lognormal,
        ProbabilityScale::Weibull,
        ProbabilityScale::Gumbel,
        ProbabilityScale::LogLogistic,
    ] {
        let mut input = probability_input(scale);
        for (i, p) in [1e-4, 0.999_9].into_iter().enumerate() {
            input.observed[i].p = p;
        }
        let chart = probability::chart(&input).unwrap();
        let y = &chart.panels[0].y;
        let ticks = y.ticks(0);
        let labels: Vec<&str> = ticks.iter().map(|t| t.label.as_str()).collect();
        for wanted in ["50 %", "90 %", "99 %"] {
            assert!(
                labels.contains(&wanted) || scale == ProbabilityScale::Weibull,
                "{scale:?}: {labels:?}"
            );
        }
        assert!((5..=18).contains(&ticks.len()), "{scale:?}: {} labels", ticks.len());
        let least = (y.high - y.low) / 18.0;
        for pair in ticks.windows(2) {
            assert!(pair[1].at - pair[0].at >= least * (1.0 - 1e-9), "{scale:?}: {labels:?}");
        }
        // Outwards from the middle no decade is left out.
        let has = |text: &str| labels.contains(&text);
        assert!(!has("0.1 %") || has("1 %"), "{scale:?}: {labels:?}");
        assert!(!has("99.9 %") || has("99 %"), "{scale:?}: {labels:?}");
    }
}

/// Steps wider than a point are bars as wide as the step; narrow ones are points alone.
#[test]
fn a_coarse_step_is_a_bar_of_its_width() {
    let spans = |half: f64| -> Vec<(f64, f64)> {
        let mut input = probability_input(ProbabilityScale::Normal);
        for o in input.observed.iter_mut().filter(|o| o.known == Known::Within) {
            let middle = f64::midpoint(o.low, o.high);
            (o.low, o.high) = (middle - half, middle + half);
        }
        probability::chart(&input)
            .unwrap()
            .layers()
            .filter_map(|l| match l {
                Layer::Span { role: Role::Reading, from, to, .. } => Some((*from, *to)),
                _ => None,
            })
            .collect()
    };
    let wide = spans(0.05);
    assert_eq!(wide.len(), 50);
    for (from, to) in wide {
        assert_abs(to - from, 0.1, 1e-9);
    }
    assert!(spans(0.000_1).is_empty());
}

/// One reading and trips alone: the bar and the arrow lie wholly on the panel.
#[test]
fn a_single_bar_fits_its_panel() {
    let mut one = bell(1.2, 0.01, 0.01, 1.2);
    (one.low_limit, one.open_lead, one.band, one.tail_bounds) = (None, None, None, None);
    one.density.clear();
    one.tally = vec![line(1.2, 0.01, 1)];
    one.trips.clear();
    let mut tripped = one.clone();
    tripped.tally.clear();
    tripped.typical = None;
    tripped.trips = vec![Trips { limit: 1.2, count: 120 }];
    for (input, role) in [(one, Role::Reading), (tripped, Role::Limit)] {
        let chart = distribution::chart(&input).unwrap();
        let x = chart.panels[0].x.as_ref().unwrap();
        let found = bars(&chart, role);
        assert_eq!(found.len(), 1);
        assert!(x.holds(found[0].from) && x.holds(found[0].to));
    }
}

#[test]
fn odd_series_are_drawn() {
    // A step wider than the spread: three readings.
    let coarse: Vec<Observation> = [(0.1, 300), (0.2, 1500), (0.3, 200)]
        .into_iter()
        .flat_map(|(x, n): (f64, usize)| {
            vec![Observation::Between { low: x - 0.05, high: x + 0.05 }; n]
        })
        .collect();
    let data = Grouped::new(
        coarse.iter().enumerate().map(|(i, o)| (i32::try_from(i % 40).expect("few"), *o, 1.0)),
    )
    .unwrap();
    if let Ok(body) = describe(&data, &Edges::uniform(0.1), &Options::default()) {
        assert_drawn(&chart_of(&body));
    }
    let mut input = bell(0.2, 0.01, 0.1, 5.0);
    input.tally = vec![line(0.1, 0.1, 300), line(0.2, 0.1, 1500), line(0.3, 0.1, 200)];
    assert_drawn(&distribution::chart(&input).unwrap());
    // Long and undrawable names.
    let long = "a very long name of a level 水壶 ".repeat(20);
    let mut input = probability_input(ProbabilityScale::Gumbel);
    (input.series, input.answer) = (long.clone(), long.clone());
    input.curves[0].name.clone_from(&long);
    input.notes.push(long);
    assert_drawn(&probability::chart(&input).unwrap());
    // One unit.
    let mut one = probability_input(ProbabilityScale::Weibull);
    one.observed.truncate(1);
    one.curves.clear();
    (one.high_limit, one.bounds) = (None, None);
    assert_drawn(&probability::chart(&one).unwrap());
    // Every unit tripped.
    let mut tripped = probability_input(ProbabilityScale::Normal);
    tripped.observed.retain(|o| o.known == Known::Above);
    tripped.curves.clear();
    assert_drawn(&probability::chart(&tripped).unwrap());
}
