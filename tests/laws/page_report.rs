//! A report made by hand, with a line in every list: what the pages are tested on.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;
use leakdrift::analysis::Findings;
use leakdrift::analysis::body::approximate::Approximate;
use leakdrift::analysis::body::capability::{Capability, Index};
use leakdrift::analysis::body::describe::Which;
use leakdrift::analysis::body::distribution::{
    Distribution, FamilyFit, Goodness, OneSided, TailAnswers,
};
use leakdrift::analysis::body::low_side::AgainstLowLimit;
use leakdrift::analysis::body::seen::{OverLimit, Seen};
use leakdrift::analysis::body::stations::{StationOfSeries, StepTakenOff};
use leakdrift::analysis::month::change::MonthChange;
use leakdrift::analysis::month::table::Month;
use leakdrift::analysis::month::yields::{Cost, Yield, YieldOf};
use leakdrift::analysis::units::calibration::Covered;
use leakdrift::analysis::units::causes::Cause;
use leakdrift::analysis::units::checks::{StationChecks, WrongCheck};
use leakdrift::analysis::units::gaps::Gap;
use leakdrift::analysis::units::practice::{Habit, Practice};
use leakdrift::analysis::units::settings::{
    Setting, SettingChange, SettingDiffers, SettingShort, SettingsRecord,
};
use leakdrift::analysis::units::strays::Lies;
use leakdrift::analysis::units::tables::Fault;
use leakdrift::analysis::units::too_good::TooGood;
use leakdrift::config::SettingLine;
use leakdrift::day::{Day, day_number};
use leakdrift::movement::Movement;
use leakdrift::movement::Period;
use leakdrift::movement::check_record::{LoadRecord, OddReading};
use leakdrift::movement::drift::{DriftStep, Explained, RoomFactor, Shape};
use leakdrift::movement::limits::{LimitHistory, LimitsFrom};
use leakdrift::movement::period::Judged;
use leakdrift::movement::stations::{ActsAs, CannotTell, MonthOffset, TesterStep};
use leakdrift::records::{Current, Event, Limits, Outcome, Register, TestKind, ma_to_pa};
use leakdrift::review::{
    First, InputLine, JudgedDrift, LimitsInForce, Made, MovingAverage, NamedStep, Review,
    ReviewedSeries, SCHEMA, StrayLine, Strays,
};
use leakdrift::series::{
    Decision, Ledger, NamedSeries, NotUsed, Outcomes, Says, SeriesKey, SeriesName, SetAside,
    Source, Why,
};
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::expected_share::{ExpectedAtHorizon, ExpectedShare};
use leakdrift::verdict::action::{Action, ActionKind};
use leakdrift::verdict::cautions::ALL;
use leakdrift::verdict::evidence::Forecast;
use leakdrift::verdict::group::GroupBand;
use leakdrift::verdict::incident::{Decided, Evidence, Group, Incident, ToTrace};
use leakdrift::verdict::limits::JudgedLimits;
use leakdrift::verdict::low_limit::{LowLimit, LowReason};
use leakdrift::verdict::misread::{Misread, Sign};
use leakdrift::verdict::month::{Matters, MonthJudged};
use leakdrift::verdict::moved::{Moved, Mover};
use leakdrift::verdict::physics::{Load, ProvingLoads};
use leakdrift::verdict::reason::{Above, Reason};
use leakdrift::verdict::since::{
    Earlier, OpenAction, OpenIncident, Since, SinceIncidents, VerdictChange,
};
use leakdrift::verdict::suggest::Suggestion;
use leakdrift::verdict::tester::station::{DoubtOfSeries, FrequencyHint, PassesInDoubt};
use leakdrift::verdict::tester::{
    CalibrationVerdict, SettingVerdict, StationMove, StationVerdict, TooGoodKind, TooGoodVerdict,
};
use leakdrift::verdict::units::{UnitToCheck, WhyCheck};
use leakdrift::verdict::{Verdict, VerdictKind};
use leakdrift::words::Wording;

/// A day written as `2026-10-30`.
pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// The same as a number.
fn number(text: &str) -> Day {
    day_number(day(text))
}

