//! What holds for every chart: what goes in is what is shown, and nothing that can be measured makes
//! drawing panic or hang.

use super::chart_inputs::{
    assert_drawn, bell, drift_input, failures_input, month, months_input, probability_input, rung,
};
use super::page_report;
use crate::support::numbers::assert_abs;
use leakdrift::report::chart::axis::{day_text, decimals_of, number, percent};
use leakdrift::report::chart::distribution::{self, TallyLine, Trips};
use leakdrift::report::chart::drift::{self, Drift};
use leakdrift::report::chart::failures::{self, Failures};
use leakdrift::report::chart::labels;
use leakdrift::report::chart::ladder::{self, Ladder, Other, Rung};
use leakdrift::report::chart::marks::{LimitFrom, OnDay};
use leakdrift::report::chart::months::{self, MonthShown, Months};
use leakdrift::report::chart::over_time;
use leakdrift::report::chart::probability::{self, Probability, ProbabilityScale};
use leakdrift::report::chart::room_used::{self, RoomUsed};
use leakdrift::report::chart::{
    Axis, Chart, ChartError, Heading, Layer, Panel, Role, Scale, draw, style,
};

use leakdrift::verdict::VerdictKind;

fn bars(panel: &Panel, role: Role) -> f64 {
    panel
        .layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::Bars { role: r, bars, .. } if *r == role => {
                Some(bars.iter().map(|b| b.top).sum::<f64>())
            }
            _ => None,
        })
        .sum()
}

fn rules(chart: &Chart) -> Vec<(f64, &str)> {
    chart
        .layers()
        .filter_map(|layer| match layer {
            Layer::Rule { at, label, .. } => Some((*at, label.as_str())),
            _ => None,
        })
        .collect()
}

#[test]
fn bars_add_up_to_the_units_and_hold_whole_steps() {
    for (step, spread) in [(0.01, 0.12), (0.001, 0.12), (0.001, 0.9), (0.1, 0.12)] {
        let input = bell(4.8, spread, step, 5.0);
        let chart = distribution::chart(&input).unwrap();
        let units: u64 = input.tally.iter().map(|l| l.count).sum();
        for panel in &chart.panels {
            assert_abs(bars(panel, Role::Reading), units as f64, 0.0);
            assert_abs(bars(panel, Role::Limit), 332.0, 0.0);
            for layer in &panel.layers {
                let Layer::Bars { role: Role::Reading, bars, .. } = layer else {
                    continue;
                };
                assert!(bars.len() <= 451, "{} bars", bars.len());
                for bar in bars {
                    let steps = (bar.to - bar.from) / step;
                    assert_abs(steps, steps.round(), 1e-6);
                    // Edges lie half a step from readings.
                    let edge = bar.from / step - 0.5;
                    assert_abs(edge, edge.round(), 1e-6);
                }
            }
        }
    }
}

#[test]
fn one_stray_among_thousands_is_marked_and_has_a_bar_of_its_own() {
    let mut input = bell(2.0, 0.044, 0.001, 5.0);
    input.trips.clear();
    input.tally.push(TallyLine { reading: 4.26, step: 0.001, count: 1, stray: true });
    let chart = distribution::chart(&input).unwrap();
    let wide = chart.panels.last().unwrap();
    assert!(wide.x.as_ref().unwrap().holds(4.26));
    assert_eq!(wide.y.scale, Scale::Log);
    assert_abs(bars(wide, Role::Stray), 1.0, 0.0);
    assert!(chart.layers().filter_map(Layer::name).any(|n| n == "strays that passed (1 unit)"));
    assert_drawn(&chart);
}

