//! Product or tester, and drift: a factory with known truth, made here from the physics of its readings.
//!
//! Truth: A2 reads 3.5 % low to 2026-05-08 and right from 2026-05-11; B2 has 80 pF more leads than A1;
//! KB120's leak grows from December 2025; DH640 follows humidity at 3 % a point; the others stand still.

use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::movement::drift::{
    DayFacts, DayPoint, Drift, DriftOptions, DriftStep, Event, PointUnits, ReadingLine, Shape,
    assess, day_points, explained::RoomFactor, grouped_median, name_events,
};
use leakdrift::movement::stations::{
    self, ActsAs, CannotTell, Cell, Correction, SeriesFacts, StationOptions, Stations,
};
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::numeric::median;
use rand::SeedableRng;
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::sync::OnceLock;

/// Days since 1970 of 2025-09-01 (a Monday), 2025-12-01, 2026-05-11 and 2026-10-30.
const START: i32 = 20_332;
const SEAL: i32 = START + 91;
const CALIBRATED: i32 = START + 252;
const END: i32 = START + 424;

/// The defaults of the settings.
const FEWEST: PointUnits = PointUnits { daily: 5.0, weekly: 10.0 };

const KB120: usize = 0;
const FH205: usize = 1;
const SM415: usize = 3;
const DH640: usize = 5;
const A1: usize = 0;
const A2: usize = 1;
const B1: usize = 2;
const B2: usize = 3;

struct Model {
    volts: f64,
    hertz: f64,
    nanofarad: f64,
    per_day: f64,
    spread: f64,
    /// Share of units at A1, A2, B1, B2.
    at: [f64; 4],
}

const MODELS: [Model; 7] = [
    Model {
        volts: 1250.0,
        hertz: 50.0,
        nanofarad: 0.62,
        per_day: 34.0,
        spread: 0.042,
        at: [0.5, 0.25, 0.0, 0.25],
    },
    Model {
        volts: 1500.0,
        hertz: 50.0,
        nanofarad: 2.35,
        per_day: 24.0,
        spread: 0.02,
        at: [0.7, 0.3, 0.0, 0.0],
    },
    Model {
        volts: 1500.0,
        hertz: 50.0,
        nanofarad: 10.1,
        per_day: 24.0,
        spread: 0.025,
        at: [0.0, 0.3, 0.7, 0.0],
    },
    Model {
        volts: 1250.0,
        hertz: 50.0,
        nanofarad: 4.8,
        per_day: 22.0,
        spread: 0.018,
        at: [0.45, 0.25, 0.3, 0.0],
    },
    Model {
        volts: 1250.0,
        hertz: 50.0,
        nanofarad: 3.1,
        per_day: 22.0,
        spread: 0.028,
        at: [0.0, 0.3, 0.4, 0.3],
    },
    Model {
        volts: 1768.0,
        hertz: 0.0,
        nanofarad: 0.0,
        per_day: 14.0,
        spread: 0.30,
        at: [0.0, 0.3, 0.0, 0.7],
    },
    Model {
        volts: 1500.0,
        hertz: 60.0,
        nanofarad: 3.45,
        per_day: 22.0,
        spread: 0.022,
        at: [0.0, 0.25, 0.35, 0.4],
    },
];

/// Lots last 14 days.
fn lot_of(day: i32) -> u32 {
    ((day - START) / 14) as u32
}

fn gain(station: usize, day: i32) -> f64 {
    match station {
        A2 if day < CALIBRATED => 0.965,
        B1 => 1.004,
        B2 => 0.998,
        _ => 1.0,
    }
}

fn reading_step(station: usize, ma: f64, dc: bool) -> f64 {
    match station {
        _ if dc => 0.0001,
        A2 => 0.001,
        A1 if ma < 1.0 => 0.001,
        B2 if ma < 2.0 => 0.001,
        _ => 0.01,
    }
}

struct Factory {
    /// (series, station, line).
    lines: Vec<(usize, usize, ReadingLine)>,
    room: BTreeMap<i32, DayFacts>,
}

