//! What does each limit cost, and what does it hide?

use super::axis::{counted, decimals_of, number};
use super::unit::Unit;
use super::{Along, Axis, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, at};
use crate::stats::estimate::Estimate;
use crate::verdict::calculated::CalculatedBand;
use crate::verdict::candidate::Origin;
use crate::verdict::limit::Verdict;
use crate::verdict::limit_study::LimitStudy;
use crate::verdict::suggest::blind_spot_mohm;

/// One limit along the row.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The limit.
    pub limit: f64,
    /// Healthy units rejected per million; all its numbers finite.
    pub rejected_ppm: Option<Estimate>,
    /// Lowest resistance of a steady leak that passes in a typical unit, MΩ.
    pub blind_mohm: Option<f64>,
    /// The same in a unit that reads low, MΩ.
    pub blind_low_mohm: Option<f64>,
}

/// What the chart needs to know; currents in the unit named.
#[derive(Debug, Clone, PartialEq)]
pub struct TradeOff {
    /// Name of the series, for people.
    pub series: String,
    /// The recommendation, in a few words.
    pub answer: String,
    /// Which units and days, in words.
    pub period: String,
    /// Unit of all currents.
    pub unit: String,
    /// Step in which limits are set, for the decimals.
    pub step: f64,
    /// Limits in ascending order.
    pub row: Vec<Place>,
    /// Healthy units that may be rejected, per million.
    pub accepted_ppm: f64,
    /// Workable band; its upper end may be missing.
    pub band: Option<(f64, Option<f64>)>,
    /// The band is that of the time before a rise.
    pub before_rise: bool,
    /// Something stated sets the upper end of the band, and not a rule of thumb.
    pub proven: bool,
    /// Limit in force.
    pub limit: Option<f64>,
    /// Suggested limit.
    pub suggested: Option<f64>,
    /// Limits that the user asks for.
    pub tried: Vec<f64>,
    /// Ceiling of the user's own standard.
    pub ceiling: Option<f64>,
    /// End of the tester's range.
    pub range: Option<f64>,
    /// Smallest harmful leak path, MΩ.
    pub leak_path_mohm: Option<f64>,
}

impl TradeOff {
    /// Expected rejects and blind spot of one series against its limit.
    pub fn of_study(series: &str, study: &LimitStudy, verdict: &Verdict) -> Self {
        let unit = Unit::of(study.typical_ma);
        let of = |ma: f64| unit.of_ma(ma);
        let finite = |x: &f64| x.is_finite();
        let bounded = |e: &Estimate| [e.value, e.low, e.high].iter().all(finite);
        let judged = &verdict.judged;
        Self {
            series: series.to_owned(),
            answer: verdict.answer(),
            period: format!(
                "judged: {}, {} to {}",
                counted(judged.units, "unit"),
                judged.from,
                judged.to
            ),
            unit: unit.name.to_owned(),
            step: of(study.limit_step_ma),
            row: study
                .curve
                .iter()
                .map(|p| Place {
                    limit: of(p.limit_ma),
                    rejected_ppm: p.share.as_ref().map(|s| s.scaled(1e6)).filter(bounded),
                    blind_mohm: p.blind_spot_mohm.filter(finite),
                    blind_low_mohm: p.blind_spot_low_reader_mohm.filter(finite),
                })
                .collect(),
            accepted_ppm: 1e6 * study.accepted_share,
            band: verdict.band_low_ma.map(|low| (of(low), verdict.band_high_ma.map(of))),
            before_rise: verdict.rising.is_some(),
            proven: verdict.high_end_is_proven(),
            limit: verdict.limit_ma.map(of),
            suggested: verdict.suggested_ma().map(of),
            tried: study
                .candidates
                .iter()
                .filter(|c| c.origins.contains(&Origin::Tried))
                .map(|c| of(c.limit_ma))
                .collect(),
            ceiling: study.ceiling_ma.map(of),
            range: study.tester_range_ma.map(of),
            leak_path_mohm: study.leak_path_mohm,
        }
    }