/// An estimate.
pub fn e(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, level: 0.95, method: "maximum likelihood".to_owned() }
}

/// A share expected by 2500 units, given as it is told: per million, a month or of 1.
pub fn expected_share(told: Estimate, unit: f64) -> ExpectedShare {
    ExpectedShare::new(&told.scaled(1.0 / unit), 2500, unit)
}

/// What the units of the period came to: 180 of them are counted apart, and with them most of those over the limit.
fn seen() -> Seen {
    let of = |under_this_limit, over_limit, ppm| OverLimit {
        under_this_limit,
        over_limit,
        reject_ppm: Some(ppm),
    };
    Seen {
        units: 2503,
        all: of(2503, 37, e(14_782.0, 2_759.0, 44_500.0)),
        counted_apart: 180,
        without_them: Some(of(2323, 1, e(430.0, 11.0, 2_400.0))),
    }
}

/// Verdicts on both limits whose reasons hold the name.
fn limits(name: &str) -> JudgedLimits {
    let say = Wording::new(2.0, 0.01);
    let load = |resistance_mohm, power_w| Load { resistance_mohm, current_ma: 2.5, power_w };
    JudgedLimits {
        high: Verdict {
            kind: Some(VerdictKind::TooLoose),
            limit_ma: Some(5.0),
            provisional: true,
            above_ceiling: false,
            above_tester_range: false,
            repeats_ceiling: false,
            band: None,
            band_low_ma: Some(2.18),
            band_high_ma: Some(2.46),
            blind_spot_mohm: Some(0.3273),
            blind_spot_low_reader_mohm: Some(0.32),
            reasons: vec![Reason::AboveUpperEnd(Above {
                limit_ma: 5.0,
                end_ma: 2.46,
                proven: true,
            })],
            judged: Judged {
                from: day("2026-05-01"),
                to: day("2026-10-30"),
                units: 2500,
                production_days: 120,
                lots: None,
            },
            rising: None,
            suggested: Some(Suggestion {
                limit_ma: 2.46,
                blind_spot_mohm: Some(1.05),
                proving: Some(ProvingLoads {
                    limit_ma: 2.46,
                    applied_v: 1500.0,
                    must_trip: load(0.554, 4.06),
                    must_pass: load(0.677, 3.32),
                }),
                only_tighter: false,
                raise: None,
            }),
            fits_until: Some(Forecast {
                date: day("2027-01-31"),
                low: day("2026-12-20"),
                high: None,
            }),
            units_needed: Some(20_000),
            rejects_per_month: Some(expected_share(e(0.2, 0.0, 1.1), 420.0)),
            strays_passed: 3,
            say,
        },
        low: LowLimit {
            open_lead_passes: Some(true),
            from_ma: Some(0.08),
            to_ma: Some(1.7),
            suggested_ma: Some(0.9),
            reasons: vec![LowReason::NoLowLimit],
            say,
        },
        apart: vec![Cause {
            factor: name.to_owned(),
            index: 0,
            level: name.to_owned(),
            failed: 9,
            units: 90,
            expected: 0.4,
            days: (20_000, 20_010),
        }],
        period: Period { sentence: "Six months are judged.".to_owned(), ..Period::default() },
    }
}

