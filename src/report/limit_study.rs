//! The limit study of one model: studies of its series → page, change note, charts and result file.

use std::path::PathBuf;

use rayon::prelude::*;

use super::build::{self, Parts, e, month_text, time_text};
use super::chart::{draw, style};
use super::format::whole;
use super::limit_model::*;
use super::markdown::{change_note, limit_page};
use super::{json, pictures, tables};
use crate::analysis::asked;
use crate::analysis::units::leads::open_leads;
use crate::config::Config;
use crate::day::date_of;
use crate::error::{Error, Result};
use crate::movement::facts;
use crate::review::{Made, Review};
use crate::series::{Current, TestKind};
use crate::verdict::band::BandInput;
use crate::verdict::expected::{self, Circuit};
use crate::verdict::limit_study::{LimitStudy, Of, WhatIf, study as study_series};
use crate::verdict::physics::{LeakAdds, Load, ProvingLoads};
use crate::verdict::plant::limit_groups;
use crate::verdict::suggest::{Suggestion, blind_spot_mohm};
use crate::words::Wording;

/// What a limit study is made of, beside the settings.
#[derive(Debug, Clone, Default)]
pub struct StudyRequest {
    /// Files, folders and patterns; none for a model that is only calculated.
    pub paths: Vec<PathBuf>,
    /// Name of the report.
    pub name: String,
    /// Model studied.
    pub model: String,
    /// Kind of test, as in the settings; all where `None`.
    pub test: Option<String>,
    /// Limits to look at, mA.
    pub tries: Vec<f64>,
    /// Limit that the change note is written for instead of the recommended one, mA.
    pub note_for: Option<f64>,
    /// Capacitance between the tested parts, nF.
    pub expect_nf: Option<f64>,
    /// Its tolerance, per cent.
    pub tolerance_pct: Option<f64>,
    /// Set voltage of a model without history, V.
    pub applied_v: Option<f64>,
    /// Frequency of a model without history, Hz.
    pub frequency_hz: Option<f64>,
}

/// A finished study, not yet written.
#[derive(Debug)]
pub struct Study {
    /// Everything its pages show.
    pub report: LimitsReport,
    /// Relative path and content of each file.
    pub files: Vec<(String, Vec<u8>)>,
}

/// Tolerance of capacitors where none is stated, per cent: common practice, no source.
const TOLERANCE_PCT: f64 = 10.0;