    /// Blind spots of a model that is calculated and not measured.
    pub fn of_calculated(model: String, band: &CalculatedBand) -> Self {
        let setting = &band.setting;
        let x50 = setting.x50_ma;
        let unit = Unit::of(x50);
        let of = |ma: f64| unit.of_ma(ma);
        let high = band.workable_ma.map(|b| b.1).filter(|high| high.is_finite());
        let end = high.unwrap_or(2.0 * x50).max(1.2 * x50);
        Self {
            series: model,
            answer: "calculated from its circuit, not measured".to_owned(),
            period: format!(
                "{} V, typical unit by its capacitance",
                setting.applied_v.unwrap_or(0.0)
            ),
            unit: unit.name.to_owned(),
            step: of(setting.step_ma()),
            row: (1..=60)
                .map(|k| x50 + (1.05 * end - x50) * f64::from(k) / 60.0)
                .map(|limit| Place {
                    limit: of(limit),
                    rejected_ppm: None,
                    blind_mohm: blind_spot_mohm(setting, limit, x50),
                    blind_low_mohm: None,
                })
                .collect(),
            accepted_ppm: 0.0,
            band: band.workable_ma.map(|(low, _)| (of(low), high.map(of))),
            before_rise: false,
            proven: band.band.upper_set_by.is_proven(),
            limit: None,
            suggested: band.suggested.as_ref().map(|s| of(s.limit_ma)),
            tried: Vec::new(),
            ceiling: setting.ceiling_ma.map(of),
            range: setting.tester_range_ma.map(of),
            leak_path_mohm: setting.leak_path_mohm,
        }
    }
}

/// Fewer rejects than this per million are drawn at the lower edge: no line makes so many units.
const LEAST_PPM: f64 = 1.0;

/// Expected rejects above and the blind spot below, against the limit, with band and limits marked on both.
///
/// # Errors
/// `NothingToShow` without a place that has a number; else those of [`Chart::check`].
pub fn chart(input: &TradeOff) -> Result<Chart, ChartError> {
    let marks = || {
        let band = input.band.iter().flat_map(|b| [Some(b.0), b.1]);
        band.chain([input.limit, input.suggested]).flatten().chain(input.tried.iter().copied())
    };
    super::finite("a limit", marks().chain([input.ceiling, input.range].into_iter().flatten()))?;
    super::finite(
        "a number of a limit",
        input.row.iter().flat_map(|p| {
            let rejects = p.rejected_ppm.as_ref().map_or([0.0; 3], |r| [r.value, r.low, r.high]);
            rejects
                .into_iter()
                .chain([p.limit])
                .chain([p.blind_mohm, p.blind_low_mohm].into_iter().flatten())
        }),
    )?;
    let (Some(first), Some(last)) = (input.row.first(), input.row.last()) else {
        return Err(ChartError::NothingToShow { what: "limits" });
    };
    let decimals = decimals_of(input.step);
    let show = |v: f64| format!("{} {}", number(v, decimals), input.unit);
    let x = Axis::new("high limit", &input.unit, Scale::Linear, first.limit, last.limit);
    let mut panels = Vec::new();
    panels.extend(rejects(input, &x));
    panels.extend(blind_spots(input, &x));
    let Some(top) = panels.first_mut() else {
        return Err(ChartError::NothingToShow { what: "rejects or blind spots" });
    };
    top.layers.extend(rules(input, &x, Some(&show)));
    if let Some(below) = panels.get_mut(1) {
        below.layers.extend(rules(input, &x, None));
    }
    let mut notes = Vec::new();
    if input.row.iter().any(|p| p.rejected_ppm.is_some()) {
        notes.push(format!(
            "Rejects below {} per million are drawn at the lower edge.",
            number(LEAST_PPM, 0)
        ));
    }
    notes.push("A blind spot says nothing about a gap that only flashes over.".to_owned());
    if input.before_rise {
        notes.push(
            "The product rises: the band is that of the time before, and no limit above the one in force is proposed."
                .to_owned(),
        );
    }
    for (what, at) in [("ceiling", input.ceiling), ("end of the tester's range", input.range)] {
        if let Some(at) = at.filter(|at| !x.holds(*at)) {
            notes.push(format!("The {what}, {}, lies beyond the edge.", show(at)));
        }
    }
    let heading = Heading::about(&input.series, &input.answer, &input.period);
    let mut chart = Chart::new(heading, x, panels, notes)?;
    chart.height += 300;
    Ok(chart)
}

fn zone(input: &TradeOff, x: &Axis) -> Option<Layer> {
    let (low, high) = input.band?;
    let (from, to) = (low.max(x.low), high.unwrap_or(x.high).min(x.high));
    let (role, name) = Role::of_band(input.proven, input.before_rise, "");
    (from <= to).then_some(Layer::Zone { role, name: Some(name), from, to })
}

