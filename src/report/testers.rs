//! What was found about testers → report: stations, check loads, calibrations, settings, gaps, what is too
//! good; and what of it needs action.

use std::collections::BTreeMap;

use super::build::{Parts, e, month_text, shape_key, time_text};
use super::model::*;
use crate::analysis::units::doubt::Doubt;
use crate::analysis::units::gaps::gaps;
use crate::analysis::units::happenings;
use crate::analysis::units::settings::SettingChange;
use crate::analysis::units::strays::Lies;
use crate::day::{Day, date_of};
use crate::movement::stations::{ActsAs, CannotTell};
use crate::verdict::concern::{About, Concern};
use crate::verdict::plant::station_flagged;
use crate::verdict::tester::{
    EXPLAINS, back_words, doubt_sentence, frequency_hint, seen_on_load, setting_value,
    settings_sentence, step_needs_action, step_sentence,
};
use crate::words::{Wording, count, three_digits};

fn name(parts: &Parts<'_>, station: u16) -> String {
    parts.pass.plant.stations[usize::from(station)].clone()
}

/// Why product and tester cannot be told apart; `None` where they can.
pub(super) fn cannot_tell(parts: &Parts<'_>) -> Option<String> {
    let why = parts.movement.stations.as_ref().err()?;
    let reason = match why {
        CannotTell::NothingShared if parts.pass.plant.stations.len() < 2 => {
            "there is one station only, or none is named"
        }
        CannotTell::NothingShared => "no model was tested on two stations on one day",
        CannotTell::TooFewDays => "fewer than 20 days with a model on two stations",
    };
    Some(format!("product and tester cannot be told apart: {reason}"))
}

/// Every station, with its steps, months and passes in doubt.
pub(super) fn stations(parts: &Parts<'_>, ids: &[String]) -> Vec<StationReport> {
    let found = parts.movement.stations.as_ref().ok();
    (0..parts.pass.plant.stations.len())
        .map(|n| {
            let station = u16::try_from(n).unwrap_or(u16::MAX);
            let s = found.map(|f| &f.stations[n]);
            let offset = s.and_then(|s| s.offset_pct.as_ref());
            let doubts = doubt_reports(parts, ids, station);
            let known =
                found.is_some() || !doubts.is_empty() || parts.findings.calibrations.is_some();
            StationReport {
                station: name(parts, station),
                offset_pct: e(offset),
                flagged: offset.is_some_and(|o| station_flagged(o, parts.config)),
                moved: moves(parts, station),
                acts_as: s.and_then(|s| s.acts_as).map(|a| match a {
                    ActsAs::PerCent => "per_cent",
                    ActsAs::Milliampere => "ma",
                }),
                offset_ma: e(s.and_then(|s| s.offset_ma.as_ref())),
                passes_in_doubt: known.then(|| doubts.iter().map(|d| d.would_have_failed).sum()),
                doubts,
                months: s.map_or_else(Vec::new, |s| {
                    s.months
                        .iter()
                        .map(|m| StationMonth {
                            month: month_text(m.month),
                            offset_pct: m.offset_pct.clone(),
                        })
                        .collect()
                }),
                hint: offset.and_then(frequency_hint),
            }
        })
        .collect()
}

/// Steps of one station, with what was recorded then and what its check load did.
fn moves(parts: &Parts<'_>, station: u16) -> Vec<StationMove> {
    let Ok(found) = &parts.movement.stations else {
        return Vec::new();
    };
    let happened = happenings::of_station(parts.pass, station, parts.findings, parts.register);
    let of_loads = || {
        parts
            .findings
            .check_records
            .iter()
            .filter(|r| r.station == station)
            .flat_map(|r| &r.drift.steps)
            .filter_map(|s| Some((s.day, s.size_pct.as_ref()?)))
    };
    found.stations[usize::from(station)]
        .moved
        .iter()
        .map(|step| {
            let event = happened.recorded_between(
                step.day_low - EXPLAINS,
                step.day,
                step.day_high + EXPLAINS,
            );
            let load = seen_on_load(step, of_loads());
            StationMove {
                date: date_of(step.day),
                date_low: date_of(step.day_low),
                date_high: date_of(step.day_high),
                size_pct: step.size_pct.clone(),
                sentence: step_sentence(
                    &name(parts, station),
                    step,
                    event.as_deref(),
                    load.map(|l| l.value),
                ),
                event,
                check_load_pct: e(load),
            }
        })
        .collect()
}