fn factory(seed: u64) -> Factory {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut tally: BTreeMap<(usize, usize, i32, i64, i64), f64> = BTreeMap::new();
    let mut room = BTreeMap::new();
    let leads = [60.0, 75.0, 55.0, 140.0];
    let mut normal = |sd: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut rng);
        sd * z
    };
    let mut lot = [0.0; 7];
    let mut draws = Pcg64::seed_from_u64(seed + 1);
    for day in (START..=END).filter(|d| (d - START).rem_euclid(7) < 5) {
        // 2025-08-01 and 2025-07-20 are 31 and 43 days before the start.
        let wave = |since: i32| (TAU * f64::from(day - since) / 365.25).cos();
        let humidity = 52.5 + 16.5 * wave(START - 31) + normal(4.0);
        let temperature = 22.0 + 3.0 * wave(START - 43) + normal(0.8);
        let facts = DayFacts {
            humidity: Some(humidity),
            temperature: Some(temperature),
            lot: Some(lot_of(day)),
        };
        room.insert(day, facts);
        for (series, m) in MODELS.iter().enumerate() {
            if (day - START) % 14 == 0 {
                lot[series] = normal(0.004);
            }
            for (station, share) in m.at.iter().enumerate().filter(|s| *s.1 > 0.0) {
                let units: f64 = Poisson::new(m.per_day * share).unwrap().sample(&mut draws);
                for _ in 0..units as usize {
                    let dc = m.hertz == 0.0;
                    let healthy = if dc {
                        0.0016
                            * (0.03 * (humidity - 52.5) + normal(m.spread)).exp()
                            * (1.0 + normal(0.01))
                    } else {
                        let omega = TAU * m.hertz * m.volts * 1e3;
                        let capacitive =
                            omega * m.nanofarad * 1e-9 * (lot[series] + normal(m.spread)).exp()
                                + omega * leads[station] * 1e-12;
                        let leak = if series == KB120 {
                            let months = f64::from((day - SEAL).max(0)) / 30.44;
                            (0.1 + 0.02 * months) * normal(0.22).exp()
                        } else {
                            0.0
                        };
                        capacitive.hypot(leak) * (1.0 + normal(0.003))
                    };
                    let shown = gain(station, day) * healthy;
                    let step = reading_step(station, shown, dc);
                    let key = ((shown / step).round() as i64, (step * 1e4).round() as i64);
                    *tally.entry((series, station, day, key.0, key.1)).or_default() += 1.0;
                }
            }
        }
    }
    let lines = tally
        .into_iter()
        .map(|((series, station, day, at, step), count)| {
            let step_ma = step as f64 * 1e-4;
            (
                series,
                station,
                ReadingLine { day, centre_ma: at as f64 * step_ma, tripped: false, step_ma, count },
            )
        })
        .collect();
    Factory { lines, room }
}

fn cells(factory: &Factory) -> Vec<Cell> {
    type Lines = Vec<(f64, f64, f64)>;
    let mut groups: BTreeMap<(usize, usize, i32), Lines> = BTreeMap::new();
    for (series, station, l) in &factory.lines {
        groups.entry((*series, *station, l.day)).or_default().push((
            l.centre_ma,
            l.step_ma,
            l.count,
        ));
    }
    groups
        .into_iter()
        .map(|((series, station, day), lines)| Cell {
            series,
            station,
            day,
            median_ma: grouped_median(&lines).expect("readings"),
            units: lines.iter().map(|l| l.2).sum(),
        })
        .collect()
}

fn facts() -> Vec<SeriesFacts> {
    MODELS.iter().map(|m| SeriesFacts { volts: m.volts, hertz: m.hertz }).collect()
}

fn found() -> &'static (Factory, Stations) {
    static FOUND: OnceLock<(Factory, Stations)> = OnceLock::new();
    FOUND.get_or_init(|| {
        let factory = factory(2026);
        let found =
            stations::assess(&cells(&factory), &facts(), 4, &StationOptions::default()).unwrap();
        (factory, found)
    })
}

/// A reading as the reference station would have shown it: the gain divided out, then the current of the leads taken
/// off.
fn taken_off(c: &Correction, series: usize, station: usize, day: i32, ma: f64) -> f64 {
    (ma / c.gain(station, day) - c.lead_ma(series, station)).max(0.0)
}

/// Points of a series with readings divided by their station's offset, or as they are.
fn series(which: usize, correction: Option<&Correction>, room: bool) -> Vec<DayPoint> {
    series_of(&found().0, which, correction, room)
}

fn series_of(
    factory: &Factory,
    which: usize,
    correction: Option<&Correction>,
    room: bool,
) -> Vec<DayPoint> {
    let lines: Vec<ReadingLine> = factory
        .lines
        .iter()
        .filter(|l| l.0 == which)
        .map(|(series, station, l)| {
            let corrected = |c: &Correction| taken_off(c, *series, *station, l.day, l.centre_ma);
            ReadingLine { centre_ma: correction.map_or(l.centre_ma, corrected), ..*l }
        })
        .collect();
    let mut facts = factory.room.clone();
    for day in facts.values_mut().filter(|_| !room) {
        *day = DayFacts { lot: day.lot, ..DayFacts::default() };
    }
    day_points(&lines, &facts, FEWEST)
}

