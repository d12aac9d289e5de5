//! The limit study of one model: which of its series are meant, what is asked of them, and which notes belong.
//!
//! Takes a request and what a review found, gives the [`Study`] that pages are made from. Beside `review`, since
//! it leads the same rooms to another page: analysis is asked about other limits, verdict decides, report shows.

use std::path::PathBuf;

use rayon::prelude::*;

use crate::analysis::units::leads::{OpenLeads, open_leads};
use crate::analysis::{asked, no_such_model};
use crate::config::Config;
use crate::day::date_of;
use crate::error::{Error, Result};
use crate::movement::facts;
use crate::report::limit_study::{Study, render};
use crate::review::limit_study::{LimitsReport, SCHEMA, StudyReport};
use crate::review::{Made, Review, notes};
use crate::series::{Current, Pass, TestKind};
use crate::verdict::band::BandInput;
use crate::verdict::calculated::{CalculatedBand, calculated};
use crate::verdict::cautions::ALL;
use crate::verdict::expected::{Circuit, expected};
use crate::verdict::limit_study::{LimitStudy, Studied, study as study_series};
use crate::verdict::physics::LeakAdds;

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

/// What a model with history is studied from.
#[derive(Debug, Clone, Copy)]
pub struct Whole<'a> {
    /// The pass.
    pub pass: &'a Pass,
    /// What was found and decided.
    pub review: &'a Review,
    /// Settings.
    pub config: &'a Config,
}

/// Tolerance of capacitors where none is stated, per cent: common practice, no source.
const TOLERANCE_PCT: f64 = 10.0;

/// The study of the model asked for.
///
/// # Errors
/// No series of the model and no circuit to calculate it from; a number asked for that cannot be meant; a
/// change note for a limit outside the workable band.
pub fn study(whole: Option<&Whole<'_>>, request: &StudyRequest, config: &Config) -> Result<Study> {
    check(request)?;
    // The limit of the note is one of those looked at.
    let mut request = request.clone();
    request.tries.extend(request.note_for);
    let request = &request;
    let chosen =
        whole.map_or_else(|| Ok(Vec::new()), |whole| judged(whole, choose(whole, request)?))?;
    match whole {
        Some(whole) if !chosen.is_empty() => measured(whole, request, &chosen),
        _ => new_model(whole, request, config),
    }
}