fn doubt_reports(parts: &Parts<'_>, ids: &[String], station: u16) -> Vec<DoubtReport> {
    parts
        .findings
        .doubts
        .iter()
        .filter(|d| d.station == station)
        .map(|d| {
            let counts = by_series(d);
            DoubtReport {
                from: date_of(d.from),
                to: date_of(d.to),
                raised_pct: d.raised_pct.clone(),
                passes: d.passes,
                would_have_failed: d.units.len() as u64,
                low: d.ends.0,
                high: d.ends.1,
                sentence: doubt_words(parts, d, &counts),
                by_series: counts
                    .into_iter()
                    .map(|(n, would_have_failed)| DoubtSeries {
                        series: ids[n].clone(),
                        would_have_failed,
                    })
                    .collect(),
            }
        })
        .collect()
}

/// Passes in doubt by series, most first.
fn by_series(d: &Doubt) -> Vec<(usize, u64)> {
    let mut counts: BTreeMap<usize, u64> = BTreeMap::new();
    for unit in &d.units {
        if let Some(series) = unit.series {
            *counts.entry(series).or_default() += u64::from(unit.count);
        }
    }
    let mut counts: Vec<(usize, u64)> = counts.into_iter().collect();
    counts.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    counts
}

fn doubt_words(parts: &Parts<'_>, d: &Doubt, counts: &[(usize, u64)]) -> String {
    let named: Vec<(String, u64)> =
        counts.iter().map(|(n, units)| (parts.pass.series[*n].key.model.clone(), *units)).collect();
    doubt_sentence(d, &name(parts, d.station), &named)
}

/// Testers and products that moved: each once.
pub(super) fn movements(parts: &Parts<'_>) -> Vec<MovementReport> {
    let mut all = Vec::new();
    if let Ok(stations) = &parts.movement.stations {
        for (station, s) in parts.pass.plant.stations.iter().zip(&stations.stations) {
            all.extend(s.moved.iter().map(|m| MovementReport {
                what: "tester",
                name: station.clone(),
                date: date_of(m.day),
                size_pct: m.size_pct.clone(),
            }));
        }
    }
    for (n, (series, moved)) in parts.pass.series.iter().zip(&parts.movement.series).enumerate() {
        if !parts.verdicts[n].flag.flagged {
            continue;
        }
        let mut add = |day: Day, size: &crate::stats::estimate::Estimate| {
            all.push(MovementReport {
                what: "product",
                name: series.key.model.clone(),
                date: date_of(day),
                size_pct: size.clone(),
            });
        };
        for step in &moved.drift.steps {
            if let Some(size) = &step.size_pct {
                add(step.day, size);
            }
        }
        if let Some((day, size)) = moved.drift.slope_so_far_pct() {
            add(day, &size);
        }
    }
    all
}

pub(super) fn gap_reports(parts: &Parts<'_>) -> Vec<GapReport> {
    gaps(parts.pass)
        .into_iter()
        .map(|g| GapReport {
            station: name(parts, g.station),
            from: date_of(g.from),
            to: date_of(g.to),
            days: g.days,
        })
        .collect()
}

