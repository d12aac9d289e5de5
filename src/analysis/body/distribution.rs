//! The healthy body as it is told: its families, what healthy units read, and the two answers about the tail.
//!
//! Takes a [`Healthy`] body and what separates its groups; gives plain numbers in milliamperes, each with its
//! interval, in the shape of `results.json`.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use crate::analysis::body::approximate::Approximate;
use crate::analysis::body::describe::Which;
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::day::date_of;
use crate::movement::GroupSplit;
use crate::stats::average::Average;
use crate::stats::estimate::Estimate;

/// The healthy body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Distribution {
    /// Family with the largest weight.
    pub family: String,
    /// All families.
    pub families: Vec<FamilyFit>,
    /// Goodness of fit.
    pub goodness: Goodness,
    /// 5 % quantile.
    pub x05_ma: Option<Estimate>,
    /// Median.
    pub x50_ma: Option<Estimate>,
    /// 95 % quantile.
    pub x95_ma: Option<Estimate>,
    /// 99 % quantile.
    pub x99_ma: Option<Estimate>,
    /// 99.865 % quantile.
    pub x99_865_ma: Option<Estimate>,
    /// 1 or 2.
    pub groups: u8,
    /// What separates two groups.
    pub split_by: Option<String>,
    /// First day of the group that came later; `None` where both are there from the first day.
    pub second_group_since: Option<NaiveDate>,
    /// Levels of that group, by name.
    #[serde(skip)]
    pub came_later: Vec<String>,
    /// The two answers about the tail.
    pub tail: TailAnswers,
    /// Why this answer is in use, in words.
    pub in_use_because: String,
}

/// One family of the average.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FamilyFit {
    /// Name.
    pub name: &'static str,
    /// Corrected Akaike criterion; `None` where the fit failed.
    pub aicc: Option<f64>,
    /// Its weight in the average.
    pub weight: f64,
    /// Parameters by name.
    pub params: BTreeMap<&'static str, f64>,
    /// How the search ended.
    pub stopped: String,
}

/// Goodness of fit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Goodness {
    /// Anderson–Darling with bootstrap.
    pub p_value: Option<f64>,
    /// Largest gap between fitted and observed distribution, a fraction of 1.
    pub largest_gap: Option<f64>,
}

/// The two answers about the tail.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TailAnswers {
    /// The one in use; `None` where none counts.
    #[serde(serialize_with = "in_use")]
    pub in_use: Option<Which>,
    /// 1 − a quantile with strays kept out.
    pub apart_ma: Option<Estimate>,
    /// 1 − a quantile with every reading taken as healthy.
    pub together_ma: Option<Estimate>,
    /// One-sided bounds of the answer in use, which the verdict compares with; `None` where none counts.
    pub bounds: Option<OneSided>,
    /// Share beyond what the body explains.
    pub excess_share: Option<Estimate>,
    /// Why the numbers hold less often than their level says, where simulation shows it; else empty.
    pub approximate: Vec<Approximate>,
}

/// Two one-sided bounds: each holds by itself with its level. The interval between them holds with less.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OneSided {
    /// Lower bound, mA; `None` where the data give none.
    pub lower_ma: Option<f64>,
    /// Upper bound, mA.
    pub upper_ma: Option<f64>,
    /// Confidence level of each.
    pub level: f64,
}

fn in_use<S: Serializer>(which: &Option<Which>, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(which.map_or("none", Which::key))
}

impl Distribution {
    /// Describes a healthy body.
    #[must_use]
    pub fn new(healthy: &Healthy, goodness: Goodness, split: Option<&GroupSplit>) -> Self {
        let body = &healthy.body;
        let tail = |t: &Option<TailNumbers>| t.as_ref().map(|t| t.quantile_ma.clone());
        let [x05_ma, x50_ma, x95_ma, x99_ma, x99_865_ma] = healthy.quantiles.clone();
        Self {
            family: body.average.best().fit.law.family().name().to_owned(),
            families: families(&body.average),
            goodness,
            x05_ma,
            x50_ma,
            x95_ma,
            x99_ma,
            x99_865_ma,
            groups: if split.is_some() || body.groups.is_some() { 2 } else { 1 },
            split_by: split.map(|s| s.split.factor.clone()),
            second_group_since: split.and_then(|s| s.since).map(date_of),
            came_later: split.map_or_else(Vec::new, |s| s.came_later.clone()),
            tail: TailAnswers {
                in_use: healthy.in_use.as_ref().ok().copied(),
                apart_ma: tail(&healthy.apart),
                together_ma: tail(&healthy.together),
                bounds: healthy.tail_in_use().map(|t| OneSided {
                    lower_ma: Some(t.lower_ma).filter(|x| x.is_finite()),
                    upper_ma: Some(t.upper_ma).filter(|x| x.is_finite()),
                    level: body.level,
                }),
                excess_share: Some(body.excess.share.clone()),
                approximate: body.approximate(healthy.accepted_share),
            },
            in_use_because: match &body.in_use {
                Ok((_, because)) => because.words().to_owned(),
                Err(reason) => reason.to_string(),
            },
        }
    }
}

fn families(average: &Average) -> Vec<FamilyFit> {
    let fitted = average.fits.iter().map(|w| FamilyFit {
        name: w.fit.law.family().name(),
        aicc: Some(w.fit.aicc),
        weight: w.weight,
        params: w.fit.law.params().into_iter().collect(),
        stopped: w.fit.stopped.text().to_owned(),
    });
    let failed = average.failed.iter().map(|(family, why)| FamilyFit {
        name: family.name(),
        aicc: None,
        weight: 0.0,
        params: BTreeMap::new(),
        stopped: why.to_string(),
    });
    fitted.chain(failed).collect()
}