fn rejects(input: &TradeOff, x: &Axis) -> Option<Panel> {
    let known: Vec<(f64, &Estimate)> =
        input.row.iter().filter_map(|p| Some((p.limit, p.rejected_ppm.as_ref()?))).collect();
    if known.len() < 2 {
        return None;
    }
    let held = |v: f64| v.clamp(LEAST_PPM, 1e6);
    let line = |of: fn(&Estimate) -> f64| -> Vec<Point> {
        known.iter().map(|(l, r)| at(*l, held(of(r)))).collect()
    };
    let most = known.iter().map(|k| k.1.high).fold(1_000.0, f64::max);
    let y = Axis::new(
        "healthy units rejected per million",
        "",
        Scale::Log,
        LEAST_PPM,
        held(most) * 2.0,
    );
    let mut layers: Vec<Layer> = zone(input, x).into_iter().collect();
    layers.extend([
        Layer::Band {
            role: Role::Fit,
            name: Some("interval of those rejected".to_owned()),
            low: line(|r| r.low),
            high: line(|r| r.high),
        },
        Layer::Line {
            role: Role::Fit,
            name: Some("healthy units rejected".to_owned()),
            dash: Dash::Solid,
            points: line(|r| r.value),
        },
        Layer::Rule {
            role: Role::Quiet,
            dash: Dash::Dotted,
            along: Along::Level,
            at: input.accepted_ppm,
            label: format!("accepted: {}", number(input.accepted_ppm, 0)),
        },
    ]);
    Some(Panel { x: None, y, layers, beside: Vec::new(), share: 1.0 })
}

fn blind_spots(input: &TradeOff, x: &Axis) -> Option<Panel> {
    let line = |of: fn(&Place) -> Option<f64>| -> Vec<Point> {
        input.row.iter().filter_map(|p| Some(at(p.limit, of(p)?))).collect()
    };
    let (typical, low_reader) = (line(|p| p.blind_mohm), line(|p| p.blind_low_mohm));
    if typical.len() < 2 {
        return None;
    }
    // Next to the typical reading the curve of a typical unit runs off to infinity.
    let shown = typical.iter().skip(typical.len() / 12).chain(&low_reader).map(|p| p.y);
    let y = Axis::covering(
        "steady leak path that still passes",
        "MΩ",
        Scale::Log,
        shown.chain(input.leak_path_mohm),
        0.08,
    );
    let mut layers: Vec<Layer> = zone(input, x).into_iter().collect();
    layers.push(Layer::Line {
        role: Role::Stray,
        name: Some("leak path, typical unit".to_owned()),
        dash: Dash::Solid,
        points: typical,
    });
    if low_reader.len() > 1 {
        layers.push(Layer::Line {
            role: Role::Stray,
            name: Some("leak path, unit that reads low".to_owned()),
            dash: Dash::Dashed,
            points: low_reader,
        });
    }
    if let Some(mohm) = input.leak_path_mohm {
        layers.push(Layer::Rule {
            role: Role::Quiet,
            dash: Dash::Dotted,
            along: Along::Level,
            at: mohm,
            label: format!("stated: {} MΩ", number(mohm, decimals_of(mohm / 100.0).min(3))),
        });
    }
    Some(Panel { x: None, y, layers, beside: Vec::new(), share: 0.8 })
}

/// Upright lines at the limits; with their words where `show` is given.
fn rules(input: &TradeOff, x: &Axis, show: Option<&dyn Fn(f64) -> String>) -> Vec<Layer> {
    let mut marks = vec![
        ("limit in force", Role::Limit, Dash::Solid, input.limit),
        ("suggested", Role::Suggested, Dash::Dashed, input.suggested),
        ("ceiling", Role::Event, Dash::DashDot, input.ceiling),
        ("end of range", Role::Quiet, Dash::DashDot, input.range),
    ];
    marks.extend(input.tried.iter().map(|t| ("asked for", Role::Other, Dash::Dotted, Some(*t))));
    marks
        .into_iter()
        .filter_map(|(what, role, dash, place)| {
            let place = place.filter(|p| x.holds(*p))?;
            Some(Layer::Rule {
                role,
                dash,
                along: Along::Upright,
                at: place,
                label: show.map_or_else(String::new, |show| format!("{what} {}", show(place))),
            })
        })
        .collect()
}