/// The study of the model asked for.
///
/// # Errors
/// No series of the model and no circuit to calculate it from; a number asked for that cannot be meant; a
/// change note for a limit outside the workable band.
pub fn study(
    whole: Option<(&Parts<'_>, &Review)>,
    request: &StudyRequest,
    config: &Config,
) -> Result<Study> {
    check(request)?;
    // The limit of the note is one of those looked at.
    let mut request = request.clone();
    request.tries.extend(request.note_for);
    let request = &request;
    let chosen = whole.map_or_else(|| Ok(Vec::new()), |(parts, _)| choose(parts, request))?;
    match whole {
        Some((parts, review)) if !chosen.is_empty() => {
            measured(parts, review, request, &chosen, config)
        }
        _ => calculated(whole, request, config),
    }
}

fn check(request: &StudyRequest) -> Result<()> {
    let positive = |x: f64| x > 0.0 && x.is_finite();
    for (name, value) in request
        .tries
        .iter()
        .map(|x| ("--try", *x))
        .chain(request.note_for.map(|x| ("--note-for", x)))
        .chain(request.expect_nf.map(|x| ("--expect-nf", x)))
        .chain(request.applied_v.map(|x| ("--applied-v", x)))
        .chain(request.frequency_hz.map(|x| ("--frequency-hz", x)))
    {
        if !positive(value) {
            return Err(Error::usage(
                format!("{name}: expected a number above zero, found {value}"),
                "give limits in mA, capacitance in nF, voltage in V, frequency in Hz",
            ));
        }
    }
    if let Some(pct) = request.tolerance_pct.filter(|p| !(0.0..100.0).contains(p)) {
        return Err(Error::usage(
            format!("--tolerance-pct: expected a number from 0 to below 100, found {pct}"),
            "give the tolerance of the capacitors in per cent",
        ));
    }
    Ok(())
}

/// Series of the model, of the kind of test asked for.
fn choose(parts: &Parts<'_>, request: &StudyRequest) -> Result<Vec<usize>> {
    let wanted = request.model.trim().to_lowercase();
    let series = &parts.pass.series;
    let of_model: Vec<usize> = (0..series.len())
        .filter(|&n| series[n].key.model.trim().to_lowercase() == wanted)
        .collect();
    let chosen: Vec<usize> = of_model
        .iter()
        .copied()
        .filter(|&n| {
            request.test.as_ref().is_none_or(|t| series[n].key.test.key() == t.replace('_', " "))
        })
        .collect();
    if !chosen.is_empty() || request.expect_nf.is_some() {
        return Ok(chosen);
    }
    if of_model.is_empty() {
        if parts.config.model(&request.model).capacitance_nf.is_some() {
            return Ok(Vec::new());
        }
        let mut known: Vec<&str> = series.iter().map(|s| s.key.model.as_str()).collect();
        known.dedup();
        let nearest = known
            .iter()
            .max_by(|a, b| {
                strsim::jaro_winkler(&wanted, &a.to_lowercase())
                    .total_cmp(&strsim::jaro_winkler(&wanted, &b.to_lowercase()))
            })
            .copied()
            .unwrap_or("");
        return Err(Error::usage(
            format!(
                "--model: expected a model of the files, found {:?}; the nearest of {} is {nearest:?}",
                request.model,
                known.len()
            ),
            "name one of the files, or give --expect-nf, --applied-v and --frequency-hz for a model without history",
        ));
    }
    let tests: Vec<&str> = of_model.iter().map(|&n| series[n].key.test.key()).collect();
    Err(Error::usage(
        format!(
            "--test: expected one of the model's tests ({}), found {:?}",
            tests.join(", "),
            request.test.as_deref().unwrap_or("")
        ),
        "name one of them, or leave --test away for all",
    ))
}

/// The limits asked for that concern series `n`: those nearest to it where the model has several series.
fn tries_of(parts: &Parts<'_>, chosen: &[usize], n: usize, tries: &[f64]) -> Vec<f64> {
    let scale = |n: usize| {
        let evidence = &parts.verdicts[n].evidence;
        evidence.limit_ma().unwrap_or(evidence.setting.x50_ma)
    };
    let distance = |n: usize, x: f64| (x / scale(n)).ln().abs();
    tries
        .iter()
        .copied()
        .filter(|&x| chosen.iter().all(|&m| m == n || distance(n, x) <= distance(m, x)))
        .collect()
}

fn tolerance(request: &StudyRequest) -> f64 {
    request.tolerance_pct.unwrap_or(TOLERANCE_PCT) / 100.0
}

/// What is known of the circuit behind series `n`: capacitors carry AC only, and those of a model are stated
/// between the parts of its withstand test unless a kind of test is asked for.
fn circuit(parts: &Parts<'_>, n: usize, request: &StudyRequest) -> Option<Circuit> {
    let key = &parts.pass.series[n].key;
    let stated = request.expect_nf.or(parts.config.model(&key.model).capacitance_nf)?;
    let meant = request.test.is_some() || key.test == TestKind::AcWithstand;
    if key.test.is_dc() || key.current == Current::InPhase || !meant {
        return None;
    }
    let mut stations: Vec<u16> =
        parts.movement.series[n].readings.iter().map(|r| r.station).collect();
    stations.sort_unstable();
    stations.dedup();
    let all = facts(parts.pass);
    let leads = open_leads(parts.pass, &all, parts.config);
    let known: Vec<f64> = stations.iter().filter_map(|s| leads.at(*s, all[n])).collect();
    Some(Circuit {
        capacitance_nf: stated,
        tolerance: tolerance(request),
        applied_v: key.applied_v()?,
        frequency_hz: key.frequency_hz()?,
        leads_ma: ends(&known),
    })
}

fn ends(values: &[f64]) -> Option<(f64, f64)> {
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    Some((low, high))
}

fn measured(
    parts: &Parts<'_>,
    whole_report: &Review,
    request: &StudyRequest,
    chosen: &[usize],
    config: &Config,
) -> Result<Study> {
    let groups = limit_groups(parts.pass, parts.findings, parts.verdicts, config);
    let all_facts = facts(parts.pass);
    let leads = open_leads(parts.pass, &all_facts, config);
    let studies: Vec<LimitStudy> = chosen
        .par_iter()
        .map(|&n| {
            let moved = &parts.movement.series[n];
            let finding = &parts.findings.series[n];
            let asked = asked(parts.pass, n, moved, &leads, all_facts[n]);
            study_series(&Of {
                pass: parts.pass,
                n,
                moved,
                finding,
                asked: &asked,
                decided: &parts.verdicts[n],
                tries: &tries_of(parts, chosen, n, &request.tries),
                circuit: circuit(parts, n, request),
                group: groups.iter().find(|g| g.series.contains(&n)).map(|g| &g.band),
                config,
            })
        })
        .collect();
    let mut report = LimitsReport {
        schema: SCHEMA,
        name: parts.name.to_owned(),
        model: parts.pass.series[chosen[0]].key.model.clone(),
        from: Some(whole_report.from),
        to: Some(whole_report.to),
        rows: Some(whole_report.rows.clone()),
        series: studies.iter().map(|s| study_report(parts, whole_report, s)).collect(),
        calculated: None,
        limit_groups: groups
            .iter()
            .filter(|g| chosen.iter().any(|n| g.series.contains(n)))
            .map(|g| build::group_report(g.band.clone()))
            .collect(),
        notes: notes(parts, whole_report, chosen, request),
        settings: whole_report.settings.clone(),
        made: whole_report.made.clone(),
    };
    let mut files = notes_of_change(&mut report, &studies, request)?;
    files.extend(charts(parts, whole_report, &mut report, &studies));
    finish(report, files)
}

/// Change notes: one for every series whose limit is to be changed.
fn notes_of_change(
    report: &mut LimitsReport,
    studies: &[LimitStudy],
    request: &StudyRequest,
) -> Result<Vec<(String, Vec<u8>)>> {
    if let Some(to) = request.note_for {
        note_for(report, studies, to)?;
    }
    let alone = report.series.len() == 1;
    let mut files = Vec::new();
    let texts: Vec<Option<String>> = report
        .series
        .iter()
        .map(|s| s.note_to(request).map(|to| change_note::note(report, s, to)))
        .collect();
    for (s, text) in report.series.iter_mut().zip(texts) {
        let Some(text) = text else { continue };
        let path = if alone {
            "change-note.md".to_owned()
        } else {
            format!("change-note-{}.md", s.series.named.id)
        };
        files.push((path.clone(), text.into_bytes()));
        s.change_note = Some(path);
    }
    Ok(files)
}

impl StudyReport {
    /// The limit that its change note is for.
    fn note_to(&self, request: &StudyRequest) -> Option<f64> {
        match request.note_for {
            Some(to) => self
                .candidates
                .iter()
                .any(|c| near(c.limit_ma, to) && c.origins.contains(&"tried"))
                .then_some(to),
            None => self.recommendation.to_ma,
        }
    }
}

/// Equal but for rounding.
fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs()
}

