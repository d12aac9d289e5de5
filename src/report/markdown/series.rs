//! The section of one series.

use std::fmt::Write;

use super::super::format::{address, anchor, currents_of, name, text};
use super::{band, findings, header, index, row, verdict_words};
use crate::analysis::body::describe::Which;
use crate::analysis::body::distribution::OneSided;
use crate::analysis::body::seen::OverLimit;
use crate::day::date_of;
use crate::review::ReviewedSeries;
use crate::stats::estimate::Estimate;
use crate::verdict::cautions::WHO_DECIDES;
use crate::words::currents::Currents;
use crate::words::numbers::{
    NONE, UNBOUNDED, a_month, by_interval, change_pct, counted, expected_share, grouped, interval,
    measured, ppm, share_pct, value, with_interval,
};
use crate::words::time::date;
use crate::words::{resistance, three_digits};

/// Writes the section of `s`: verdict first, then numbers, then what they were made of.
pub(super) fn section(page: &mut String, s: &ReviewedSeries) {
    let show = currents_of(s);
    line!(page, "<a id=\"{}\"></a>\n", anchor(&s.named.id));
    line!(page, "### {}\n", name(&s.named.title));
    verdict(page, s, &show);
    conditions(page, s);
    limits(page, s, &show);
    numbers(page, s, &show);
    low_side(page, s, &show);
    findings::stations(page, s, &show);
    findings::strays(page, s, &show);
    findings::retests(page, s);
    findings::drift(page, s, &show);
    findings::months(page, s, &show);
    if let Some(d) = &s.distribution {
        findings::body(page, d);
    }
    for (file, question) in &s.charts {
        line!(page, "![{}]({})\n", text(question), address(file));
    }
}

fn verdict(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let v = &s.verdict;
    line!(page, "**{}.** {}\n", text(&verdict_words(v)), text(&v.high.sentence()));
    if let Some(suggested) = &v.high.suggested {
        let _ = write!(page, "**Suggested limit: {}.**", show.set(suggested.limit_ma));
        if let Some(loads) = &suggested.proving {
            let (trip, pass) = (loads.must_trip, loads.must_pass);
            let _ = write!(
                page,
                " Loads that prove it at the station: {trip} must trip, {pass} must pass."
            );
        }
        line!(page, " {WHO_DECIDES}\n");
    }
    for reason in v.reasons() {
        line!(page, "- {}", text(&reason));
    }
    line!(page);
}

fn conditions(page: &mut String, s: &ReviewedSeries) {
    let key = &s.named.key;
    let mut said = vec![key.test.key().to_owned()];
    let mut add =
        |x: Option<f64>, unit: &str| said.extend(x.map(|x| format!("{} {unit}", three_or_more(x))));
    add(key.applied_v(), "V");
    add(key.frequency_hz(), "Hz");
    add(key.dwell_s(), "s dwell");
    if !key.test_point.is_empty() {
        said.push(format!("test point {}", name(&key.test_point)));
    }
    if !key.step.is_empty() {
        said.push(format!("test {} of the sequence", name(&key.step)));
    }
    said.push(format!("{} current", key.current.words()));
    if key.units_together > 1 {
        said.push(format!("{} units on one tester at once", key.units_together));
    }
    line!(page, "Tested: {}.", said.join(", "));
    let o = &s.named.outcomes;
    let arcs = match o.arc {
        0 => String::new(),
        n => format!(" (of these {} by arc)", grouped(n)),
    };
    let listed = |counts: &[(u64, String)]| -> String {
        let some = counts.iter().filter(|(n, _)| *n > 0);
        some.map(|(n, what)| format!("{} {what}", grouped(*n))).collect::<Vec<_>>().join(", ")
    };
    let kinds = listed(&[
        (o.over_limit, "over limit".to_owned()),
        (o.under_limit, "under limit".to_owned()),
        (o.breakdown, format!("breakdown{arcs}")),
        (o.failed, "of no known class".to_owned()),
    ]);
    let kinds = if kinds.is_empty() { kinds } else { format!(": {kinds}") };
    let apart = listed(&[
        (o.not_completed, "not completed".to_owned()),
        (o.not_reached, "not reached".to_owned()),
    ]);
    let apart = if apart.is_empty() { apart } else { format!(" Not among the units: {apart}.") };
    line!(
        page,
        "Units: {} ({} in the month under review), each by its first completed test; {} passed, {} failed{kinds}.{apart}\n",
        grouped(s.named.units),
        grouped(s.named.units_this_month),
        grouped(o.pass),
        grouped(o.failed_in_all),
    );
}