fn corrected(which: usize, room: bool) -> Drift {
    let options = DriftOptions { baseline_from: Some(START), ..DriftOptions::default() };
    assess(&series(which, Some(&found().1.correction), room), &options)
}

#[test]
fn the_calibration_of_a2_is_found_once_with_its_date_and_size() {
    let moved = &found().1.stations[A2].moved;
    assert_eq!(moved.len(), 1, "{moved:?}");
    assert!(moved[0].day_low <= CALIBRATED && CALIBRATED <= moved[0].day_high, "{moved:?}");
    assert!(moved[0].day_high - moved[0].day_low <= 21, "{moved:?}");
    // 1/0.965 = 1.03627.
    assert!(moved[0].size_pct.contains(3.627), "{moved:?}");
    assert!(moved[0].size_pct.high - moved[0].size_pct.low < 1.0, "{moved:?}");
    for still in [A1, B1, B2] {
        assert!(
            found().1.stations[still].moved.is_empty(),
            "{:?}",
            found().1.stations[still].moved
        );
    }
}

/// 80 pF at 1000 V 50 Hz: 2 pi 50 * 80e-12 * 1000 = 0.02513 mA, less the 0.2 % low gain's share.
#[test]
fn long_leads_of_b2_act_as_current() {
    let b2 = &found().1.stations[B2];
    assert_eq!(b2.acts_as, Some(ActsAs::Milliampere), "{b2:?}");
    let ma = b2.offset_ma.as_ref().unwrap();
    assert!(ma.low > 0.015 && ma.high < 0.032, "{ma:?}");
}

#[test]
fn months_show_a2_low_before_and_right_after() {
    let months = &found().1.stations[A2].months;
    let of = |m: (i32, u32)| months.iter().find(|o| o.month == m).unwrap().offset_pct.value;
    for month in [(2025, 10), (2026, 2), (2026, 4)] {
        assert!((-4.6..-2.4).contains(&of(month)), "{month:?}: {}", of(month));
    }
    for month in [(2026, 6), (2026, 10)] {
        assert!((-1.2..1.2).contains(&of(month)), "{month:?}: {}", of(month));
    }
}

/// Relative to A1: 0.965 before, 1.000 after, and 15 pF more leads (0.6 % of FH205's 2.35 + 0.06 nF).
#[test]
fn corrections_follow_the_truth() {
    let (factory, found) = found();
    let c = &found.correction;
    let of_a1 = factory.lines.iter().filter(|l| (l.0, l.1) == (FH205, A1));
    let on_a1 = median(&of_a1.map(|l| l.2.centre_ma).collect::<Vec<_>>()).unwrap();
    for (day, gain) in [(CALIBRATED - 60, 0.965), (CALIBRATED + 60, 1.0)] {
        // The same unit on both: its current grows with all that is connected.
        let on_a2 = on_a1 * gain * (2.35 + 0.075) / (2.35 + 0.060);
        let [a2, a1] = [(A2, on_a2), (A1, on_a1)].map(|(s, ma)| taken_off(c, FH205, s, day, ma));
        assert_rel(a2, a1, 0.006);
    }
    assert_abs(taken_off(c, 99, A2, CALIBRATED, 1.0), 1.0 / c.gain(A2, CALIBRATED), 0.0);
}

/// A mix of 70 % and 30 % would carry 1 % of A2's 3.6 % into the plant's median.
#[test]
fn the_tester_leaves_no_step_in_fh205_and_sm415() {
    let plain = assess(&series(FH205, None, false), &DriftOptions::default());
    assert_eq!(plain.shape, Some(Shape::Step), "uncorrected medians must show the tester");
    for which in [FH205, SM415] {
        for room in [false, true] {
            let drift = corrected(which, room);
            let largest =
                drift.steps.iter().filter_map(|s| s.size_pct.as_ref()).map(|e| e.value.abs());
            assert!(largest.fold(0.0, f64::max) < 0.6, "{which}: {:?}", drift.steps);
            assert!(
                drift.steps.iter().all(|s| (s.day - CALIBRATED).abs() > 14),
                "{:?}",
                drift.steps
            );
        }
    }
    let fh205 = corrected(FH205, false);
    assert_eq!(fh205.shape, Some(Shape::Steady), "{fh205:?}");
    assert!(fh205.smallest_step_ma.is_some_and(|s| s > 0.0 && s < 0.02));
}