/// One series with every answer there is, under `name` for all that comes from files.
pub fn series(name: &str) -> ReviewedSeries {
    let n = || name.to_owned();
    let now = Limits { high_pa: ma_to_pa(5.0), low_pa: None };
    let limit = LimitHistory {
        now,
        since: Some(day_number(day("2026-03-16"))),
        changes: vec![
            LimitsFrom {
                day: day_number(day("2025-09-01")),
                limits: Limits { high_pa: ma_to_pa(2.25), low_pa: ma_to_pa(1.0) },
                station: None,
            },
            LimitsFrom { day: day_number(day("2026-10-07")), limits: now, station: Some(n()) },
        ],
        at_stations: BTreeMap::new(),
        of_most: Vec::new(),
    };
    ReviewedSeries {
        named: NamedSeries {
            id: "m1-ac-1500".to_owned(),
            title: format!("{name}, AC withstand 1500 V 60 Hz"),
            key: SeriesKey {
                plant: None,
                model: n(),
                step: "1".to_owned(),
                test: TestKind::AcWithstand,
                test_point: n(),
                current: Current::Total,
                applied_mv: Some(1_500_000),
                frequency_mhz: Some(60_000),
                dwell_ms: Some(2000),
                units_together: 1,
            },
            units: 5980,
            units_this_month: 440,
            outcomes: Outcomes {
                pass: 5950,
                over_limit: 12,
                under_limit: 9,
                breakdown: 6,
                arc: 4,
                failed: 0,
                not_completed: 3,
                not_reached: 0,
                failed_in_all: 18,
            },
        },
        limit: LimitsInForce { history: limit, open_lead_ma: Some(0.034) },
        distribution: Some(Distribution {
            family: "gamma".to_owned(),
            families: vec![FamilyFit {
                name: "gamma",
                aicc: Some(-1234.5),
                weight: 1.0,
                params: BTreeMap::from([("shape", 2066.0), ("scale", 0.000968)]),
                stopped: "converged".to_owned(),
            }],
            goodness: Goodness { p_value: Some(0.0004), largest_gap: Some(0.012) },
            x05_ma: Some(e(1.93, 1.92, 1.94)),
            x50_ma: Some(e(2.0, 1.99, 2.01)),
            x95_ma: Some(e(2.07, 2.06, 2.08)),
            x99_ma: Some(e(2.1, 2.09, 2.11)),
            // No upper bound: `null` in JSON, words on the page.
            x99_865_ma: Some(e(2.13, 2.11, f64::INFINITY)),
            groups: 2,
            split_by: Some(n()),
            second_group_since: Some(day("2026-02-02")),
            came_later: vec![n()],
            tail: TailAnswers {
                in_use: Some(Which::Apart),
                apart_ma: Some(e(2.16, 2.15, 2.17)),
                together_ma: Some(e(2.4, 2.2, 2.9)),
                bounds: Some(OneSided { lower_ma: Some(2.23), upper_ma: Some(2.8), level: 0.95 }),
                excess_share: Some(e(0.0005, 0.0001, 0.001)),
                approximate: vec![Approximate::DaysDecide],
            },
            in_use_because: "readings stand apart from the healthy body".to_owned(),
        }),
        capability: Some(Capability {
            index: Index { steady: false, low: false },
            value: e(23.08, 20.0, 27.3),
        }),
        expected_reject_ppm: Some(expected_share(e(0.0001, 0.0, 0.9), 1e6)),
        observed_reject_ppm: Some(e(2006.7, 1037.0, 3503.0)),
        seen: seen(),
        low_side: Some(AgainstLowLimit {
            index: Index { steady: false, low: true },
            value: Some(e(2.31, 2.2, 2.44)),
            expected_reject_ppm: Some(expected_share(e(0.002, 0.0, 0.04), 1e6)),
            at_horizon: ExpectedAtHorizon::new(Some(1e-9), 2500),
            rejects_per_month: Some(expected_share(e(0.000_001, 0.0, 0.000_02), 420.0)),
            observed_reject_ppm: Some(e(3600.0, 1600.0, 6800.0)),
            observed_rejects: Some(9),
            observed_units: Some(2500),
        }),
        verdict: limits(name),
        strays: Strays {
            above: 15,
            below: 23,
            units: vec![StrayLine {
                serial: n(),
                tested_at: "2026-10-13 10:22:00".to_owned(),
                station: n(),
                reading_ma: 4.26,
                side: "above",
                points_to: Lies::Above,
            }],
        },
        retests: Practice {
            failed: Some(30),
            then_passed: Some(4),
            then_passed_at_other_settings: Some(1),
            more_than_allowed: Some(3),
            more_than_allowed_passed: Some(2),
            repeatability_ma: Some(e(0.006, 0.005, 0.008)),
            habits: vec![Habit {
                factor: "operator".to_owned(),
                level: n(),
                station: n(),
                units: 20,
                passed: 19,
                tests_each: 3.5,
                others: 40,
                others_passed: 8,
            }],
        },
        drift: JudgedDrift {
            shape: Some(Shape::SlopeAndStep),
            since: Some(day_number(day("2025-12-01"))),
            flagged: true,
            per_month_ma: Some(e(0.012, 0.01, 0.014)),
            p_value: Some(0.003),
            rho: Some(0.21),
            smallest_step_ma: Some(0.01),
            steps: vec![NamedStep {
                step: DriftStep {
                    day: day_number(day("2026-05-11")),
                    day_low: day_number(day("2026-05-08")),
                    day_high: day_number(day("2026-05-12")),
                    size_ma: e(0.07, 0.06, 0.08),
                    size_pct: None,
                },
                event: Some(n()),
            }],
            explained: vec![Explained { what: RoomFactor::Humidity, share: e(0.3, 0.2, 0.4) }],
            limit_reached_on: Some(Forecast {
                date: day("2027-01-31"),
                low: day("2026-12-15"),
                high: None,
            }),
            moving_average: Some(MovingAverage {
                baseline_from: day_number(day("2025-09-01")),
                baseline_to: day_number(day("2025-10-13")),
                low_ma: 1.97,
                high_ma: 2.03,
                first_signal: Some(day_number(day("2026-01-12"))),
            }),
            sentence: format!("{name} rises."),
        },
        stations: vec![StationOfSeries {
            station: n(),
            units: 2500,
            x50_ma: Some(2.0),
            limit_ma: Some(5.0),
            under_this_limit: 2500,
            over_limit: 3,
            reject_share: Some(e(0.0012, 0.0002, 0.0035)),
            expected_share: Some(expected_share(e(0.001, 0.0005, 0.002), 1.0)),
            times: 1.0365,
            plus_ma: -0.02,
            steps: vec![StepTakenOff {
                day: day_number(day("2026-05-11")),
                size_pct: 3.65,
                reach_pct: 0.2,
            }],
            is_scale: false,
        }],
        months: vec![Month {
            month: (2026, 10),
            units: 440,
            x05_ma: Some(1.93),
            x50_ma: Some(2.0),
            x95_ma: Some(2.07),
            x95_at_least: false,
            reject_share: Some(e(0.0, 0.0, 0.008)),
            p_pku: Some(e(23.1, 18.0, 28.4)),
        }],
        reading_step_ma: 0.01,
        month: Some(MonthJudged {
            change: month_change(),
            matters: Matters::LevelMoved,
            rank: 1,
            sentence: format!("The level of {name} rose."),
        }),
        charts: vec![("charts/m1-ac-1500-months.png".to_owned(), "How did it move?".to_owned())],
    }
}