/// A setting as it was set: whole numbers whole, others with three digits.
fn three_or_more(x: f64) -> String {
    if x.fract() == 0.0 && x.abs() < 1e9 { format!("{x:.0}") } else { three_digits(x) }
}

fn limits(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let (v, l) = (&s.verdict, &s.limit.history);
    let set = |x: Option<f64>, none: &str| x.map_or_else(|| none.to_owned(), |x| show.set(x));
    header(page, &["limit", ""]);
    let by_station = l.changes.iter().any(|c| c.station.is_some());
    let since = l.since.map_or_else(String::new, |d| {
        let at = if by_station { "at the last of its stations" } else { "in force" };
        format!(", {at} since {}", date(date_of(d)))
    });
    row(page, &["high limit", &format!("{}{since}", set(l.now.high_ma(), "not known"))]);
    row(page, &["low limit", &set(l.now.low_ma(), "none")]);
    row(page, &["workable band for the high limit", &band(v, show)]);
    let low = match (v.low.from_ma, v.low.to_ma) {
        (Some(a), Some(b)) => format!("{} to {}", show.set(a), show.set(b)),
        (Some(a), None) => format!("from {}", show.set(a)),
        (None, Some(b)) => format!("up to {}", show.set(b)),
        (None, None) => "not known".to_owned(),
    };
    row(page, &["workable low limit", &low]);
    row(page, &["reading with no unit connected", &set(s.limit.open_lead_ma, "not known")]);
    let open = match v.low.open_lead_passes {
        Some(true) => "**would pass**",
        Some(false) => "would be found",
        None => "not known",
    };
    row(page, &["an unconnected lead", open]);
    let blind = v.high.blind_spot_mohm.filter(|x| x.is_finite()).map_or_else(
        || "not known".to_owned(),
        |r| {
            let r = resistance(r);
            format!("{r}: a steady leak path of {r} or more would still pass; this says nothing about a gap that only flashes over")
        },
    );
    row(page, &["blind spot", &blind]);
    let j = &v.high.judged;
    row(page, &["period judged", &format!("{} to {}", date(j.from), date(j.to))]);
    let (seen, apart) = (&s.seen, s.seen.counted_apart);
    let apart = if apart > 0 {
        format!(", {} of them counted apart: failures of their lot stand out", grouped(apart))
    } else {
        String::new()
    };
    row(page, &["tested in that time", &format!("{}{apart}", counted(seen.units, "unit"))]);
    row(
        page,
        &["judged", &format!("{} with a reading, see [words](#words)", counted(j.units, "unit"))],
    );
    if let Some(n) = v.high.units_needed {
        row(page, &["units that would decide", &format!("about {}", grouped(n))]);
    }
    line!(page);
    if l.changes.len() > 1 {
        line!(page, "Limits in force:\n");
        header(page, &["from", "high limit", "low limit", "station"]);
        for c in &l.changes {
            let station = c.station.as_ref().map_or_else(|| "all".to_owned(), |n| name(n));
            row(
                page,
                &[
                    &date(date_of(c.day)),
                    &set(c.limits.high_ma(), "not known"),
                    &set(c.limits.low_ma(), "none"),
                    &station,
                ],
            );
        }
        line!(page);
    }
}

/// A line of the table of estimates; none where there is no estimate.
fn estimate(
    page: &mut String,
    what: &str,
    e: Option<&Estimate>,
    show: impl Fn(f64) -> String + Copy,
) {
    if let Some(e) = e {
        let level = share_pct(e.level);
        row(page, &[what, &value(e, show), &interval(e, show), &level, &text(&e.method)]);
    }
}

/// The same with the digits that the interval leaves.
fn rounded(
    page: &mut String,
    what: &str,
    e: Option<&Estimate>,
    show: impl Fn(f64) -> String + Copy,
) {
    estimate(page, what, e.map(by_interval).as_ref(), show);
}

/// The bounds that the verdict compares with, by their sides.
fn bounds(page: &mut String, bounds: Option<&OneSided>, ma: impl Fn(f64) -> String) {
    let Some(b) = bounds else { return };
    let end = |x: Option<f64>| x.map_or_else(|| UNBOUNDED.to_owned(), &ma);
    let level = format!("{} each", share_pct(b.level));
    let both = format!("lower {}, upper {}", end(b.lower_ma), end(b.upper_ma));
    row(page, &["its one-sided bounds, which the verdict uses", NONE, &both, &level, NONE]);
}