/// Medians by the scenario: 0.290 mA at the start, 0.415 in October 2026.
#[test]
fn kb120_is_a_slope_from_december() {
    for room in [false, true] {
        let drift = corrected(KB120, room);
        assert_eq!(drift.shape, Some(Shape::Slope), "{drift:?}");
        let since = drift.since.unwrap();
        assert!((since - SEAL).abs() <= 35, "slope from {} days after", since - SEAL);
        assert!(drift.p_value <= 0.005, "{}", drift.p_value);
        // From (0.415 - 0.294) mA in ten months.
        let rate = drift.per_month_ma.as_ref().unwrap();
        assert!((0.0105..0.0145).contains(&rate.value), "{rate:?}");
        let line = drift.line.as_ref().unwrap();
        assert_rel(line.at(END - 15), 0.415, 0.04);
        assert!(!drift.ewma.as_ref().unwrap().signals.is_empty());
    }
}

/// DH640's medians of 14 units a day by its formula, with the room of each day.
fn humid_points(seed: u64) -> Vec<DayPoint> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    (0..425)
        .filter(|d| d % 7 < 5)
        .map(|d| {
            let wave = |after: i32| (TAU * f64::from(d + after) / 365.25).cos();
            let humidity = 52.5 + 16.5 * wave(31) + 4.0 * normal();
            let temperature = 22.0 + 3.0 * wave(43) + 0.8 * normal();
            let mut unit = || 0.0016 * (0.03 * (humidity - 52.5) + 0.3 * normal()).exp();
            let mut readings: Vec<f64> = (0..14).map(|_| unit()).collect();
            readings.sort_by(f64::total_cmp);
            DayPoint {
                day: START + d,
                value_ma: 0.5 * (readings[6] + readings[7]),
                units: 14.0,
                humidity: Some(humidity),
                temperature: Some(temperature),
                lot: None,
            }
        })
        .collect()
}

/// A share, not one series: at 5 % one in twenty is called moved by chance. Of 60, 57 are expected to be
/// seasons, and 52 is three standard errors below.
#[test]
fn dh640_follows_humidity() {
    let options = DriftOptions::default();
    let found: Vec<Drift> = (1..=60).map(|seed| assess(&humid_points(seed), &options)).collect();
    let seasons: Vec<&Drift> = found.iter().filter(|d| d.shape == Some(Shape::Season)).collect();
    assert!(seasons.len() >= 52, "{} of 60", seasons.len());
    for drift in seasons {
        assert!(drift.steps.is_empty() && drift.since.is_none());
        let humidity = drift.explained.iter().find(|e| e.what == RoomFactor::Humidity).unwrap();
        assert!(humidity.share.value > 0.25, "{humidity:?}");
    }
}

/// Without the room the same readings move, and 14 months are not called a season.
#[test]
fn dh640_without_the_room_is_no_season() {
    let drift = corrected(DH640, false);
    assert!(drift.p_value <= 0.05 && drift.shape != Some(Shape::Season), "{drift:?}");
}

#[test]
fn one_station_alone_cannot_tell() {
    let alone: Vec<Cell> = cells(&found().0).into_iter().filter(|c| c.station == A1).collect();
    let answer = stations::assess(&alone, &facts(), 4, &StationOptions::default());
    assert_eq!(answer.unwrap_err(), CannotTell::NothingShared);
}

#[test]
fn order_of_cells_does_not_matter() {
    let mut turned = cells(&found().0);
    turned.reverse();
    let again = stations::assess(&turned, &facts(), 4, &StationOptions::default()).unwrap();
    assert_eq!(&again, &found().1);
}

/// By hand: 4 units in 0.995..1.005, 6 in 1.005..1.015: the fifth of ten lies a sixth into the second.
/// A product that steps beyond its limit trips: its days must not vanish, which would leave it standing still.
#[test]
fn days_of_trips_lie_at_least_at_the_limit() {
    let day = |day: i32, ma: f64, tripped: f64| {
        let line = |centre_ma, tripped, count| ReadingLine {
            day,
            centre_ma,
            tripped,
            step_ma: 0.01,
            count,
        };
        [line(ma, false, 20.0 - tripped), line(1.3, true, tripped)]
    };
    let lines: Vec<ReadingLine> = (0..60)
        .flat_map(|d| day(d, 1.0 + 0.01 * f64::from(d % 3), if d < 30 { 1.0 } else { 15.0 }))
        .collect();
    let points = day_points(&lines, &BTreeMap::new(), FEWEST);
    assert_eq!(points.len(), 60);
    assert!(
        points[..30].iter().all(|p| p.value_ma < 1.1)
            && points[30..].iter().all(|p| p.value_ma >= 1.29)
    );
    let drift = assess(&points, &DriftOptions::default());
    assert_eq!(drift.shape, Some(Shape::Step), "{drift:?}");
    assert!(drift.steps[0].size_ma.value > 0.2);
}