/// The register against the tests.
pub(super) fn calibrations(parts: &Parts<'_>) -> Option<Vec<CalibrationReport>> {
    let all = parts.findings.calibrations.as_ref()?;
    let accuracy = parts.config.tester.accuracy_pct;
    let report = all.iter().map(|c| CalibrationReport {
        instrument: c.calibration.instrument.clone(),
        station: c.calibration.station.clone(),
        due_on: c.calibration.due_on.map(date_of),
        done_on: date_of(c.calibration.done_on),
        tests_overdue: c.tests_overdue,
        error_pct: c.calibration.error_pct,
        next_done_on: c.next_done_on.map(date_of),
        overdue_from: c.overdue.map(|o| date_of(o.0)),
        overdue_to: c.overdue.map(|o| date_of(o.1)),
        production_days_overdue: c.days_overdue,
        beyond_accuracy: c.calibration.error_pct.is_some_and(|error| error.abs() > accuracy),
    });
    Some(report.collect())
}

/// The event that explains a change of a setting, if one is recorded about that day.
fn explains(parts: &Parts<'_>, c: &SettingChange) -> Option<String> {
    let model = &parts.pass.series[c.series].key.model;
    let near = |e: &&crate::series::Event| (e.day - c.day).abs() <= EXPLAINS;
    c.stations
        .iter()
        .find_map(|s| {
            parts
                .register
                .events_about(Some(&parts.pass.plant.stations[usize::from(*s)]), Some(model))
                .filter(near)
                .min_by_key(|e| (e.day - c.day).abs())
        })
        .map(|e| e.what.clone())
}

pub(super) fn setting_changes(parts: &Parts<'_>, ids: &[String]) -> Vec<SettingChangeReport> {
    parts
        .findings
        .settings
        .changes
        .iter()
        .map(|c| SettingChangeReport {
            date: date_of(c.day),
            tested_at: time_text(c.time),
            station: c.stations.iter().map(|s| name(parts, *s)).collect::<Vec<_>>().join(", "),
            model: parts.pass.series[c.series].key.model.clone(),
            series: ids[c.series].clone(),
            what: c.what.words(),
            unit: c.what.unit(),
            from: c.from,
            to: c.to,
            tests: c.tests,
            back_after: c.back_after.map(time_text),
            event: explains(parts, c),
            words: [
                setting_value(c.what, c.from),
                setting_value(c.what, c.to),
                back_words(c).trim_start().to_owned(),
            ],
        })
        .collect()
}

pub(super) fn settings_differ(parts: &Parts<'_>, ids: &[String]) -> Vec<SettingDiffersReport> {
    parts
        .findings
        .settings
        .differs
        .iter()
        .map(|d| SettingDiffersReport {
            model: parts.pass.series[d.series].key.model.clone(),
            series: ids[d.series].clone(),
            what: d.what.words(),
            values: d
                .values
                .iter()
                .map(|(s, v)| (name(parts, *s), setting_value(d.what, *v)))
                .collect(),
        })
        .collect()
}

pub(super) fn settings_short(parts: &Parts<'_>, ids: &[String]) -> Vec<SettingShortReport> {
    parts
        .findings
        .settings
        .short
        .iter()
        .map(|s| SettingShortReport {
            model: parts.pass.series[s.series].key.model.clone(),
            series: ids[s.series].clone(),
            station: name(parts, s.station),
            what: s.what.words(),
            unit: s.what.unit(),
            required: s.required,
            lowest: s.lowest,
            tests: s.tests,
            from: date_of(s.days.0),
            to: date_of(s.days.1),
        })
        .collect()
}