/// Refuses a change note for a limit that is not workable.
fn note_for(report: &LimitsReport, studies: &[LimitStudy], to: f64) -> Result<()> {
    let place =
        report.series.iter().position(|s| s.candidates.iter().any(|c| near(c.limit_ma, to)));
    let (s, study) = match place {
        Some(n) => (&report.series[n], &studies[n]),
        None => (&report.series[0], &studies[0]),
    };
    let v = &s.series.verdict;
    let inside = v.band_low_ma.is_some_and(|low| to >= low * (1.0 - 1e-9))
        && v.band_high_ma.is_none_or(|high| to <= high * (1.0 + 1e-9));
    if inside {
        return Ok(());
    }
    let say = Wording::new(study.setting.x50_ma, study.setting.step_ma());
    let band = match (v.band_low_ma, v.band_high_ma) {
        (Some(low), Some(high)) => format!("{} to {}", say.current(low), say.estimate(high)),
        (Some(low), None) => format!("{} or more", say.current(low)),
        _ => "none is known".to_owned(),
    };
    Err(Error::usage(
        format!(
            "--note-for: expected a limit inside the workable band of {} ({band}), found {}",
            s.series.named.title,
            say.current(to)
        ),
        "no change note is written for a limit that rejects healthy units, lets a harmful leak pass or lies above a stated ceiling",
    ))
}