#[test]
fn grouped_median_by_hand() {
    let lines = [(1.0, 0.01, 4.0), (1.01, 0.01, 6.0)];
    assert_abs(grouped_median(&lines).unwrap(), 1.005 + 0.01 / 6.0, 1e-12);
    // Half the units tripped: the median is not among the readings.
    assert!(grouped_median(&[(1.0, 0.01, 5.0), (f64::INFINITY, 0.0, 5.0)]).is_none());
    assert!(grouped_median(&[]).is_none());
}

#[test]
fn thin_days_become_weeks() {
    let line = |day: i32, count: f64| ReadingLine {
        day,
        centre_ma: 1.0,
        tripped: false,
        step_ma: 0.01,
        count,
    };
    let days = |count: f64| -> Vec<ReadingLine> {
        (0..20).filter(|i| i % 7 < 5).map(|i| line(START + i, count)).collect()
    };
    assert_eq!(day_points(&days(5.0), &BTreeMap::new(), FEWEST).len(), 15);
    let weeks = day_points(&days(3.0), &BTreeMap::new(), FEWEST);
    assert_eq!(weeks.len(), 3);
    assert_abs(weeks[0].units, 15.0, 0.0);
    assert_eq!(weeks[0].day, START + 2);
}

#[test]
fn few_points_claim_no_shape() {
    let points: Vec<DayPoint> = series(FH205, None, false).into_iter().take(19).collect();
    let drift = assess(&points, &DriftOptions::default());
    assert!(drift.shape.is_none() && drift.no_shape.is_some());
    assert!(assess(&[], &DriftOptions::default()).shape.is_none());
}

#[test]
fn a_step_takes_the_nearest_event_inside_its_interval() {
    let size = Estimate::new(0.1, 0.05, 0.15, 0.95, "by hand").unwrap();
    let step = DriftStep { day: 100, day_low: 95, day_high: 104, size_ma: size, size_pct: None };
    let event = |day: i32, what: &str| Event { day, what: what.into() };
    let events = [event(94, "outside"), event(96, "far"), event(101, "near")];
    let named = name_events(std::slice::from_ref(&step), &events);
    assert_eq!(named, vec![Some("near".to_string())]);
    assert_eq!(name_events(&[step], &events[..1]), vec![None]);
}

/// Odd inputs give answers or reasons, never a panic or a number that is none.
#[test]
fn odd_inputs_are_survived() {
    let point = |i: i32, value_ma: f64| DayPoint {
        day: START + i,
        value_ma,
        units: 20.0,
        humidity: Some(50.0 + f64::from(i % 3)),
        temperature: (i % 2 == 0).then_some(20.0),
        lot: Some(i as u32 / 9),
    };
    let shapes: [fn(i32) -> f64; 6] = [
        |_| 0.0,
        |_| 1.0,
        |i| if i == 30 { 1.0 } else { 0.0 },
        |i| if i < 20 { 1.0 } else { 2.0 },
        |i| f64::from(i) * 1e-12,
        |i| if i == 3 { f64::NAN } else { 1e300 },
    ];
    for value in shapes {
        for n in [0, 1, 2, 19, 20, 21, 60] {
            let points: Vec<DayPoint> = (0..n).map(|i| point(i, value(i))).collect();
            let drift = assess(&points, &DriftOptions::default());
            assert!(drift.p_value > 0.0 && drift.p_value <= 1.0);
            assert!(drift.smallest_step_ma.is_none_or(|s| !s.is_nan()));
            assert!(drift.per_month_ma.is_none_or(|e| !e.value.is_nan()));
        }
        let cells: Vec<Cell> = (0..120)
            .map(|i| Cell {
                series: (i as usize / 2) % 2,
                station: i as usize % 2,
                day: START + i / 4,
                median_ma: value(i),
                units: 4.0,
            })
            .collect();
        if let Ok(found) = stations::assess(&cells, &facts(), 2, &StationOptions::default()) {
            let corrected = taken_off(&found.correction, 0, 1, START, 1.0);
            assert!(corrected.is_finite() && corrected >= 0.0, "{corrected}");
        }
    }
}