fn check(request: &StudyRequest) -> Result<()> {
    let twice = |n: &usize| request.tries[..*n].contains(&request.tries[*n]);
    if let Some(n) = (0..request.tries.len()).find(twice) {
        return Err(Error::usage(
            format!("--try: expected different limits, in mA, found {} twice", request.tries[n]),
            "a comma parts limits: write a limit with a decimal point, like 5.5",
        ));
    }
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
fn choose(whole: &Whole<'_>, request: &StudyRequest) -> Result<Vec<usize>> {
    let wanted = request.model.trim().to_lowercase();
    let series = &whole.pass.series;
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
        if whole.config.model(&request.model).capacitance_nf.is_some() {
            return Ok(Vec::new());
        }
        let mut known: Vec<&str> = series.iter().map(|s| s.key.model.as_str()).collect();
        known.dedup();
        return Err(Error::usage(
            no_such_model(&request.model, &known),
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

/// Those of the chosen series that are judged at all.
fn judged(whole: &Whole<'_>, mut chosen: Vec<usize>) -> Result<Vec<usize>> {
    let some = !chosen.is_empty();
    chosen.retain(|n| !whole.review.decided[*n].limits.high.is_withheld());
    match some && chosen.is_empty() {
        true => Err(Error::usage(
            format!(
                "no series of the model can be judged: {}",
                whole.review.first.misread_lines().join(" ")
            ),
            "put that right, and run again",
        )),
        false => Ok(chosen),
    }
}

/// The limits asked for that concern series `n`: those nearest to it where the model has several series.
fn tries_of(whole: &Whole<'_>, chosen: &[usize], n: usize, tries: &[f64]) -> Vec<f64> {
    let scale = |n: usize| {
        let evidence = &whole.review.decided[n].evidence;
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
fn circuit(
    whole: &Whole<'_>,
    leads: &OpenLeads,
    n: usize,
    request: &StudyRequest,
) -> Option<Circuit> {
    let key = &whole.pass.series[n].key;
    let stated = request.expect_nf.or(key.settings(whole.config).capacitance_nf)?;
    let meant = request.test.is_some() || key.test == TestKind::AcWithstand;
    if key.test.is_dc() || key.current == Current::InPhase || !meant {
        return None;
    }
    let stations = &whole.review.moved.series[n].used_at;
    let known: Vec<f64> = stations
        .iter()
        .filter_map(|s| leads.at(*s, whole.review.findings.series[n].facts))
        .collect();
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

/// The study of a model with history.
fn measured(whole: &Whole<'_>, request: &StudyRequest, chosen: &[usize]) -> Result<Study> {
    let all_facts = facts(whole.pass);
    let leads = open_leads(whole.pass, &all_facts, whole.config);
    let circuits: Vec<Option<Circuit>> =
        chosen.iter().map(|&n| circuit(whole, &leads, n, request)).collect();
    let shared = |n: usize| whole.review.shared_limits.iter().find(|g| g.series.contains(&n));
    let studies: Vec<LimitStudy> = chosen
        .par_iter()
        .zip(&circuits)
        .map(|(&n, circuit)| {
            let moved = &whole.review.moved.series[n];
            study_series(&Studied {
                pass: whole.pass,
                n,
                moved,
                finding: &whole.review.findings.series[n],
                asked: &asked(whole.pass, n, moved, &leads, all_facts[n]),
                decided: &whole.review.decided[n],
                tries: &tries_of(whole, chosen, n, &request.tries),
                circuit: *circuit,
                group: shared(n).map(|g| &g.band),
                config: whole.config,
            })
        })
        .collect();
    let can_expect = circuits.iter().any(Option::is_some);
    let series: Vec<StudyReport> = studies
        .into_iter()
        .map(|study| StudyReport {
            series: whole.review.series[study.series].clone(),
            study,
            change_note: None,
        })
        .collect();
    if let Some(to) = request.note_for {
        refuse_note(&series, to)?;
    }
    let of_model = |n: &usize| chosen.contains(n);
    let report = LimitsReport {
        schema: SCHEMA,
        cautions: ALL,
        name: whole.review.name.clone(),
        model: whole.pass.series[chosen[0]].key.model.clone(),
        first: whole.review.first.clone(),
        from: Some(whole.review.from),
        to: Some(whole.review.to),
        rows: Some(whole.review.rows.clone()),
        notes: notes(whole, &series, chosen, request, can_expect),
        series,
        calculated: None,
        limit_groups: whole
            .review
            .shared_limits
            .iter()
            .filter(|g| g.series.iter().any(of_model))
            .map(|g| g.band.clone())
            .collect(),
        settings: whole.review.settings.clone(),
        ceilings: whole.review.ceilings.clone(),
        made: whole.review.made.clone(),
    };
    Ok(render(report, Some(whole.review), request.note_for))
}

/// Refuses a change note for a limit that is not workable.
fn refuse_note(series: &[StudyReport], to: f64) -> Result<()> {
    let s = series.iter().find(|s| s.study.at(to).is_some()).unwrap_or(&series[0]);
    let verdict = &s.series.verdict.high;
    if verdict.serves(to) {
        return Ok(());
    }
    let say = verdict.say;
    if verdict.rising.is_some() {
        let spares = verdict.rising.and_then(|r| r.spares_today_ma);
        let least = spares.map_or_else(
            || "what healthy units read today is not known".to_owned(),
            |ma| {
                format!(
                    "it would have to be at least {}, which spares what healthy units read today",
                    say.current(ma)
                )
            },
        );
        return Err(Error::usage(
            format!(
                "--note-for: expected a limit that lowers the one in force, since {} is rising, found {}; {least}",
                s.series.named.title,
                say.current(to)
            ),
            "a limit never follows a drift: find what changed, do not raise the limit",
        ));
    }
    let band = match (verdict.band_low_ma, verdict.band_high_ma) {
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

/// What a reader of the study must know: the notes of its series, testers that moved, the circuit.
fn notes(
    whole: &Whole<'_>,
    series: &[StudyReport],
    chosen: &[usize],
    request: &StudyRequest,
    can_expect: bool,
) -> Vec<String> {
    let mut notes: Vec<String> = series
        .iter()
        .flat_map(|s| {
            let n = s.study.series;
            let (moved, finding) =
                (&whole.review.moved.series[n], &whole.review.findings.series[n]);
            notes::of_series(&s.series.named.title, moved, finding)
        })
        .collect();
    let mut moved: Vec<String> = Vec::new();
    if let Ok(stations) = &whole.review.moved.stations {
        for (n, station) in stations.stations.iter().enumerate() {
            let used = chosen.iter().any(|&c| {
                whole.review.moved.series[c].used_at.iter().any(|s| usize::from(*s) == n)
            });
            moved.extend(station.moved.iter().filter(|_| used).map(|m| {
                format!(
                    "{} by {:+.2} % on {}",
                    whole.pass.plant.stations[n],
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
    let model = whole.pass.series[chosen[0]].key.settings(whole.config);
    if request.expect_nf.or(model.capacitance_nf).is_none() {
        notes.push(
            "the capacitance between the tested parts is not stated: whether every capacitor is fitted is not checked; give --expect-nf or capacitance_nf".to_owned(),
        );
    } else if request.expect_nf.is_some() && !can_expect {
        notes.push(
            "no reading can be expected from the capacitance: that needs an AC test of total current with known voltage and frequency, and --test where it is not the withstand test".to_owned(),
        );
    }
    notes.sort();
    notes.dedup();
    notes
}

/// The first band of a model without history.
fn new_model(whole: Option<&Whole<'_>>, request: &StudyRequest, config: &Config) -> Result<Study> {
    let band = calculate(whole, request, config)?;
    let mut notes = vec![
        "the band is calculated from the circuit and not measured: it says nothing about how units of this model spread, and a limit set from it is provisional".to_owned(),
    ];
    if request.tolerance_pct.is_none() {
        notes.push(format!(
            "the tolerance of the capacitors is taken as {TOLERANCE_PCT} % (common practice, no source); give --tolerance-pct"
        ));
    }
    if !request.tries.is_empty() {
        notes.push(
            "limits asked for are not studied: that needs measured units of the model".to_owned(),
        );
    }
    let report = LimitsReport {
        schema: SCHEMA,
        cautions: ALL,
        name: request.name.clone(),
        model: request.model.clone(),
        first: whole.map(|w| w.review.first.clone()).unwrap_or_default(),
        from: None,
        to: None,
        rows: whole.map(|w| w.review.rows.clone()),
        series: Vec::new(),
        calculated: Some(band),
        limit_groups: Vec::new(),
        notes,
        settings: config.lines(),
        ceilings: config.ceiling.all().collect(),
        made: whole.map_or_else(
            || Made {
                version: env!("CARGO_PKG_VERSION").to_owned(),
                seed: config.seed,
                inputs: Vec::new(),
                side_files: Vec::new(),
                failures: Vec::new(),
            },
            |w| w.review.made.clone(),
        ),
    };
    Ok(render(report, whole.map(|w| w.review), None))
}

/// The band of a new model, from what the request and the settings say of its circuit.
fn calculate(
    whole: Option<&Whole<'_>>,
    request: &StudyRequest,
    config: &Config,
) -> Result<CalculatedBand> {
    let model = config.model(&request.model);
    let missing = |what: &str, to_do: &str| {
        Error::usage(
            format!("model {:?} has no history here: {what}, found none", request.model),
            to_do,
        )
    };
    let capacitance_nf = request.expect_nf.or(model.capacitance_nf).ok_or_else(|| {
        missing(
            "expected its capacitance",
            "give --expect-nf C (in nF), or files that hold the model",
        )
    })?;
    let applied_v = request.applied_v.or(model.required_v).ok_or_else(|| {
        missing(
            "expected the test voltage",
            "give --applied-v V (rms), or required_v in the settings",
        )
    })?;
    let assumed = config.assumed("frequency_hz").and_then(|f| f.parse().ok());
    let frequency_hz = request.frequency_hz.or(assumed).ok_or_else(|| {
        missing(
            "expected the frequency",
            "give --frequency-hz 50 or 60, or frequency_hz under [assume]",
        )
    })?;
    let test = test_of(request)?;
    // Leads and fixtures of the stations at work, scaled by voltage times frequency.
    let drive = applied_v * frequency_hz / 50_000.0;
    let known: Vec<f64> = whole.map_or_else(
        || config.open_lead_ma.values().map(|x| x * drive).collect(),
        |p| {
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
    let x = expected(&circuit)
        .ok_or_else(|| missing("expected a circuit that carries current", "check the numbers"))?;
    let step_ma = model.limit_step_ma.or(config.limit_step_ma).unwrap_or(
        // Three digits of the expected reading: what a tester of this range lets one set.
        10_f64.powf(x.value_ma.log10().floor() - 2.0),
    );
    let setting = BandInput {
        x50_ma: x.value_ma,
        upper_now_ma: f64::INFINITY,
        of_step_ma: 0.0,
        adds: LeakAdds::AtRightAngles,
        applied_v: Some(applied_v),
        leak_path_mohm: model.leak_path_mohm,
        other_leak_path: None,
        ceiling_ma: config.ceiling.ma(test.key()),
        tester_range_ma: config.tester.range_ma,
        reading_step_ma: step_ma,
        limit_step_ma: Some(step_ma),
    };
    Ok(calculated(test, &circuit, &x, &setting, config))
}

/// The kind of test that a calculated band is for.
fn test_of(request: &StudyRequest) -> Result<TestKind> {
    let asked = request.test.as_deref().map(|t| t.replace('_', " "));
    [TestKind::AcWithstand, TestKind::Leakage]
        .into_iter()
        .find(|kind| asked.as_deref().unwrap_or(TestKind::AcWithstand.key()) == kind.key())
        .ok_or_else(|| {
            Error::usage(
                format!(
                    "--test: expected \"ac withstand\" or \"leakage\" for a calculated band, found {:?}",
                    asked.unwrap_or_default()
                ),
                "capacitors carry no steady direct current: a DC limit needs measured units",
            )
        })
}