fn notes(
    parts: &Parts<'_>,
    whole_report: &Review,
    chosen: &[usize],
    request: &StudyRequest,
) -> Vec<String> {
    let titles: Vec<&str> =
        chosen.iter().map(|&n| whole_report.series[n].named.title.as_str()).collect();
    let mut notes: Vec<String> = whole_report
        .notes
        .iter()
        .filter(|n| titles.iter().any(|t| n.starts_with(&format!("{t}:"))))
        .cloned()
        .collect();
    let mut moved: Vec<String> = Vec::new();
    if let Ok(stations) = &parts.movement.stations {
        for (n, station) in stations.stations.iter().enumerate() {
            let used = chosen.iter().any(|&c| {
                parts.movement.series[c].readings.iter().any(|r| usize::from(r.station) == n)
            });
            moved.extend(station.moved.iter().filter(|_| used).map(|m| {
                format!(
                    "{} by {:+.2} % on {}",
                    parts.pass.plant.stations[n],
                    m.size_pct.value,
                    date_of(m.day)
                )
            }));
        }
    }
    if !moved.is_empty() {
        notes.push(format!(
            "the history is counted again with the readings as they were shown; a tester moved in it ({}): months before that would be counted otherwise at the corrected reading",
            moved.join(", ")
        ));
    }
    let stated = request.expect_nf.is_some()
        || parts.config.model(&parts.pass.series[chosen[0]].key.model).capacitance_nf.is_some();
    if !stated {
        notes.push(
            "the capacitance between the tested parts is not stated: whether every capacitor is fitted is not checked; give --expect-nf or capacitance_nf".to_owned(),
        );
    } else if request.expect_nf.is_some()
        && chosen.iter().all(|&n| circuit(parts, n, request).is_none())
    {
        notes.push(
            "no reading can be expected from the capacitance: that needs an AC test of total current with known voltage and frequency, and --test where it is not the withstand test".to_owned(),
        );
    }
    notes.sort();
    notes.dedup();
    notes
}

fn study_report(parts: &Parts<'_>, whole_report: &Review, s: &LimitStudy) -> StudyReport {
    let r = &s.recommendation;
    let volts = s.setting.applied_v;
    StudyReport {
        series: whole_report.series[s.series].clone(),
        recommendation: RecommendationReport {
            advice: r.advice.key(),
            to_ma: r.to_ma,
            tighter_ma: r.tighter_ma,
            sentence: r.sentence.clone(),
            because: r.because.clone(),
            blind_spot_mohm: r.blind_spot_mohm,
            loads: loads(r.loads.as_ref(), r.loads_for_ma, volts),
        },
        candidates: s.what_if.iter().map(|w| candidate(parts, w, volts)).collect(),
        rejected_unit: s.retests.map(|c| RejectedUnitReport {
            units: c.units,
            tests_each: c.tests_each,
            minutes_each: c.minutes_each,
        }),
        expected: s.expected.as_ref().map(|(circuit, x, compared)| {
            let say = parts.verdicts[s.series].wording;
            ExpectedReport {
                compared: compared.as_ref().map(|c| c.kind.key()),
                difference_pct: e(compared.as_ref().map(|c| &c.difference_pct)),
                difference_nf: compared.as_ref().map(|c| c.difference_nf),
                sentence: compared.as_ref().map_or_else(
                    || {
                        format!(
                            "A unit should read {}; no typical reading is known to set beside it.",
                            say.estimate(x.value_ma)
                        )
                    },
                    |c| c.sentence.clone(),
                ),
                ..expected_report(circuit, x)
            }
        }),
        ceiling_ma: s.setting.ceiling_ma,
        tester_range_ma: s.setting.tester_range_ma,
        leak_path_mohm: s.setting.leak_path_mohm,
        limit_step_ma: s.setting.step_ma(),
        strays_passed: s.strays_passed,
        change_note: None,
    }
}