#[test]
fn the_density_is_scaled_to_counts() {
    // By hand: the highest normal density is 1 / (0.12 sqrt(2 pi)) = 3.3245 per mA, so 7000 units on
    // bars 0.01 mA wide reach 232.7.
    let chart = distribution::chart(&bell(4.8, 0.12, 0.01, 5.0)).unwrap();
    let top = chart.layers().find_map(|layer| match layer {
        Layer::Line { role: Role::Fit, points, .. } => {
            Some(points.iter().map(|p| p.y).fold(0.0, f64::max))
        }
        _ => None,
    });
    assert_abs(top.unwrap(), 232.7, 0.1);
}

#[test]
fn rules_say_value_and_unit() {
    let chart = distribution::chart(&bell(4.8, 0.12, 0.01, 5.0)).unwrap();
    let rules = rules(&chart);
    for wanted in [(5.0, "high limit 5.00 mA"), (4.8, "typical 4.80 mA")] {
        assert!(rules.contains(&wanted), "{wanted:?} not in {rules:?}");
    }
    for panel in &chart.panels {
        assert!(panel.x.as_ref().unwrap().title.contains("(mA)"));
    }
}

#[test]
fn limits_are_steps_over_time_and_those_far_away_are_told_in_words() {
    let chart = months::chart(&months_input()).unwrap();
    let stairs = chart.layers().find_map(|layer| match layer {
        Layer::Line { name: Some(n), points, .. } if n == "high limit" => Some(points.clone()),
        _ => None,
    });
    let heights: Vec<(f64, f64)> = stairs.unwrap().iter().map(|p| (p.x, p.y)).collect();
    // From the first day shown, across the change, to the day after the last month.
    let end = 20_332.0 + 14.0 * 30.0;
    assert_eq!(heights, [(20_332.0, 0.5), (20_500.0, 0.5), (20_500.0, 0.55), (end, 0.55)]);
    let mut far = months_input();
    far.limits = vec![LimitFrom { day: 20_000, high: Some(9.0), low: None }];
    let chart = months::chart(&far).unwrap();
    assert!(chart.notes.iter().any(|n| n.contains("9.000 mA")));
    assert!(!chart.panels[0].y.holds(9.0));
    assert_drawn(&chart);
}

#[test]
fn steps_events_and_crossing_carry_their_dates() {
    let chart = drift::chart(&drift_input()).unwrap();
    let rules = rules(&chart);
    // 20 500 days after 1970-01-01 is 2026-02-16, 20 712 is 2026-09-16 (python: date(1970,1,1) + timedelta).
    assert!(rules.contains(&(20_500.0, "step +0.01 mA on 2026-02-16")), "{rules:?}");
    assert!(rules.contains(&(20_712.0, "limit reached 2026-09-16")), "{rules:?}");
    let zone = chart.layers().find_map(|layer| match layer {
        Layer::Zone { role: Role::Step, from, to, .. } => Some((*from, *to)),
        _ => None,
    });
    assert_eq!(zone, Some((20_490.0, 20_507.0)));
    assert_drawn(&chart);
}

#[test]
fn the_ladder_has_a_row_and_a_verdict_for_each_series() {
    for n in [1, 8, 40] {
        let rungs = (0..n).map(|i| rung(&format!("model {i}"), 0.001 * 1.3f64.powi(i))).collect();
        let chart = ladder::chart(&Ladder {
            unit: "mA".into(),
            period: "2026".into(),
            rungs,
            others: Vec::new(),
        })
        .unwrap();
        let panel = &chart.panels[0];
        assert_eq!(panel.beside.len(), n as usize);
        assert_eq!(panel.y.ticks(3).len(), n as usize);
        assert_drawn(&chart);
    }
}