fn month_change() -> MonthChange {
    MonthChange {
        month: (2026, 10),
        baseline_from: Some(day("2026-05-11")),
        baseline_to: Some(day("2026-09-30")),
        units: 485,
        units_before: 1949,
        x50_ma: Some(2.01),
        x50_before_ma: Some(2.0),
        level_pct: Some(e(0.5, 0.1, 0.9)),
        room_allowed_for: false,
        room_used: Some(0.04),
        spread_ratio: Some(e(1.02, 0.9, 1.15)),
        expected_reject_ppm: Some(expected_share(e(12.0, 1.0, 90.0), 1e6)),
        expected_reject_ppm_before: Some(expected_share(e(10.0, 1.0, 80.0), 1e6)),
        failed: 3,
        failure_share: Some(e(0.006, 0.001, 0.018)),
        failed_before: 4,
        failure_share_before: Some(e(0.002, 0.0005, 0.005)),
        failure_change: Some(e(0.004, -0.001, 0.016)),
    }
}

fn open_incident(name: &str) -> OpenIncident {
    OpenIncident {
        id: "i-abcdef".to_owned(),
        places: vec![name.to_owned()],
        what: format!("{name} passes leaks."),
        units: 3,
    }
}

fn open_action(name: &str) -> OpenAction {
    OpenAction {
        kind: "too_loose".to_owned(),
        subject: name.to_owned(),
        key: String::new(),
        sentence: format!("{name} passes leaks."),
    }
}

fn series_name(name: &str) -> SeriesName {
    SeriesName { index: 0, model: name.to_owned(), id: name.to_owned() }
}