fn expected_report(circuit: &Circuit, x: &expected::Expected) -> ExpectedReport {
    ExpectedReport {
        capacitance_nf: circuit.capacitance_nf,
        tolerance_pct: 100.0 * circuit.tolerance,
        value_ma: x.value_ma,
        low_ma: x.low_ma,
        high_ma: x.high_ma,
        compared: None,
        difference_pct: None,
        difference_nf: None,
        sentence: String::new(),
    }
}

fn load(l: &Load) -> LoadReport {
    LoadReport {
        resistance_mohm: l.resistance_kohm / 1e3,
        current_ma: l.current_ma,
        power_w: l.power_w,
    }
}

fn loads(
    proving: Option<&ProvingLoads>,
    limit_ma: Option<f64>,
    volts: Option<f64>,
) -> Option<LoadsReport> {
    let p = proving?;
    Some(LoadsReport {
        limit_ma: limit_ma?,
        applied_v: volts?,
        must_trip: load(&p.must_trip),
        must_pass: load(&p.must_pass),
    })
}

fn candidate(parts: &Parts<'_>, w: &WhatIf, volts: Option<f64>) -> CandidateReport {
    use crate::analysis::units::what_if::Would;
    let c = &w.candidate;
    let words: Vec<&str> = c.origins.iter().map(|o| o.words()).filter(|w| !w.is_empty()).collect();
    CandidateReport {
        limit_ma: c.limit_ma,
        origins: c.origins.iter().map(|o| o.key()).collect(),
        verdict: w.verdict.map(|v| v.key()),
        expected_reject_ppm: e(w.share.now.as_ref().map(|s| s.scaled(1e6)).as_ref()),
        expected_reject_ppm_at_horizon: w.share.at_horizon.map(|s| 1e6 * s),
        rejects_per_month: e(w.rejects_per_month.as_ref()),
        blind_spot_mohm: w.blind_spot_mohm,
        blind_spot_low_reader_mohm: w.blind_spot_low_reader_mohm,
        blind_spot: w.blind_spot.clone(),
        to_ceiling_ma: w.to_ceiling_ma,
        to_range_ma: w.to_range_ma,
        would_reject: whole(w.recount.sum(|m| m.rejected)),
        might_pass: whole(w.recount.sum(|m| m.might_pass)),
        strays_caught: w.recount.strays_caught,
        retests_per_month: w.retests_per_month,
        minutes_per_month: w.minutes_per_month,
        loads: loads(w.loads.as_ref(), Some(c.limit_ma), volts),
        months: w
            .recount
            .months
            .iter()
            .map(|m| RecountMonth {
                month: month_text(m.month),
                units: whole(m.units),
                tripped: whole(m.tripped),
                would_reject: whole(m.rejected),
                might_pass: whole(m.might_pass),
            })
            .collect(),
        units: w
            .recount
            .units
            .iter()
            .map(|u| AffectedUnit {
                would: match u.would {
                    Would::BeRejected => "would be rejected",
                    Would::MightPass => "might pass",
                },
                serial: u.serial.clone(),
                tested_at: time_text(u.time),
                station: parts.pass.plant.stations[usize::from(u.station)].clone(),
                ma: u.ma,
            })
            .collect(),
        origin_words: words.join(", "),
        verdict_words: w.verdict.map_or("not known", |v| v.words()),
    }
}