#[test]
fn failures_stand_on_each_other_and_what_was_not_completed_is_none() {
    let chart = failures::chart(&failures_input()).unwrap();
    let names: Vec<&str> = chart.layers().filter_map(Layer::name).collect();
    // 9 months with 9, and every fifth of 30 months with 1.
    assert!(names.contains(&"over limit (81)") && names.contains(&"breakdown (6)"), "{names:?}");
    assert!(chart.subtitle.starts_with("87 of 3000 units failed"), "{}", chart.subtitle);
    assert!(chart.notes.iter().any(|n| n.ends_with("60 further tests.")), "{:?}", chart.notes);
    let highest = |role| {
        let of = |l: &Layer| match l {
            Layer::Bars { role: r, bars, .. } if *r == role => bars.clone(),
            _ => Vec::new(),
        };
        chart.panels[0].layers.iter().flat_map(of).collect::<Vec<_>>()
    };
    // The 26th month: 9 over the limit, and one breakdown on top of them.
    let (over, breakdown) = (highest(Role::Limit)[25], highest(Role::Breakdown)[25]);
    assert_eq!((over.foot, over.top, breakdown.foot, breakdown.top), (0.0, 9.0, 9.0, 10.0));
    assert_abs(bars(&chart.panels[2], Role::Quiet), 3000.0, 0.0);
    assert_drawn(&chart);
}

/// One axis for counts and share, or one scaled to intervals, shows hardly a line.
#[test]
fn each_axis_of_failures_is_scaled_to_what_it_shows() {
    for most in [1.0, 7.0, 90.0] {
        let mut input = failures_input();
        for s in &mut input.stretches {
            s.failures.over = s.failures.over.min(most);
            s.failed.as_mut().unwrap().value = most / 3000.0;
        }
        let chart = failures::chart(&input).unwrap();
        for panel in &chart.panels {
            let tops = panel.layers.iter().flat_map(|l| match l {
                Layer::Bars { bars, .. } => bars.iter().map(|b| b.top).collect(),
                Layer::Line { points, .. } => points.iter().map(|p| p.y).collect(),
                _ => Vec::new(),
            });
            let top = tops.fold(0.0, f64::max);
            assert!(panel.y.holds(top) && top > 0.8 * panel.y.high, "{top} of {}", panel.y.high);
            assert_eq!(panel.y.low, 0.0);
        }
        let counts = chart.panels[0].y.ticks(12);
        assert!(counts.iter().all(|t| t.at.fract() == 0.0) && counts.len() > 1, "{counts:?}");
    }
}

#[test]
fn a_title_is_one_line_and_the_series_is_named_beside_it() {
    let fits = |title: &str| {
        style::text_width(title, style::TITLE, style::Weight::Bold)
            <= f64::from(style::WIDTH) - 2.0 * style::EDGE
    };
    let series = "AP730, AC withstand 1500 V 60 Hz, mains to case";
    let mut d = bell(4.8, 0.12, 0.01, 5.0);
    d.series = series.into();
    let m = Months { series: series.into(), ..months_input() };
    let f = Failures { scope: series.into(), ..failures_input() };
    let s = Drift { series: series.into(), ..drift_input() };
    let charts = [
        distribution::chart(&d).unwrap(),
        months::chart(&m).unwrap(),
        failures::chart(&f).unwrap(),
        drift::chart(&s).unwrap(),
    ];
    for chart in charts {
        assert!(fits(&chart.title), "{}", chart.title);
        let subtitle = chart.subtitle.replace('\u{a0}', " ");
        assert!(subtitle.starts_with(&format!("{series}; ")), "{subtitle}");
    }
    let short = Heading::about("X", "limit of 5.00 mA fits", "2026");
    assert_eq!(short.title, "X: limit of 5.00\u{a0}mA fits");
    assert_eq!(short.subtitle, "2026");
}

#[test]
fn probability_scales_put_shares_where_the_definitions_say() {
    // Normal quantiles: printed tables, 0.975 at 1.959964 and 0.9995 at 3.290527. The others by hand:
    // ln(-ln(1 - p)) is 0 at 1 - 1/e, -ln(-ln p) is 0 at 1/e, ln(p / (1 - p)) is ln 3 at 3/4.
    let e = std::f64::consts::E;
    for (scale, p, place) in [
        (ProbabilityScale::Normal, 0.975, 1.959_964),
        (ProbabilityScale::Lognormal, 0.9995, 3.290_527),
        (ProbabilityScale::Normal, 0.5, 0.0),
        (ProbabilityScale::Weibull, 1.0 - 1.0 / e, 0.0),
        (ProbabilityScale::Gumbel, 1.0 / e, 0.0),
        (ProbabilityScale::LogLogistic, 0.75, 1.098_612),
    ] {
        assert_abs(scale.place(p), place, 1e-6);
        assert_drawn(&probability::chart(&probability_input(scale)).unwrap());
    }
}