fn numbers(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let ma = |x: f64| show.estimate(x);
    header(page, &["number", "value", "interval, two-sided", "level", "method"]);
    match &s.distribution {
        None => {
            row(page, &["healthy body", "not described: see [notes](#notes)", NONE, NONE, NONE])
        }
        Some(d) => {
            estimate(
                page,
                "typical reading: half of the healthy units stay under",
                d.x50_ma.as_ref(),
                ma,
            );
            estimate(page, "5 % stay under", d.x05_ma.as_ref(), ma);
            estimate(page, "95 % stay under", d.x95_ma.as_ref(), ma);
            estimate(page, "99 % stay under", d.x99_ma.as_ref(), ma);
            estimate(page, "99.865 % stay under", d.x99_865_ma.as_ref(), ma);
            let used = |which: Which| {
                if d.tail.in_use == Some(which) { ", in use" } else { "" }
            };
            let apart = format!(
                "all but the accepted share stay under, strays apart{}",
                used(Which::Apart)
            );
            estimate(page, &apart, d.tail.apart_ma.as_ref(), ma);
            let together =
                format!("the same, every reading taken as healthy{}", used(Which::Together));
            estimate(page, &together, d.tail.together_ma.as_ref(), ma);
            bounds(page, d.tail.bounds.as_ref(), ma);
            rounded(
                page,
                "share beyond what the healthy body explains",
                d.tail.excess_share.as_ref(),
                share_pct,
            );
        }
    }
    if let Some(c) = &s.capability {
        estimate(
            page,
            &format!("{} {} against the high limit", c.index.words(), text(c.index.sign())),
            Some(&c.value),
            index(&c.value),
        );
    }
    if let Some(e) = &s.expected_reject_ppm {
        let (shown, level) = (expected_share(e), share_pct(e.level));
        let interval = shown.interval.as_deref().unwrap_or(NONE);
        let what = "healthy units expected over the limit";
        row(page, &[what, &shown.value, interval, &level, &text(&e.method)]);
    }
    let seen = |what: &str, of: &OverLimit| {
        format!("{what}: {} of {}", grouped(of.over_limit), grouped(of.under_this_limit))
    };
    let all = &s.seen.all;
    rounded(page, &seen("units seen over the limit", all), all.reject_ppm.as_ref(), ppm);
    if let Some(rest) = &s.seen.without_them {
        let what = seen("the same without the units counted apart", rest);
        rounded(page, &what, rest.reject_ppm.as_ref(), ppm);
    }
    let rejects = s.verdict.high.rejects_per_month.as_deref();
    rounded(page, "healthy units expected over the limit a month", rejects, a_month);
    estimate(
        page,
        "between two tests of one unit: standard deviation",
        s.retests.repeatability_ma.as_ref(),
        ma,
    );
    line!(page);
    let reasons = s.distribution.iter().flat_map(|d| &d.tail.approximate);
    for why in reasons {
        line!(page, "> Approximate. {}\n", why.words());
    }
}

/// One line about the low limit; none where there is none.
fn low_side(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let Some((low, limit)) = s.low_side.as_ref().zip(s.limit.history.now.low_ma()) else {
        return;
    };
    let expected = low.expected_reject_ppm.as_ref().map_or_else(
        || "how many healthy units lie below it is not known".to_owned(),
        |share| format!("healthy units expected below it {}", expected_share(share)),
    );
    let index = low.value.as_ref().map_or_else(String::new, |e| {
        let (what, sign) = (low.index.words(), text(low.index.sign()));
        format!("; {what} {sign} {}", with_interval(e, index(e)))
    });
    let seen = match (low.observed_rejects, low.observed_units) {
        (Some(0), Some(units)) => format!("no unit of {}", grouped(units)),
        (Some(n), Some(units)) => format!("{} of {}", counted(n, "unit"), grouped(units)),
        _ => "not known".to_owned(),
    };
    let share = low
        .observed_reject_ppm
        .as_ref()
        .map_or_else(String::new, |e| format!(", {}", measured(e, ppm)));
    line!(
        page,
        "Low limit {}: {expected}{index}. Seen below it: {seen}{share}; as a rule an open lead, an open switch or a missing part, not a healthy unit.\n",
        show.set(limit)
    );
}

/// A change of a tester or product, with its interval.
pub(super) fn change(e: &Estimate) -> String {
    with_interval(e, change_pct)
}