/// Charts of the study, drawn in parallel; a chart that cannot be drawn is a note.
fn charts(
    parts: &Parts<'_>,
    whole_report: &Review,
    report: &mut LimitsReport,
    studies: &[LimitStudy],
) -> Vec<(String, Vec<u8>)> {
    let mut jobs: Vec<(usize, &str, &str)> = Vec::new();
    for n in 0..studies.len() {
        jobs.push((n, "limits", "What does each limit cost, and what does it hide?"));
        jobs.push((n, "ladder", "Where does the limit lie?"));
        jobs.push((n, "distribution", "What do healthy units read, and where is the limit?"));
    }
    let drawn: Vec<_> = jobs
        .par_iter()
        .map(|&(n, name, _)| {
            let study = &studies[n];
            let title = style::printable(
                &whole_report.series[study.series].named.title,
                &format!("series {}", n + 1),
            );
            let chart = match name {
                "limits" => pictures::of_trade_off(parts, study, &title),
                "ladder" => pictures::of_limits(parts, whole_report, Some(&[study.series])),
                _ => pictures::of_distribution(parts, study.series, &title),
            };
            chart.and_then(|c| draw::png(&c))
        })
        .collect();
    let mut files = Vec::new();
    for s in &mut report.series {
        s.series.charts.clear();
    }
    for ((n, name, question), png) in jobs.into_iter().zip(drawn) {
        let of = &mut report.series[n].series;
        match png {
            Ok(png) => {
                let path = format!("charts/{}-{name}.png", of.named.id);
                of.charts.push((path.clone(), question.to_owned()));
                files.push((path, png));
            }
            Err(why) => {
                report.notes.push(format!("{}: no chart for \"{question}\": {why}", of.named.title))
            }
        }
    }
    report.notes.sort();
    files
}