#[test]
fn trips_are_shown_as_lying_above() {
    let chart = probability::chart(&probability_input(ProbabilityScale::Normal)).unwrap();
    let names: Vec<&str> = chart.layers().filter_map(Layer::name).collect();
    assert!(names.contains(&"tripped: known only to lie above (10 units)"), "{names:?}");
}

#[test]
fn nothing_to_show_is_a_named_reason() {
    let mut empty = bell(4.8, 0.12, 0.01, 5.0);
    empty.tally.clear();
    empty.trips.clear();
    let nothing = |r: Result<Chart, ChartError>| matches!(r, Err(ChartError::NothingToShow { .. }));
    assert!(nothing(distribution::chart(&empty)));
    assert!(nothing(months::chart(&Months { months: vec![], ..months_input() })));
    assert!(nothing(drift::chart(&Drift { points: vec![], ..drift_input() })));
    assert!(nothing(failures::chart(&Failures { stretches: vec![], ..failures_input() })));
    assert!(nothing(ladder::chart(&Ladder {
        unit: "mA".into(),
        period: String::new(),
        rungs: vec![],
        others: vec![]
    })));
    let input = probability_input(ProbabilityScale::Normal);
    assert!(nothing(probability::chart(&Probability { observed: vec![], ..input })));
}

#[test]
fn numbers_that_are_none_are_refused_by_name() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let refused = |r: Result<Chart, ChartError>| matches!(r, Err(ChartError::NotFinite { .. }));
        let mut d = bell(4.8, 0.12, 0.01, 5.0);
        d.high_limit = Some(bad);
        assert!(refused(distribution::chart(&d)), "limit {bad}");
        let mut d = bell(4.8, 0.12, 0.01, 5.0);
        d.density[3].y = bad;
        assert!(refused(distribution::chart(&d)), "density {bad}");
        let mut d = bell(4.8, 0.12, 0.01, 5.0);
        d.tally[3].reading = bad;
        assert!(refused(distribution::chart(&d)), "reading {bad}");
        let mut m = months_input();
        m.months[2].high = bad;
        assert!(refused(months::chart(&m)), "month {bad}");
        let mut f = drift_input();
        f.forecast[2].estimate.high = bad;
        assert!(refused(drift::chart(&f)), "forecast {bad}");
        let mut f = failures_input();
        f.stretches[2].failures.over = bad;
        assert!(refused(failures::chart(&f)), "share {bad}");
        let rungs = vec![Rung { limit: Some(bad), ..rung("a", 1.0) }];
        let l = Ladder { unit: "mA".into(), period: String::new(), rungs, others: Vec::new() };
        assert!(refused(ladder::chart(&l)), "rung {bad}");
    }
}

#[test]
fn axes_without_width_are_refused() {
    let axis = |scale, low, high| Axis::new("reading", "mA", scale, low, high).check();
    assert!(matches!(axis(Scale::Linear, 2.0, 2.0), Err(ChartError::EmptyRange { .. })));
    assert!(matches!(axis(Scale::Linear, 3.0, 2.0), Err(ChartError::EmptyRange { .. })));
    assert!(matches!(axis(Scale::Linear, -1e308, 1e308), Err(ChartError::NotFinite { .. })));
    assert!(matches!(axis(Scale::Log, 0.0, 2.0), Err(ChartError::NotPositive { .. })));
    assert!(matches!(axis(Scale::Date, f64::NAN, 2.0), Err(ChartError::NotFinite { .. })));
    assert!(axis(Scale::Log, 1e-3, 2.0).is_ok());
}