fn step(days: [&str; 3], size_pct: Estimate) -> TesterStep {
    let [low, on, high] = days.map(number);
    TesterStep { day: on, day_low: low, day_high: high, size_pct, p_value: 0.004 }
}

fn station(name: &str) -> StationVerdict {
    StationVerdict {
        station: name.to_owned(),
        is_reference: false,
        offset_pct: Some(e(3.63, 3.58, 3.69)),
        flagged: true,
        moved: vec![StationMove {
            step: step(["2026-10-02", "2026-10-05", "2026-10-06"], e(3.63, 3.5, 3.7)),
            event: Some(name.to_owned()),
            check_load_pct: Some(e(3.7, 3.6, 3.8)),
        }],
        acts_as: Some(ActsAs::PerCent),
        offset_ma: Some(e(0.01, 0.005, 0.015)),
        passes_in_doubt: Some(55),
        doubts: vec![PassesInDoubt {
            from: number("2025-09-01"),
            to: number("2026-05-10"),
            raised_pct: e(3.63, 3.5, 3.7),
            passes: 8_586,
            would_have_failed: 55,
            low: 44,
            high: 63,
            by_series: vec![DoubtOfSeries {
                model: name.to_owned(),
                series: name.to_owned(),
                would_have_failed: 55,
            }],
            sentence: format!("At {name} 55 passes would have failed."),
        }],
        months: vec![MonthOffset { month: (2026, 10), offset_pct: e(1.0, 0.5, 1.5) }],
        hint: Some(FrequencyHint::SixtyForFifty),
    }
}

fn calibration(name: &str) -> CalibrationVerdict {
    CalibrationVerdict {
        covered: Covered {
            instrument: name.to_owned(),
            station: name.to_owned(),
            due_on: Some(number("2026-08-04")),
            done_on: number("2025-08-04"),
            tests_overdue: 399,
            error_pct: Some(-3.5),
            next_done_on: Some(number("2026-08-31")),
            overdue_from: Some(number("2026-08-17")),
            overdue_to: Some(number("2026-08-28")),
            production_days_overdue: 10,
        },
        beyond_accuracy: true,
    }
}

/// 06:02:00 on 22 April 2026.
const CHECKED: i64 = 1_776_837_720;

/// Check loads of a station: one wrong answer, one load with a step and an odd reading.
pub fn checks(name: &str) -> StationChecks {
    StationChecks {
        station: name.to_owned(),
        days_without: (0..3).collect(),
        wrong: vec![WrongCheck {
            time: CHECKED,
            load: name.to_owned(),
            expected: "over limit".to_owned(),
            found: Outcome::Pass,
            units_until_next_good: 12,
            units_since_last_good: 11,
            last_good: None,
            next_good: None,
        }],
        loads: vec![LoadRecord {
            station: 0,
            load: name.to_owned(),
            expected_ma: Some(0.4545),
            with_leads_ma: Some(0.4561),
            drive: None,
            points: (0..281).map(|day| (day, 0.456)).collect(),
            latest_ma: Some(0.456),
            shape: Some(Shape::Step),
            p_value: Some(0.004),
            steps: vec![step(["2026-05-09", "2026-05-11", "2026-05-11"], e(3.7, 3.6, 3.8))],
            smallest_step_ma: Some(0.0007),
            odd: vec![OddReading {
                time: CHECKED - 60,
                day: number("2026-04-22"),
                reading_ma: 0.066,
                usual_ma: 0.457,
            }],
        }],
    }
}

fn setting_change(name: &str) -> SettingVerdict {
    // 06:31:00 on 7 October 2026.
    let time = 1_791_354_660;
    SettingVerdict {
        change: SettingChange {
            day: number("2026-10-07"),
            time,
            stations: vec![name.to_owned()],
            series: series_name(name),
            what: Setting::Ramp,
            from: Some(1.0),
            to: None,
            tests: 5,
            back_after: Some(time + 2_400),
            further: 0,
        },
        event: Some(name.to_owned()),
    }
}