/// What is too good to be true, in order of station, kind and time.
pub(super) fn too_good(parts: &Parts<'_>, ids: &[String]) -> Vec<TooGoodReport> {
    let (pass, found) = (parts.pass, &parts.findings.too_good);
    let model = |n: usize| &pass.series[n].key.model;
    let say = |n: usize| &parts.verdicts[n].wording;
    let mut all: Vec<TooGoodReport> = Vec::new();
    for f in &found.frozen {
        let (Some(first), Some(last)) = (f.units.first(), f.units.last()) else {
            continue;
        };
        all.push(TooGoodReport {
            station: name(parts, f.station),
            series: Some(ids[f.series].clone()),
            from: time_text(first.time),
            to: time_text(last.time),
            what: format!(
                "{} of {} in a row read {} at {} on {}: the display may have stood still.",
                count(f.units.len() as u64, "unit"),
                model(f.series),
                say(f.series).current(f.reading_ma),
                name(parts, f.station),
                &time_text(first.time)[..10]
            ),
            kind: "frozen",
            units: Some(f.units.len() as u64),
            explained_by: None,
        });
    }
    for f in &found.few_failures {
        let doubt = parts
            .findings
            .doubts
            .iter()
            .find(|d| d.station == f.station && d.from <= f.days.1 && f.days.0 <= d.to);
        all.push(TooGoodReport {
            station: name(parts, f.station),
            series: f.series.map(|n| ids[n].clone()),
            from: date_of(f.days.0).to_string(),
            to: date_of(f.days.1).to_string(),
            what: format!(
                "{} failed {} of {} from {} to {}, where the other stations predict {}.",
                name(parts, f.station),
                count(f.failed, "unit"),
                f.series.map_or("all models", |n| model(n)),
                date_of(f.days.0),
                date_of(f.days.1),
                three_digits(f.predicted)
            ),
            kind: "few_failures",
            units: None,
            explained_by: doubt
                .map(|d| format!("it read {} % too low then", three_digits(d.raised_pct.value))),
        });
    }
    for f in &found.collapsed {
        all.push(TooGoodReport {
            station: name(parts, f.station),
            series: Some(ids[f.series].clone()),
            from: date_of(f.days.0).to_string(),
            to: date_of(f.days.1).to_string(),
            what: format!(
                "The middle half of {} at {} spans {} in {}, and {} in the three months before, while other stations show no such change.",
                model(f.series),
                name(parts, f.station),
                say(f.series).estimate(f.width_ma),
                month_text(f.month),
                say(f.series).estimate(f.before_ma)
            ),
            kind: "spread_collapsed",
            units: None,
            explained_by: None,
        });
    }
    all.extend(open_leads(parts, ids));
    all.sort_by(|a, b| {
        (&a.station, a.kind, &a.from, &a.series).cmp(&(&b.station, b.kind, &b.from, &b.series))
    });
    all
}

/// Passes at the open-lead reading, by station and series.
fn open_leads(parts: &Parts<'_>, ids: &[String]) -> Vec<TooGoodReport> {
    let mut all = Vec::new();
    for (n, finding) in parts.findings.series.iter().enumerate() {
        let mut by_station: BTreeMap<u16, Vec<i64>> = BTreeMap::new();
        for unit in finding.strays.units.iter().filter(|u| u.lies == Lies::OpenLead) {
            by_station.entry(unit.test.station).or_default().push(unit.test.time);
        }
        for (station, times) in by_station {
            let (Some(first), Some(last)) = (times.iter().min(), times.iter().max()) else {
                continue;
            };
            all.push(TooGoodReport {
                station: name(parts, station),
                series: Some(ids[n].clone()),
                from: time_text(*first),
                to: time_text(*last),
                what: format!(
                    "{} of {} passed at {} at the reading of an unconnected lead.",
                    count(times.len() as u64, "unit"),
                    parts.pass.series[n].key.model,
                    name(parts, station)
                ),
                kind: "open_lead",
                units: Some(times.len() as u64),
                explained_by: None,
            });
        }
    }
    all
}

/// Check loads by station; `None` where the settings name none.
pub(super) fn checks(parts: &Parts<'_>) -> Option<Vec<CheckReport>> {
    if parts.config.check_loads.is_empty() {
        return None;
    }
    let reports = parts.findings.checks.iter().map(|c| CheckReport {
        station: name(parts, c.station),
        days_without: c.days_without.len() as u64,
        wrong: c
            .wrong
            .iter()
            .map(|w| WrongCheck {
                tested_at: time_text(w.check.time),
                load: w.check.load.clone(),
                expected: w.expected.clone(),
                found: w.check.outcome.words().to_owned(),
                units_since_last_good: w.units_since_last_good,
            })
            .collect(),
        loads: loads(parts, c.station),
    });
    Some(reports.collect())
}