#[test]
fn flat_single_tiny_and_huge_data_are_drawn() {
    for size in [1e-12, 1e-3, 1.0, 1e9, 1e15] {
        assert_drawn(
            &distribution::chart(&bell(4.8 * size, 0.12 * size, 0.01 * size, 5.0 * size)).unwrap(),
        );
        let mut one = bell(4.8 * size, 0.12 * size, 0.01 * size, 5.0 * size);
        one.tally =
            vec![TallyLine { reading: 4.8 * size, step: 0.01 * size, count: 1, stray: false }];
        one.trips.clear();
        one.density.clear();
        (one.low_limit, one.open_lead) = (None, None);
        assert_drawn(&distribution::chart(&one).unwrap());
        let mut only_trips = one.clone();
        only_trips.tally.clear();
        only_trips.trips = vec![Trips { limit: 5.0 * size, count: 3 }];
        assert_drawn(&distribution::chart(&only_trips).unwrap());

        let flat = Drift {
            points: (0..3).map(|d| OnDay { day: d, value: size }).collect(),
            fitted: vec![],
            averages: None,
            steps: vec![],
            events: vec![],
            limits: vec![],
            forecast: vec![],
            crossing: None,
            ..drift_input()
        };
        assert_drawn(&drift::chart(&flat).unwrap());
        assert_drawn(&drift::chart(&Drift { points: flat.points[..1].to_vec(), ..flat }).unwrap());
        let one_month = Months {
            months: vec![MonthShown { low: size, high: size, ..month(20_000, size) }],
            ..months_input()
        };
        assert_drawn(&months::chart(&one_month).unwrap());
    }
    let mut none_failed = failures_input();
    for s in &mut none_failed.stretches {
        (s.failures.over, s.failures.breakdown, s.failed) = (0.0, 0.0, None);
    }
    none_failed.stretches.truncate(1);
    none_failed.jump = None;
    assert_drawn(&failures::chart(&none_failed).unwrap());
}

#[test]
fn very_long_names_are_cut_not_lost_over_the_edge() {
    let long =
        "A very long name of a model with many words and oneverylongwordwithoutanyspace".repeat(5);
    let mut d = bell(4.8, 0.12, 0.01, 5.0);
    (d.series, d.fit, d.period) = (long.clone(), long.clone(), long.clone());
    assert_drawn(&distribution::chart(&d).unwrap());
    let mut f = drift_input();
    for event in &mut f.events {
        event.what.clone_from(&long);
    }
    f.answer.clone_from(&long);
    assert_drawn(&drift::chart(&f).unwrap());
    let rungs = vec![rung(&long, 1.0)];
    assert_drawn(
        &ladder::chart(&Ladder { unit: "mA".into(), period: long, rungs, others: Vec::new() })
            .unwrap(),
    );
}

#[test]
fn same_chart_same_bytes_from_any_thread() {
    let chart = distribution::chart(&bell(4.8, 0.12, 0.01, 5.0)).unwrap();
    let first = assert_drawn(&chart);
    assert!(first.len() < 100_000, "{} bytes", first.len());
    std::thread::scope(|scope| {
        let runs: Vec<_> = (0..4).map(|_| scope.spawn(|| draw::png(&chart).unwrap())).collect();
        for run in runs {
            assert!(run.join().unwrap() == first);
        }
    });
}

#[test]
fn names_the_font_cannot_draw_are_replaced() {
    for kept in ["µA Ω ≤ ± ü ł –", "AP730", "Küchenmaschine", "− … × →"] {
        assert_eq!(style::printable(kept, "series 3"), kept);
    }
    for lost in ["水壶", "", "   ", "kettle \u{1F525}"] {
        assert_eq!(style::printable(lost, "series 3"), "series 3");
    }
    assert_eq!(style::printable(" two\n lines\t", "series 3"), "two lines");
}