/// A table that is probably misread.
fn misread(name: &str) -> Misread {
    Misread {
        file: name.to_owned(),
        sheet: Some(name.to_owned()),
        signs: vec![
            Sign::LimitTimes {
                title: name.to_owned(),
                limits_ma: [35.0, 3.5],
                tests: [40, 400],
                mixed: true,
            },
            Sign::Unreadable {
                unreadable: 60,
                rows: 100,
                fault: Some(Fault {
                    column: name.to_owned(),
                    expected: "a number".to_owned(),
                    found: name.to_owned(),
                    rows: 60,
                }),
            },
        ],
        series: vec![0],
        titles: vec![name.to_owned()],
        believed: false,
    }
}

/// A report in which every list has a line, under `name` for all that comes from files.
pub fn report_of(name: &str) -> Review {
    let n = || name.to_owned();
    Review {
        schema: SCHEMA,
        name: n(),
        month: "2026-10".to_owned(),
        first: First {
            misread: vec![misread(name)],
            said_first: vec![format!("{name}: said first")],
        },
        from: day("2025-09-01"),
        to: day("2026-10-30"),
        rows: Ledger {
            read: 56_123,
            used: 45_500,
            set_aside: BTreeMap::from([(SetAside::Retest, 10_619)]),
            unreadable: 4,
            unreadable_by_outcome: BTreeMap::from([("pass", 3), ("not known", 1)]),
            stepped_over: 0,
        },
        series: vec![series(name)],
        stations: vec![station(name)],
        plants: Vec::new(),
        limit_groups: vec![GroupBand {
            group: n(),
            band_low_ma: Some(2.18),
            band_high_ma: Some(2.46),
            low_set_by: Some(n()),
            high_set_by: Some(n()),
            one_limit_serves: true,
            without: Vec::new(),
            say: Wording::new(2.0, 0.01),
        }],
        calibration: Some(vec![calibration(name)]),
        checks: Some(vec![checks(name)]),
        units_to_check: BTreeMap::from([(WhyCheck::NeverPassed, 23)]),
        units_to_trace: ToTrace { passed: 4, never_passed: 23 },
        settings_changes: vec![setting_change(name)],
        settings_differ: vec![SettingDiffers {
            series: series_name(name),
            what: Setting::Dwell,
            values: BTreeMap::from([(n(), "2 s".to_owned())]),
        }],
        settings_short: vec![SettingShort {
            series: series_name(name),
            station: n(),
            what: Setting::Voltage,
            required: 1250.0,
            lowest: 1000.0,
            tests: 2,
            from: number("2026-10-07"),
            to: number("2026-10-08"),
        }],
        gaps: Some(vec![Gap {
            station: n(),
            from: number("2026-05-18"),
            to: number("2026-05-20"),
            days: 3,
        }]),
        too_good: vec![TooGoodVerdict {
            station: n(),
            series: Some(n()),
            from: "2026-07-08 13:10:00".to_owned(),
            to: "2026-07-08 15:39:00".to_owned(),
            sentence: format!("28 units of {name} in a row read 1.93 mA."),
            kind: TooGoodKind::Frozen,
            units: Some(28),
            explained_by: Some(n()),
            days: (number("2026-07-08"), number("2026-07-08")),
        }],
        movement: vec![Moved {
            what: Mover::Tester,
            name: n(),
            day: number("2026-10-05"),
            size_pct: e(3.63, 3.5, 3.7),
        }],
        jumps: None,
        charts: vec![("charts/limits.png".to_owned(), "Where does each limit lie?".to_owned())],
        attention: vec![0],
        jump_charts: Vec::new(),
        cannot_tell: None,
        since_report: Some(Since {
            earlier: Earlier {
                name: n(),
                month: "2026-09".to_owned(),
                from: day("2025-09-01"),
                to: day("2026-09-30"),
                actions: vec![open_action(name)],
                incidents: vec![open_incident(name)],
                verdicts: BTreeMap::from([(n(), None)]),
            },
            new: vec![open_action(name)],
            still_open: vec![open_action(name)],
            closed: vec![open_action(name)],
            verdicts: vec![VerdictChange {
                series: "m1-ac-1500".to_owned(),
                title: n(),
                before: "fits".to_owned(),
                now: "too tight".to_owned(),
            }],
            incidents: Some(SinceIncidents {
                new: vec![open_incident(name)],
                still_open: vec![open_incident(name)],
                ended: vec![open_incident(name)],
                closed: vec![open_incident(name)],
            }),
        }),
        notes: vec![format!("{name}: a note")],
        settings: vec![SettingLine {
            name: "confidence".to_owned(),
            value: "0.95".to_owned(),
            unit: "share",
            reason: "usual",
        }],
        ceilings: Vec::new(),
        made: Made {
            version: "0.1.0".to_owned(),
            seed: 1,
            inputs: vec![InputLine { path: n(), bytes: 1_234_567, sha256: "00ff".to_owned() }],
            side_files: vec![InputLine { path: n(), bytes: 140, sha256: "0a0b".to_owned() }],
            failures: vec![format!("{name}: cut off")],
        },
        cautions: ALL,
        actions: vec![Action {
            rank: 1,
            kind: ActionKind::TooLoose,
            key: String::new(),
            subject: n(),
            sentence: format!("{name} passes leaks."),
            next_step: "Set the limit to 2.46 mA.".to_owned(),
        }],
        incidents: vec![Incident {
            id: "i-abcdef".to_owned(),
            group: Group::LimitsToDecide,
            what: format!("{name} passes leaks."),
            places: vec![n()],
            from: Some(day("2026-03-16")),
            to: None,
            last_joined: Some(day("2026-03-16")),
            open: true,
            units: 3,
            next_step: "Set the limit to 2.46 mA.".to_owned(),
            step_below: "Set the limit to 2.46 mA.".to_owned(),
            evidence: vec![
                Evidence::Series("m1-ac-1500".to_owned()),
                Evidence::Testers("stations"),
                Evidence::Units,
            ],
            actions: vec![1],
            decision: Some(Decided {
                made: Decision {
                    incident: "i-abcdef".to_owned(),
                    decision: format!("{name} stays."),
                    who: n(),
                    when: number("2026-03-01"),
                    remark: n(),
                },
                closes: false,
            }),
        }],
        moved: Movement {
            series: Vec::new(),
            stations: Err(CannotTell::NothingShared),
            untold: Vec::new(),
        },
        findings: Findings {
            series: Vec::new(),
            checks: None,
            calibrations: None,
            doubts: Vec::new(),
            settings: SettingsRecord::default(),
            too_good: TooGood::default(),
            gaps: Vec::new(),
            jumps: Vec::new(),
            yields: Vec::new(),
            costs: Vec::new(),
        },
        yields: vec![Yield {
            of: YieldOf::Family(n()),
            units: 482,
            passed: 480,
            share: Some(e(0.9959, 0.985, 0.9995)),
        }],
        costs: vec![Cost {
            model: n(),
            month: (2026, 10),
            good_rejected: 3,
            retests: 4,
            minutes: 12.5,
            money: Some(18.75),
        }],
        made_by: Some(n()),
        made_at: Some("2026-11-02 08:00 +01:00".to_owned()),
        decided: Vec::new(),
        shared_limits: Vec::new(),
        units: vec![UnitToCheck {
            why: WhyCheck::NeverPassed,
            model: n(),
            serial: n(),
            tested_at: "2026-10-13 10:22:00".to_owned(),
            station: n(),
            reading_ma: "4.26".to_owned(),
            place: n(),
            units: 1,
            day: number("2026-10-13"),
            series: Some(0),
            lot: n(),
            outcome: Outcome::Pass,
            limit_ma: "5".to_owned(),
            incident: "i-abcdef".to_owned(),
        }],
        stop: false,
        register: Register {
            events: Some(vec![Event {
                day: day_number(day("2026-10-06")),
                what: n(),
                station: n(),
                model: n(),
            }]),
            ..Register::default()
        },
        not_used: vec![
            Why::SetAside {
                reason: SetAside::Retest,
                outcome: Outcome::Pass,
                shown: Some((1, Says::Value)),
                model: n().into(),
                serial: n().into(),
                time: 0,
            },
            Why::Unreadable { column: n().into(), expected: "a number".into(), found: n().into() },
        ]
        .into_iter()
        .map(|why| NotUsed {
            source: Arc::new(Source { file: n().into(), sheet: Some(n()) }),
            row: 7,
            part: 1,
            why,
        })
        .collect(),
    }
}
