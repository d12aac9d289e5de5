//! Where does each series' limit stand between what healthy units read and what is allowed?

use super::axis::{decimals_of, number};
use super::style::printable;
use super::{Axis, Chart, ChartError, Heading, Layer, Role, Scale, Shape, Tick, at, rows};
use crate::review::Review;
use crate::verdict::cautions::WHO_DECIDES;
use crate::verdict::{Evidence, Verdict, VerdictKind};

/// Most rows of one picture: more cannot be read at half size.
pub const ROWS: usize = 20;

/// One series on the ladder; all readings in the unit of the ladder.
#[derive(Debug, Clone, PartialEq)]
pub struct Rung {
    /// Name of the series, for people.
    pub series: String,
    /// The verdict; `None` where no limit is known.
    pub verdict: Option<VerdictKind>,
    /// Typical reading: X50 on the one scale of the series.
    pub typical: f64,
    /// Healthy spread: 5 % at the station that reads least to 99.9 % at the one that reads most.
    pub healthy: (f64, f64),
    /// Whether stations read differently: then the spread is of several.
    pub of_stations: bool,
    /// Workable band.
    pub band: Option<(f64, f64)>,
    /// Something stated sets its upper end, and not a rule of thumb.
    pub proven: bool,
    /// High limit in force.
    pub limit: Option<f64>,
    /// Suggested limit.
    pub suggested: Option<f64>,
    /// Ceiling that the user's own standard sets.
    pub ceiling: Option<f64>,
    /// End of the tester's range.
    pub tester_range: Option<f64>,
}

/// What the limit ladder needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    /// Unit of all readings.
    pub unit: String,
    /// Which units and days, in words.
    pub period: String,
    /// One row each, top to bottom.
    pub rungs: Vec<Rung>,
    /// Series that have no row of their own: a strip below the others.
    pub others: Vec<Other>,
}

/// A series of the strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Other {
    /// The verdict; `None` where no limit is known.
    pub verdict: Option<VerdictKind>,
    /// Its limit in typical readings, where both are known.
    pub limit_times: Option<f64>,
}

impl Rung {
    /// The rung of one series, in mA: healthy units from X05 to the end of the tail that is in use. `None`
    /// where the body has no answer.
    pub fn new(series: String, evidence: &Evidence, verdict: &Verdict) -> Option<Self> {
        let (_, tail) = *evidence.answers().first()?;
        let setting = &evidence.setting;
        Some(Self {
            series,
            verdict: verdict.kind,
            typical: evidence.typical_ma,
            healthy: (evidence.x05_ma?, tail.quantile_ma),
            of_stations: evidence.holds_at.is_some(),
            band: verdict
                .band_low_ma
                .zip(verdict.band_high_ma)
                .filter(|b| b.0.is_finite() && b.1.is_finite()),
            proven: verdict.high_end_is_proven(),
            limit: evidence.high_limit_ma,
            suggested: verdict.suggested_ma(),
            ceiling: setting.ceiling_ma,
            tester_range: setting.tester_range_ma,
        })
    }
}

/// The ladder of the chosen series, in mA.
pub fn from(review: &Review, chosen: &[usize]) -> Ladder {
    let model = |n: usize| &review.series[n].named.key.model;
    let rung = |n: usize| {
        let key = &review.series[n].named.key;
        // A model without another series needs no more than its name.
        let alone = (0..review.series.len()).filter(|&m| model(m) == model(n)).count() == 1;
        let test = if alone { String::new() } else { format!(", {}", key.test.words()) };
        let name = printable(&format!("{}{test}", key.model), &format!("series {}", n + 1));
        let decided = &review.decided[n];
        Rung::new(name, &decided.evidence, &decided.limits.high)
    };
    Ladder {
        unit: "mA".to_owned(),
        period: format!("periods judged, up to {} (history from {})", review.to, review.from),
        rungs: chosen.iter().filter_map(|&n| rung(n)).collect(),
        others: Vec::new(),
    }
}

/// The same of the worst series, with all others as a strip.
pub fn of_worst(review: &Review, chosen: &[usize]) -> Ladder {
    let other = |n: usize| {
        let (evidence, high) = (&review.decided[n].evidence, &review.decided[n].limits.high);
        let times = evidence.high_limit_ma.map(|limit| limit / evidence.typical_ma);
        Other { verdict: high.kind, limit_times: times.filter(|t| t.is_finite() && *t > 0.0) }
    };
    let others = (0..review.series.len()).filter(|n| !chosen.contains(n)).map(other).collect();
    Ladder { others, ..from(review, chosen) }
}