#[test]
fn date_ticks_stand_at_starts_of_months() {
    // 2025-09-01 is day 20332, 2026-10-30 day 20756 (python: date.toordinal() - 719163).
    let axis = Axis::new("day", "", Scale::Date, 20_332.0, 20_756.0);
    let ticks = axis.ticks(15);
    assert_eq!(ticks.len(), 14);
    assert_eq!((ticks[0].at, ticks[0].label.as_str()), (20_332.0, "2025-09"));
    assert_eq!(ticks[6].label, "2026-03");
    assert_eq!(day_text(20_513), "2026-03-01");
    assert_eq!(ticks[6].at, 20_513.0);
    assert!(axis.ticks(6).len() <= 6);
    // Two months begin within 75 days: too few to read dates from.
    let short = Axis::new("day", "", Scale::Date, 20_332.0, 20_407.0).ticks(9);
    assert!((4..=9).contains(&short.len()), "{short:?}");
    assert_eq!(short[0].label, "2025-09-01");
}

#[test]
fn numbers_read_as_people_write_them() {
    assert_eq!(number(45_500.0, 0), "45\u{2009}500");
    assert_eq!(number(-0.25, 2), "\u{2212}0.25");
    assert_eq!(number(-0.0, 0), "0", "nothing has no sign");
    assert_eq!(number(-0.004, 2), "0.00");
    assert_eq!(number(4.8, 2), "4.80");
    assert_eq!(percent(0.053), "5.3 %");
    assert_eq!(percent(0.0015), "0.15 %");
    for (step, decimals) in [(0.01, 2), (0.5, 1), (20.0, 0), (0.25, 2), (0.0001, 4)] {
        assert_eq!(decimals_of(step), decimals, "step {step}");
    }
}

#[test]
fn flags_never_cover_each_other() {
    let poles: Vec<(f64, f64)> = (0..6).map(|i| (700.0 + 15.0 * f64::from(i), 250.0)).collect();
    let flags = labels::flags(&poles, 0.0, 1000.0, 6);
    assert!(flags.iter().all(Option::is_some));
    for (i, a) in flags.iter().flatten().enumerate() {
        assert!(a.left >= 0.0 && a.right <= 1000.0);
        for b in flags.iter().flatten().skip(i + 1) {
            assert!(a.lane != b.lane || a.right < b.left || b.right < a.left, "{a:?} {b:?}");
        }
    }
}

#[test]
fn nudged_labels_keep_apart_and_inside() {
    let out = labels::nudged(&[10.0, 12.0, 11.0, 90.0], 8.0, 0.0, 100.0);
    // By hand: three wishes around 11, 8 apart, in order of wish; the fourth is left alone.
    assert_eq!(out, [3.0, 19.0, 11.0, 90.0]);
    let crowded = labels::nudged(&[50.0; 30], 8.0, 0.0, 100.0);
    assert!(crowded.iter().all(|y| (0.0..=100.0).contains(y)));
}

/// A whisker that ends at the limit says that 5 % read more; where more tripped nobody knows where it ends.
#[test]
fn an_upper_end_that_trips_hide_is_drawn_as_at_least() {
    let mut input = months_input();
    let marked = |input: &Months| {
        let chart = months::chart(input).unwrap();
        let found = chart.layers().find_map(|l| match l {
            Layer::Points { name: Some(n), points, .. } if n.contains("at least") => {
                Some(points.iter().map(|p| p.y).collect::<Vec<_>>())
            }
            _ => None,
        });
        assert_drawn(&chart);
        found
    };
    assert_eq!(marked(&input), None);
    (input.months[3].high, input.months[3].at_least) = (0.5, true);
    assert_eq!(marked(&input), Some(vec![0.5]));
}