fn loads(parts: &Parts<'_>, station: u16) -> Vec<LoadReport> {
    let of_station = parts.findings.check_records.iter().filter(|r| r.station == station);
    of_station
        .map(|r| LoadReport {
            load: r.load.clone(),
            expected_ma: r.expected_ma,
            days: r.points.len() as u64,
            x50_ma: r.latest_ma,
            shape: r.drift.shape.map(shape_key),
            p_value: r.drift.shape.map(|_| r.adjusted_p),
            steps: r
                .drift
                .steps
                .iter()
                .filter_map(|s| {
                    Some(LoadStep {
                        date: date_of(s.day),
                        date_low: date_of(s.day_low),
                        date_high: date_of(s.day_high),
                        size_pct: s.size_pct.clone()?,
                    })
                })
                .collect(),
            smallest_step_ma: r.drift.smallest_step_ma,
            odd: r
                .odd
                .iter()
                .map(|o| OddCheck {
                    tested_at: time_text(o.check.time),
                    reading_ma: o.reading_ma,
                    usual_ma: o.usual_ma,
                })
                .collect(),
        })
        .collect()
}

/// What of all this needs action.
pub(super) fn concerns(parts: &Parts<'_>, report: &Testers<'_>) -> Vec<About> {
    let mut about: Vec<About> = Vec::new();
    let mut add = |subject: &str, concern: Concern| {
        about.push(About { subject: subject.to_owned(), concern });
    };
    for station in report.stations {
        for step in &station.moved {
            let explained = step.event.is_some();
            if step_needs_action(step.date, explained, parts.month) {
                let sentence = step.sentence.clone();
                add(&station.station, Concern::TesterMoved { sentence, explained });
            }
        }
        if station.flagged {
            add(&station.station, differs(station));
        }
        for doubt in &station.doubts {
            if doubt.would_have_failed > 0 {
                add(
                    &station.station,
                    Concern::PassesInDoubt {
                        units: doubt.would_have_failed,
                        sentence: doubt.sentence.clone(),
                    },
                );
            }
        }
    }
    check_concerns(parts, report, &mut add);
    let mut by_model: BTreeMap<&str, Vec<&SettingChange>> = BTreeMap::new();
    for c in &parts.findings.settings.changes {
        if explains(parts, c).is_none() {
            by_model.entry(&parts.pass.series[c.series].key.model).or_default().push(c);
        }
    }
    for (model, changes) in by_model {
        let sentence = settings_sentence(&changes, &parts.pass.plant.stations);
        add(model, Concern::SettingsDiffer { sentence });
    }
    for d in report.settings_differ {
        let values: Vec<String> = d.values.iter().map(|(s, v)| format!("{s} {v}")).collect();
        let sentence = format!("The {} differs between stations: {}.", d.what, values.join(", "));
        add(&d.model, Concern::SettingsDiffer { sentence });
    }
    for s in report.settings_short {
        let sentence = format!(
            "{} made at a {} of {} {} or more, below the required {} {}, at {} from {} to {}.",
            count(s.tests, "test"),
            s.what,
            three_digits(s.lowest),
            s.unit,
            three_digits(s.required),
            s.unit,
            s.station,
            s.from,
            s.to
        );
        add(&s.model, Concern::SettingsDiffer { sentence });
    }
    // Passes with an open lead have a line of their own, worse than this one.
    for t in report.too_good {
        if t.kind != "open_lead" && t.explained_by.is_none() {
            let sentence = t.what.clone();
            add(&t.station, Concern::TooGood { sentence });
        }
    }
    for c in report.calibration.iter().filter(|c| c.tests_overdue > 0) {
        add(
            &c.station,
            Concern::CalibrationOverdue {
                instrument: c.instrument.clone(),
                tests: c.tests_overdue,
            },
        );
    }
    for gap in report.gaps {
        let (from, to) = (gap.from, gap.to);
        add(&gap.station, Concern::MissingDays { from, to });
    }
    about
}