/// The first band of a model without history.
fn calculated(
    whole: Option<(&Parts<'_>, &Review)>,
    request: &StudyRequest,
    config: &Config,
) -> Result<Study> {
    let model = config.model(&request.model);
    let missing = |what: &str, to_do: &str| {
        Err(Error::usage(
            format!("model {:?} has no history here: {what}, found none", request.model),
            to_do,
        ))
    };
    let Some(capacitance_nf) = request.expect_nf.or(model.capacitance_nf) else {
        return missing(
            "expected its capacitance",
            "give --expect-nf C (in nF), or files that hold the model",
        );
    };
    let Some(applied_v) = request.applied_v.or(model.required_v) else {
        return missing(
            "expected the test voltage",
            "give --applied-v V (rms), or required_v in the settings",
        );
    };
    let assumed = config.assumed("frequency_hz").and_then(|f| f.parse().ok());
    let Some(frequency_hz) = request.frequency_hz.or(assumed) else {
        return missing(
            "expected the frequency",
            "give --frequency-hz 50 or 60, or frequency_hz under [assume]",
        );
    };
    let test = match request.test.as_deref().map(|t| t.replace('_', " ")) {
        None => TestKind::AcWithstand,
        Some(t) if t == "ac withstand" => TestKind::AcWithstand,
        Some(t) if t == "leakage" => TestKind::Leakage,
        Some(other) => {
            return Err(Error::usage(
                format!(
                    "--test: expected \"ac withstand\" or \"leakage\" for a calculated band, found {other:?}"
                ),
                "capacitors carry no steady direct current: a DC limit needs measured units",
            ));
        }
    };
    // Leads and fixtures of the stations at work, scaled by voltage times frequency.
    let drive = applied_v * frequency_hz / 50_000.0;
    let known: Vec<f64> = whole.map_or_else(
        || config.open_lead_ma.values().map(|x| x * drive).collect(),
        |(p, _)| {
            let leads = open_leads(p.pass, &facts(p.pass), config);
            (0..p.pass.plant.stations.len())
                .filter_map(|n| leads.of_station(u16::try_from(n).ok()?))
                .map(|x| x * drive)
                .collect()
        },
    );
    let circuit = Circuit {
        capacitance_nf,
        tolerance: tolerance(request),
        applied_v,
        frequency_hz,
        leads_ma: ends(&known),
    };
    let Some(x) = expected::expected(&circuit) else {
        return missing("expected a circuit that carries current", "check the numbers");
    };
    let step_ma = model.limit_step_ma.or(config.limit_step_ma).unwrap_or(
        // Three digits of the expected reading: what a tester of this range lets one set.
        10_f64.powf(x.value_ma.log10().floor() - 2.0),
    );
    let setting = BandInput {
        x50_ma: x.value_ma,
        upper_now_ma: f64::INFINITY,
        upper_at_horizon_ma: None,
        adds: LeakAdds::AtRightAngles,
        applied_v: Some(applied_v),
        leak_path_mohm: model.leak_path_mohm,
        ceiling_ma: config.ceiling.get(test.key()).copied(),
        tester_range_ma: config.tester.range_ma,
        reading_step_ma: step_ma,
        limit_step_ma: Some(step_ma),
    };
    let band = expected::calculated(&circuit, &x, &setting, config);
    let suggested: Option<&Suggestion> = band.suggested.as_ref();
    let mut notes = vec![
        "the band is calculated from the circuit and not measured: it says nothing about how units of this model spread, and a limit set from it is provisional".to_owned(),
    ];
    if request.tolerance_pct.is_none() {
        notes.push(format!(
            "the tolerance of the capacitors is taken as {TOLERANCE_PCT} % (common practice, no source); give --tolerance-pct"
        ));
    }
    if !request.tries.is_empty() || request.note_for.is_some() {
        notes.push(
            "limits asked for are not studied: that needs measured units of the model".to_owned(),
        );
    }
    let chart = pictures::of_calculated(
        &style::printable(&request.model, "new model"),
        &setting,
        band.workable_ma,
        suggested.map(|s| s.limit_ma),
    )
    .and_then(|c| draw::png(&c));
    let mut files = Vec::new();
    let chart = match chart {
        Ok(png) => {
            let path = "charts/calculated-limits.png".to_owned();
            files.push((path.clone(), png));
            Some(path)
        }
        Err(why) => {
            notes.push(format!("no chart: {why}"));
            None
        }
    };
    let whole_report = whole.map(|(_, review)| review);
    let report = LimitsReport {
        schema: SCHEMA,
        name: request.name.clone(),
        model: request.model.clone(),
        from: None,
        to: None,
        rows: whole_report.map(|r| r.rows.clone()),
        series: Vec::new(),
        calculated: Some(CalculatedReport {
            test: test.key().replace(' ', "_"),
            applied_v,
            frequency_hz,
            expected: ExpectedReport {
                sentence: band.sentences.first().cloned().unwrap_or_default(),
                ..expected_report(&circuit, &x)
            },
            band_low_ma: band.workable_ma.map(|w| w.0),
            band_high_ma: band.workable_ma.map(|w| w.1).filter(|x| x.is_finite()),
            suggested_ma: suggested.map(|s| s.limit_ma),
            blind_spot_mohm: suggested
                .and_then(|s| blind_spot_mohm(&setting, s.limit_ma, x.value_ma)),
            units_for_provisional: band.units.0,
            units_for_verdict: band.units.1,
            units_without_reject: band.units.2,
            loads: loads(
                suggested.and_then(|s| s.proving.as_ref()),
                suggested.map(|s| s.limit_ma),
                Some(applied_v),
            ),
            sentences: band.sentences,
            limit_step_ma: step_ma,
            chart,
        }),
        limit_groups: Vec::new(),
        notes,
        settings: config.lines(),
        made: whole_report.map_or_else(
            || Made {
                version: env!("CARGO_PKG_VERSION").to_owned(),
                seed: config.seed,
                inputs: Vec::new(),
                failures: Vec::new(),
            },
            |r| r.made.clone(),
        ),
    };
    finish(report, files)
}

fn finish(report: LimitsReport, mut files: Vec<(String, Vec<u8>)>) -> Result<Study> {
    files.push(("summary.md".to_owned(), limit_page::page(&report).into_bytes()));
    files.push(("results.json".to_owned(), json::results(&report).into_bytes()));
    if report.calculated.is_none() {
        files.push((
            "units-affected.csv".to_owned(),
            tables::units_affected_csv(&report).into_bytes(),
        ));
    }
    files.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(Study { report, files })
}

/// What is printed when a study was written.
#[must_use]
pub fn closing(report: &LimitsReport, out: &std::path::Path) -> String {
    let mut text = String::new();
    for s in &report.series {
        text.push_str(&format!("{}: {}\n", s.series.named.title, s.recommendation.sentence));
    }
    if let Some(c) = &report.calculated {
        text.push_str(&format!("{}: calculated. {}\n", report.model, c.expected.sentence));
    }
    text.push_str(&format!("study: {}\n", out.join("summary.md").display()));
    text
}