#[test]
fn the_drift_chart_says_how_much_of_the_room_its_axis_shows() {
    let mut input = drift_input();
    let title = |input: &Drift| drift::chart(input).unwrap().panels[0].y.title.clone();
    assert!(title(&input).ends_with("the whole room to the limit"), "{}", title(&input));
    let axis = &drift::chart(&input).unwrap().panels[0].y;
    input.room = Some((axis.high - axis.low) / 0.09);
    assert!(title(&input).ends_with("shows 9 % of the room to the limit"), "{}", title(&input));
    input.room = None;
    assert_eq!(title(&input), "reading (mA)");
    let chart = drift::chart(&input).unwrap();
    // 20 440 days after 1970-01-01 is 2025-12-18 (python: date(1970,1,1) + timedelta).
    assert!(rules(&chart).contains(&(20_440.0, "average outside its limits 2025-12-18")));
}

/// By hand: 0.4545 mA of load and 0.038 mA of leads at right angles are 0.4561 mA, and 0.456 mA is 0.02 % less.
#[test]
fn check_loads_are_drawn_in_per_cent_of_what_they_should_read() {
    let mut report = page_report::report_of("A1");
    report.checks = Some(vec![page_report::checks("A1")]);
    let input = over_time::of_check_loads(&report);
    let row = &input.rows[0];
    assert_eq!((input.unit.as_str(), row.missing.len(), row.should), ("%", 3, Some(0.0)));
    assert_abs(row.readings[0].value, 100.0 * (0.456 / 0.4561 - 1.0), 1e-9);
    assert_eq!(row.beside, "now 0.0 % of 0.456 mA");
    let chart = over_time::chart(&input).unwrap();
    let names: Vec<&str> = chart.layers().filter_map(Layer::name).collect();
    for wanted in ["what the load with its leads should read", "production days without a check"] {
        assert!(names.contains(&wanted), "{names:?}");
    }
    assert_drawn(&chart);
}

/// Twenty rows can be read at half size; what has none of its own stands in one strip below them.
#[test]
fn series_beyond_the_rows_stand_in_a_strip() {
    let rungs = (0..20).map(|i| rung(&format!("model {i}"), 1.0 + f64::from(i))).collect();
    let other = |times| Other { verdict: Some(VerdictKind::Fits), limit_times: Some(times) };
    let others: Vec<Other> =
        (0..780).map(|n| other(1.1 + f64::from(n % 20) * 0.01)).chain([other(1e6)]).collect();
    let input = Ladder { unit: "mA".into(), period: "2026".into(), rungs, others };
    let chart = ladder::chart(&input).unwrap();
    let Some(Layer::Points { points, .. }) = chart.panels[0].layers.last() else {
        panic!("the strip is drawn last");
    };
    assert_eq!(points.len(), 780);
    assert!(points.iter().all(|p| p.y == 0.0), "below all rows");
    let notes = chart.notes.join(" ");
    assert!(notes.contains("Limits of 1 of the others lie beyond the axis."), "{notes}");
    assert!(chart.title.starts_with("Limits of the worst 20 series"), "{}", chart.title);
    assert!(chart.panels[0].beside.iter().any(|w| w.label == "781 fit"));
    assert_drawn(&chart);

    let series = (0..200).map(|n| room_used::Series {
        name: format!("model {n}"),
        used: (0..50).map(|day| OnDay { day, value: f64::from(n) * 1e-3 }).collect(),
        now: f64::from(n) * 1e-3,
        flagged: false,
        words: "steady".to_owned(),
    });
    let input = RoomUsed { baseline: "its first 25 points".to_owned(), series: series.collect() };
    let chart = room_used::chart(&input).unwrap();
    let of_others = |l: &&Layer| l.name().is_some_and(|n| n.starts_with("others"));
    assert_eq!(chart.layers().filter(of_others).count(), 2, "their range and their middle");
    let labels: Vec<&str> = chart.panels[0].beside.iter().map(|w| w.label.as_str()).collect();
    assert_eq!((labels.len(), labels[20]), (21, "0 % to +18 %"));
    assert_drawn(&chart);
}