/// The limit ladder: a row per series, all readings as multiples of that series' typical reading on a
/// logarithmic axis, so that microamperes and milliamperes can be compared; values in words at the edge.
///
/// # Errors
/// `NothingToShow` without rows whose typical reading is above zero; else those of [`Chart::check`].
pub fn chart(input: &Ladder) -> Result<Chart, ChartError> {
    super::finite(
        "a reading of the ladder",
        input.rungs.iter().flat_map(|r| {
            [r.typical, r.healthy.0, r.healthy.1]
                .into_iter()
                .chain(r.band.into_iter().flat_map(|b| [b.0, b.1]))
                .chain([r.limit, r.suggested, r.ceiling, r.tester_range].into_iter().flatten())
        }),
    )?;
    let rungs: Vec<&Rung> = input.rungs.iter().filter(|r| r.typical > 0.0).collect();
    if rungs.is_empty() {
        return Err(ChartError::NothingToShow { what: "series with a typical reading above zero" });
    }
    let all = rungs.iter().flat_map(|r| {
        [r.healthy.0, r.healthy.1, r.typical]
            .into_iter()
            .chain(r.band.into_iter().flat_map(|b| [b.0, b.1]))
            .chain([r.limit, r.suggested].into_iter().flatten())
            .map(|v| v / r.typical)
    });
    let limits = Axis::covering("times the typical reading", "", Scale::Log, all, 0.05);
    // Ceilings and tester ranges may lie far out, and bands would shrink beside them: shown up to twice the rest.
    let reach = rungs
        .iter()
        .flat_map(|r| far_marks(r))
        .filter(|v| *v < limits.high * 2.0)
        .fold(limits.high, |a, b| a.max(b * 1.05));
    let x = Axis { high: reach, ..limits };
    let x = x.clone().with_ticks(
        x.ticks(9).into_iter().map(|t| Tick { label: format!("{} ×", t.label), ..t }).collect(),
    );

    let strip = (!input.others.is_empty()).then_some(input.others.as_slice());
    let n = rungs.len() + usize::from(strip.is_some());
    let row = |i: usize| rows::place(n, i);
    let of_rung =
        |r: &&Rung| format!("{}\n{}", r.series.replace('\n', " "), in_words(r, &input.unit));
    let of_strip = strip.map(|all| format!("{} others\neach mark is one limit", all.len()));
    let names = rungs.iter().map(of_rung).chain(of_strip).collect();
    let y = rows::axis("series", 0.6, names);

    let mut layers = Vec::new();
    for (i, r) in rungs.iter().enumerate() {
        if let Some((from, to)) = r.band.filter(|b| b.0 <= b.1) {
            let (role, name) = Role::of_band(r.proven, false, "");
            layers.push(Layer::Span {
                role,
                name: Some(name),
                y: row(i),
                from: from / r.typical,
                to: to / r.typical,
                thickness: 40.0,
                shaded: true,
            });
        }
        layers.push(Layer::Span {
            role: Role::Reading,
            name: Some("healthy units".to_owned()),
            y: row(i),
            from: r.healthy.0 / r.typical,
            to: r.healthy.1 / r.typical,
            thickness: 16.0,
            shaded: false,
        });
    }
    let marks: [(&str, Role, Shape, Mark); 5] = [
        ("typical reading", Role::Typical, Shape::Disc, |r| Some(r.typical)),
        ("end of tester range", Role::Quiet, Shape::Square, |r| r.tester_range),
        ("ceiling", Role::Event, Shape::Down, |r| r.ceiling),
        ("limit in force", Role::Limit, Shape::Upright, |r| r.limit),
        ("suggested limit", Role::Suggested, Shape::Diamond, |r| r.suggested),
    ];
    for (name, role, shape, of) in marks {
        let points: Vec<_> = rungs
            .iter()
            .enumerate()
            .filter_map(|(i, r)| of(r).map(|v| at(v / r.typical, row(i))))
            .filter(|p| x.holds(p.x))
            .collect();
        if !points.is_empty() {
            layers.push(Layer::Points { role, name: Some(name.to_owned()), shape, points });
        }
    }
    let mut said = notes(&rungs, reach);
    if let Some(all) = strip {
        let (marks, beyond) = marks_of(all, &x, row(n - 1));
        said.extend(beyond);
        layers.push(marks);
    }
    let fit = strip.map(fitting);
    let beside = rungs.iter().map(|r| words(r.verdict).to_owned()).chain(fit).collect();
    let panel = rows::panel(y, layers, beside);
    let heading = Heading::new(title(&rungs, strip.is_some()), input.period.clone());
    let mut chart = Chart::new(heading, x, vec![panel], said)?;
    chart.height = 360 + 84 * u32::try_from(n).unwrap_or(200).clamp(2, 200);
    Ok(chart)
}