/// A station that reads differently from the others.
fn differs(station: &StationReport) -> Concern {
    let leads = station.acts_as == Some("ma");
    let hint = station.hint.map_or_else(String::new, |h| format!(" It is {h}."));
    let size = match (&station.offset_ma, &station.offset_pct) {
        (Some(ma), _) if leads => format!(
            "{:.4} mA {} (at 1000 V and 50 Hz) than the others on every model, as its leads and fixture would make it",
            ma.value.abs(),
            if ma.value > 0.0 { "more" } else { "less" }
        ),
        (_, Some(pct)) => format!(
            "{} % {} than the others on every model",
            three_digits(pct.value.abs()),
            if pct.value > 0.0 { "more" } else { "less" }
        ),
        _ => "differently from the others on every model".to_owned(),
    };
    Concern::StationDiffers { sentence: format!("{} reads {size}.{hint}", station.station), leads }
}

/// Check loads: wrong answers, odd readings, steps that no product shows, days without.
fn check_concerns(parts: &Parts<'_>, report: &Testers<'_>, add: &mut impl FnMut(&str, Concern)) {
    for check in report.checks {
        for wrong in &check.wrong {
            add(
                &check.station,
                Concern::WrongCheckLoad {
                    day: wrong.tested_at[..10].parse().unwrap_or_default(),
                    load: wrong.load.clone(),
                    units_since_last_good: wrong.units_since_last_good,
                },
            );
        }
        for load in &check.loads {
            // A wrong answer of the same day already says that nothing was connected.
            let odd = load
                .odd
                .iter()
                .filter(|o| !check.wrong.iter().any(|w| w.tested_at[..10] == o.tested_at[..10]));
            for o in odd {
                let say = Wording::new(o.usual_ma, 0.001);
                let sentence = format!(
                    "The check load {} passed at {} on {}, where it usually reads {}.",
                    load.load,
                    say.current(o.reading_ma),
                    &o.tested_at[..10],
                    say.current(o.usual_ma)
                );
                add(&check.station, Concern::OddCheckReading { sentence });
            }
        }
        if check.days_without > 0 {
            let days = check.days_without;
            add(&check.station, Concern::ChecksMissing { days });
        }
    }
    // Where no product is shared, the check load alone shows that a tester moved.
    for record in &parts.findings.check_records {
        let station = name(parts, record.station);
        let known = report.stations.iter().find(|s| s.station == station);
        for step in &record.drift.steps {
            let Some(size) = &step.size_pct else { continue };
            let seen = known.is_some_and(|s| {
                s.moved.iter().any(|m| (m.date - date_of(step.day)).num_days().abs() <= 7)
            });
            let certain = record.adjusted_p <= 1.0 - parts.config.confidence;
            // Large enough as for a station's offset.
            if seen || !certain || !station_flagged(size, parts.config) {
                continue;
            }
            let happened =
                happenings::of_station(parts.pass, record.station, parts.findings, parts.register);
            let event = happened.recorded_between(
                step.day_low - EXPLAINS,
                step.day,
                step.day_high + EXPLAINS,
            );
            if step_needs_action(date_of(step.day), event.is_some(), parts.month) {
                let sentence = format!(
                    "The check load {} at {station} reads {:+.2} % since {} ({} to {}): the tester moved.",
                    record.load,
                    size.value,
                    date_of(step.day),
                    date_of(step.day_low),
                    date_of(step.day_high)
                );
                let explained = event.is_some();
                add(&station, Concern::TesterMoved { sentence, explained });
            }
        }
    }
}

/// What was reported about testers, for [`concerns`].
pub(super) struct Testers<'a> {
    pub(super) stations: &'a [StationReport],
    pub(super) checks: &'a [CheckReport],
    pub(super) calibration: &'a [CalibrationReport],
    pub(super) settings_differ: &'a [SettingDiffersReport],
    pub(super) settings_short: &'a [SettingShortReport],
    pub(super) too_good: &'a [TooGoodReport],
    pub(super) gaps: &'a [GapReport],
}