/// How many of the strip fit, in words.
fn fitting(all: &[Other]) -> String {
    format!("{} fit", all.iter().filter(|o| o.verdict == Some(VerdictKind::Fits)).count())
}

/// The limits of the strip at a height, and what is said where some lie beyond the axis.
fn marks_of(all: &[Other], x: &Axis, height: f64) -> (Layer, Option<String>) {
    let known = || all.iter().filter_map(|o| o.limit_times);
    let points: Vec<_> = known().filter(|t| x.holds(*t)).map(|t| at(t, height)).collect();
    let beyond = known().count() - points.len();
    let said = format!("Limits of {beyond} of the others lie beyond the axis.");
    let name = Some("limit in force".to_owned());
    let marks = Layer::Points { role: Role::Limit, name, shape: Shape::Upright, points };
    (marks, (beyond > 0).then_some(said))
}

/// What must be known to read it.
fn notes(rungs: &[&Rung], reach: f64) -> Vec<String> {
    let advice = rungs.iter().any(|r| r.suggested.is_some());
    let moving = rungs.iter().any(|r| r.verdict == Some(VerdictKind::Moving));
    let hidden = rungs.iter().flat_map(|r| far_marks(r)).any(|v| v > reach);
    let stations = rungs.iter().any(|r| r.of_stations);
    [
        (advice, WHO_DECIDES),
        (
            stations,
            "Typical readings are those of the middle station; healthy units and the band are of the stations that read \
             least and most.",
        ),
        (moving, "Of a product that moves the band is that of the time before."),
        (hidden, "Ceilings and ends of tester range that lie further to the right are not shown."),
    ]
    .into_iter()
    .filter(|(said, _)| *said)
    .map(|(_, note)| note.to_owned())
    .collect()
}

fn in_words(r: &Rung, unit: &str) -> String {
    let (times, unit) =
        if unit == "mA" && r.typical < 0.01 { (1000.0, "µA") } else { (1.0, unit) };
    // Three figures of the typical reading say where it lies.
    let figures = 2 - (r.typical * times).log10().floor().clamp(-6.0, 2.0) as i32;
    let decimals = decimals_of(10f64.powi(-figures));
    let typical = number(r.typical * times, decimals);
    match r.limit.map(|limit| limit * times) {
        Some(limit) => format!("typical {typical}, limit {} {unit}", number(limit, decimals)),
        None => format!("typical {typical} {unit}, no limit"),
    }
}

/// One reading of a row.
type Mark = fn(&Rung) -> Option<f64>;

fn words(verdict: Option<VerdictKind>) -> &'static str {
    verdict.map_or("no verdict", VerdictKind::words)
}

/// Series that are named in the title, at most; of more the verdicts are counted.
const NAMED: usize = 4;

/// The series whose limits do not fit, by name; counts of verdicts where they are many.
fn title(rungs: &[&Rung], worst: bool) -> String {
    if let ([one], false) = (rungs, worst) {
        return format!("{}: {}", one.series, words(one.verdict));
    }
    let mut kinds: Vec<(&str, Vec<&str>)> = Vec::new();
    for r in rungs {
        let (word, name) = (words(r.verdict), r.series.as_str());
        match kinds.iter_mut().find(|k| k.0 == word) {
            Some(kind) => kind.1.push(name),
            None => kinds.push((word, vec![name])),
        }
    }
    let fits = words(Some(VerdictKind::Fits));
    // What fits comes last.
    kinds.sort_by_key(|k| k.0 == fits);
    let named = rungs.iter().filter(|r| words(r.verdict) != fits).count() <= NAMED;
    let parts: Vec<String> = kinds
        .iter()
        .map(|(word, names)| {
            if named && *word != fits {
                format!("{word} {}", names.join(", "))
            } else {
                format!("{word} {}", names.len())
            }
        })
        .collect();
    let of = if worst { "the worst " } else { "" };
    format!("Limits of {of}{} series: {}", rungs.len(), parts.join("; "))
}

/// Ceiling and end of the tester's range, in multiples of the typical reading: both may lie far out.
fn far_marks(rung: &Rung) -> impl Iterator<Item = f64> {
    let typical = rung.typical;
    [rung.ceiling, rung.tester_range].into_iter().flatten().map(move |v| v / typical)
}
