//! Maximum likelihood on censored and interval readings; the sources are in the cases under
//! tests/data/checks, and in tests/reference/family_tails.py (mpmath 1.4.1, scipy 1.17.1).

use std::collections::BTreeMap;

use crate::support::checks::{assert_case, csv, load, numbers};
use crate::support::laws::textbook;
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::distribution::Family;
use leakdrift::stats::likelihood::{Fit, fit};
use leakdrift::stats::moments::Moments;
use leakdrift::stats::sample::{Observation, Sample};
use leakdrift::stats::special::ln_gamma;
use serde_json::Value;

fn failures_and_bounds(failures: &Value, bounds: &Value) -> Sample {
    let exact = numbers(failures).into_iter().map(|x| (Observation::Exact(x), 1.0));
    let above = numbers(bounds).into_iter().map(|x| (Observation::Above(x), 1.0));
    Sample::new(exact.chain(above)).expect("a sample")
}

fn rounded(readings: &[f64], step: f64) -> Vec<(Observation, f64)> {
    let interval = |x: &f64| Observation::Between { low: x - step / 2.0, high: x + step / 2.0 };
    readings.iter().map(|x| (interval(x), 1.0)).collect()
}

/// The fit's textbook parameters by name.
fn params(fit: &Fit) -> BTreeMap<&'static str, f64> {
    fit.law.params().into_iter().collect()
}

#[test]
fn weibull_and_lognormal_handbook() {
    let case = load("mle-weibull-handbook");
    let data = &case["data"];
    let sample = failures_and_bounds(&data["failures"], &data["right_censored"]);
    let weibull = fit(Family::Weibull, &sample, None).unwrap();
    let p = params(&weibull);
    assert_case(&case, "eta", p["scale"]);
    assert_case(&case, "beta", p["shape"]);
    assert_case(&case, "scipy_eta", p["scale"]);
    assert_case(&case, "scipy_beta", p["shape"]);
    // By hand: the moments of a Weibull are `scale^k Γ(1 + k/shape)`.
    let moment = |k: f64| (k * p["scale"].ln() + ln_gamma(1.0 + k / p["shape"])).exp();
    assert_case(&case, "mean", moment(1.0));
    assert_case(&case, "sd", (moment(2.0) - moment(1.0).powi(2)).sqrt());
    assert_case(&case, "loglik", weibull.ln_likelihood);
    assert_case(&case, "aic_weibull", 4.0 - 2.0 * weibull.ln_likelihood);
    let lognormal = fit(Family::Lognormal, &sample, None).unwrap();
    assert_case(&case, "lognormal_mu", params(&lognormal)["meanlog"]);
    assert_case(&case, "lognormal_sigma", params(&lognormal)["sdlog"]);
    assert_case(&case, "aic_lognormal", 4.0 - 2.0 * lognormal.ln_likelihood);
    // By hand, n = 20: AICc = AIC + 2 k (k + 1) / (n - k - 1), BIC = -2 ln L + k ln n with k = 2.
    assert_rel(weibull.aicc, 4.0 - 2.0 * weibull.ln_likelihood + 12.0 / 17.0, 1e-14);
    assert_rel(weibull.bic, 2.0 * 20_f64.ln() - 2.0 * weibull.ln_likelihood, 1e-14);
}

#[test]
fn shock_absorbers() {
    let case = load("mle-shock-absorber");
    let data = &case["data"];
    let sample = failures_and_bounds(&data["failures_km"], &data["right_censored_km"]);
    let weibull = fit(Family::Weibull, &sample, None).unwrap();
    let p = params(&weibull);
    assert_case(&case, "weibull_eta", p["scale"]);
    assert_case(&case, "weibull_beta", p["shape"]);
    assert_case(&case, "scipy_weibull_scale", p["scale"]);
    assert_case(&case, "scipy_weibull_shape", p["shape"]);
    assert_case(&case, "weibull_mu", p["scale"].ln());
    assert_case(&case, "weibull_sigma", 1.0 / p["shape"]);
    assert_case(&case, "weibull_loglik", weibull.ln_likelihood);
    assert_case(&case, "weibull_se_mu", weibull.covariance[0][0].sqrt());
    let lognormal = fit(Family::Lognormal, &sample, None).unwrap();
    assert_case(&case, "lognormal_mu", params(&lognormal)["meanlog"]);
    assert_case(&case, "lognormal_sigma", params(&lognormal)["sdlog"]);
    assert_case(&case, "lognormal_loglik", lognormal.ln_likelihood);
}

#[test]
fn ball_bearings() {
    let case = load("mle-ball-bearings");
    let lives = numbers(&case["data"]["x_million_rev"]);
    let sample = Sample::new(lives.into_iter().map(|x| (Observation::Exact(x), 1.0))).unwrap();
    let weibull = fit(Family::Weibull, &sample, None).unwrap();
    assert_case(&case, "weibull_beta", params(&weibull)["shape"]);
    assert_case(&case, "weibull_eta", params(&weibull)["scale"]);
    assert_case(&case, "weibull_loglik", weibull.ln_likelihood);
    let lognormal = fit(Family::Lognormal, &sample, None).unwrap();
    assert_case(&case, "lognormal_mu", params(&lognormal)["meanlog"]);
    assert_case(&case, "lognormal_sigma", params(&lognormal)["sdlog"]);
    assert_case(&case, "lognormal_loglik", lognormal.ln_likelihood);
}

#[test]
fn weibull_small_multiply_censored() {
    let case = load("mle-weibull-small-multiply");
    let data = &case["data"];
    let sample = failures_and_bounds(&data["failures"], &data["right_censored"]);
    let weibull = fit(Family::Weibull, &sample, None).unwrap();
    assert_case(&case, "beta", params(&weibull)["shape"]);
    assert_case(&case, "eta", params(&weibull)["scale"]);
    assert_case(&case, "loglik", weibull.ln_likelihood);
}

/// The exponential is no family of ours, but a Weibull whose shape is held at 1: its scale solves the
/// place's likelihood equation there. Checked on the score at the published scale, and its standard
/// error by the information.
#[test]
fn exponential_scale_is_where_the_score_of_a_weibull_of_shape_one_vanishes() {
    let case = load("mle-exponential-censored");
    let data = &case["data"];
    let sample = failures_and_bounds(&data["failures"], &data["right_censored"]);
    let score = |scale: f64| -> f64 {
        let law = textbook(Family::Weibull, 1.0, scale);
        let scores = leakdrift::stats::likelihood::scores(&law, &sample, None).unwrap();
        sample.lines().iter().zip(&scores).map(|(line, s)| line.count * s[0]).sum()
    };
    let (mut low, mut high) = (1.0_f64, 1000.0_f64);
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if score(middle) > 0.0 { low = middle } else { high = middle }
    }
    assert_case(&case, "scale", low);
    let step = 1e-5_f64;
    let information = -(score(low * step.exp()) - score(low / step.exp())) / (2.0 * step);
    assert_case(&case, "se", low / information.sqrt());
}

#[test]
fn smoked_fish() {
    let case = load("interval-smokedfish");
    let lines = csv("interval-smokedfish");
    let observations = lines.lines().skip(1).map(|line| {
        let (low, high) = line.split_once(',').expect("two cells");
        let log = |cell: &str| cell.parse::<f64>().ok().map(f64::log10);
        let observation = match (log(low), log(high)) {
            (None, Some(high)) => Observation::Below(high),
            (Some(low), None) => Observation::Above(low),
            (Some(low), Some(high)) => Observation::Between { low, high },
            (None, None) => unreachable!("a line has an edge"),
        };
        (observation, 1.0)
    });
    let sample = Sample::new(observations).unwrap();
    assert_eq!(sample.total(), 103.0);
    let count = |kind: fn(Observation) -> bool| -> f64 {
        let lines = sample.lines().iter().filter(|l| kind(l.observation));
        lines.map(|l| l.count).sum()
    };
    assert_case(&case, "n_exact", count(|o| matches!(o, Observation::Exact(_))));
    assert_case(&case, "n_left", count(|o| matches!(o, Observation::Below(_))));
    assert_case(&case, "n_right", count(|o| matches!(o, Observation::Above(_))));
    assert_case(&case, "n_interval", count(|o| matches!(o, Observation::Between { .. })));
    let normal = fit(Family::Normal, &sample, None).unwrap();
    assert_case(&case, "mean", params(&normal)["mean"]);
    assert_case(&case, "sd", params(&normal)["sd"]);
    assert_case(&case, "loglik", normal.ln_likelihood);
}

#[test]
fn four_intervals() {
    let case = load("interval-norm-four");
    let intervals = case["data"]["intervals"].as_array().unwrap();
    let sample = Sample::new(intervals.iter().map(|pair| {
        let edges = numbers(pair);
        (Observation::Between { low: edges[0], high: edges[1] }, 1.0)
    }))
    .unwrap();
    let normal = fit(Family::Normal, &sample, None).unwrap();
    assert_case(&case, "mean", params(&normal)["mean"]);
    assert_case(&case, "sd", params(&normal)["sd"]);
    assert_case(&case, "loglik", normal.ln_likelihood);
    assert_case(&case, "se_mean", normal.covariance[0][0].sqrt());
    for key in ["scipy_mean", "scipy_sd"] {
        case.leave_out(key, "a search that stopped short of the maximum, by 2e-5");
    }
}

#[test]
fn chest_girths() {
    let case = load("rounding-chest-quetelet");
    let data = &case["data"];
    let (centres, counts) = (numbers(&data["class_centre_in"]), numbers(&data["count"]));
    let plain = Moments::of(centres.iter().copied().zip(counts.iter().copied())).unwrap();
    assert_case(&case, "mean", plain.mean);
    assert_case(&case, "sd", plain.sd().unwrap());
    // Sheppard: rounding to whole inches has added a twelfth.
    let sheppard = (plain.population_variance() - 1.0 / 12.0).sqrt();
    assert_case(&case, "sheppard_sd", sheppard);
    let sample = Sample::new(
        centres
            .iter()
            .zip(counts)
            .map(|(x, count)| (Observation::Between { low: x - 0.5, high: x + 0.5 }, count)),
    )
    .unwrap();
    assert_case(&case, "n", sample.total());
    let normal = fit(Family::Normal, &sample, None).unwrap();
    let p = params(&normal);
    assert_case(&case, "interval_mle_mean", p["mean"]);
    assert_case(&case, "interval_mle_sd", p["sd"]);
    assert_case(&case, "interval_loglik", normal.ln_likelihood);
    assert_rel(p["sd"], sheppard, 1e-4);
}

/// Readings rounded to the grid: the interval fit returns the spread that was rounded, where the moments
/// of the rounded readings would return the larger one of the case.
#[test]
fn rounded_normal_population() {
    let case = load("rounding-normal-a");
    for h in [1.0, 0.5, 2.0] {
        let cells: Vec<(f64, f64)> = (-30..=30)
            .map(|k| {
                let x = f64::from(k) * h;
                let law = textbook(Family::Normal, 0.0, 1.0);
                let (low, high) = (x - h / 2.0, x + h / 2.0);
                (x, law.ln_likelihood(Observation::Between { low, high }).exp())
            })
            .collect();
        let rounded = Moments::of(cells.iter().copied()).unwrap();
        let key = |what: &str| format!("{what}[sigma=1,h={h},offset=0]");
        assert_case(&case, &key("mean"), rounded.mean);
        assert_case(&case, &key("variance"), rounded.population_variance());
        case.leave_out(&key("sheppard"), "a correction that nothing here makes");
        let sample = Sample::new(cells.iter().map(|&(x, p)| {
            (Observation::Between { low: x - h / 2.0, high: x + h / 2.0 }, 1000.0 * p)
        }))
        .unwrap();
        let normal = fit(Family::Normal, &sample, None).unwrap();
        assert_abs(params(&normal)["mean"], 0.0, 1e-9);
        assert_rel(params(&normal)["sd"], 1.0, 1e-9);
    }
}

#[test]
fn rounded_readings_with_trips() {
    let case = load("interval-trip-limit-constructed");
    let data = &case["data"];
    let readings = numbers(&data["readings_mA"]);
    let logs: Vec<f64> = readings.iter().map(|x| x.ln()).collect();
    let naive = Moments::of_values(&logs).unwrap().mean;
    assert_case(&case, "naive_meanlog_rounded_only", naive);
    let mut lines = rounded(&readings, data["resolution_mA"].as_f64().unwrap());
    let limit = data["trip_limit_mA"].as_f64().unwrap();
    lines.push((Observation::Above(limit), data["n_tripped"].as_f64().unwrap()));
    let lognormal = fit(Family::Lognormal, &Sample::new(lines).unwrap(), None).unwrap();
    assert_case(&case, "meanlog", params(&lognormal)["meanlog"]);
    assert_case(&case, "sdlog", params(&lognormal)["sdlog"]);
    assert_case(&case, "loglik", lognormal.ln_likelihood);
}

#[test]
fn coarse_readings() {
    let case = load("interval-coarse-constructed");
    let data = &case["data"];
    let readings = numbers(&data["readings_mA"]);
    let zeros = readings.iter().filter(|x| **x == 0.0).count();
    assert_case(&case, "n_zero", zeros as f64);
    let lines = rounded(&readings, data["resolution_mA"].as_f64().unwrap());
    let lognormal = fit(Family::Lognormal, &Sample::new(lines).unwrap(), None).unwrap();
    assert_case(&case, "meanlog", params(&lognormal)["meanlog"]);
    assert_case(&case, "sdlog", params(&lognormal)["sdlog"]);
    assert_case(&case, "loglik", lognormal.ln_likelihood);
}

/// Readings with step 0.1, two below 0.35 and three above 1.45; then the same truncated at 1.05.
/// First and second parameter and log-likelihood by tests/reference/family_tails.py.
#[test]
fn every_family_on_one_tally() {
    let counts = [3.0, 7.0, 14.0, 21.0, 25.0, 22.0, 17.0, 12.0, 8.0, 5.0, 4.0];
    let tally = |cut: Option<f64>| {
        let cells = counts.iter().enumerate().map(|(i, &count)| {
            let x = (4.0 + i as f64) / 10.0;
            (Observation::Between { low: x - 0.05, high: x + 0.05 }, count)
        });
        let bounds = [(Observation::Below(0.35), 2.0), (Observation::Above(1.45), 3.0)];
        let kept = cells.chain(bounds).filter(|(o, _)| cut.is_none_or(|cut| o.low() < cut - 0.01));
        Sample::new(kept.collect::<Vec<_>>()).unwrap()
    };
    let whole = [
        (Family::Normal, 0.871_579_803, 0.254_857_804, -332.935_965_458_05),
        (Family::Lognormal, -0.179_290_761, 0.306_927_105, -334.016_066_240_38),
        (Family::Gamma, 11.257_286_044, 0.077_581_545_1, -331.887_651_760_06),
        (Family::Weibull, 3.686_003_275, 0.964_613_289, -334.197_986_634_02),
        (Family::LogLogistic, 5.802_503_154, 0.844_841_237, -332.358_354_055_25),
        (Family::Gumbel, 0.751_318_070, 0.229_584_513, -334.455_049_664_51),
    ];
    let cut = [
        (Family::Normal, 0.821_909_039, 0.209_984_080, -207.060_626_549_87),
        (Family::Lognormal, -0.012_648_942, 0.396_851_914, -208.411_774_761_97),
        (Family::Gamma, 9.791_797_351, 0.094_050_204_3, -207.900_464_730_62),
        (Family::Weibull, 4.747_123_709, 0.875_006_446, -207.125_324_970_67),
        (Family::LogLogistic, 5.220_101_664, 0.874_263_189, -207.247_967_064_92),
        (Family::Gumbel, 0.835_561_854, 0.299_732_010, -207.877_288_427_15),
    ];
    for (truncated, wanted) in [(None, whole), (Some(1.05), cut)] {
        for (family, first, second, ln_likelihood) in wanted {
            let fit = fit(family, &tally(truncated), truncated).unwrap();
            let params = fit.law.params();
            // The simplex search of the reference leaves about 1e-7 standard errors.
            assert_abs(params[0].1, first, 3e-7 * first.abs().max(1.0));
            assert_abs(params[1].1, second, 3e-7 * second.abs().max(1.0));
            assert_rel(fit.ln_likelihood, ln_likelihood, 1e-12);
        }
    }
}

/// Log probabilities of intervals in the body and far out, by differences at 400 digits.
#[test]
fn intervals_keep_their_digits_in_the_tails() {
    let intervals = [(3.0, 3.001), (4.0, 4.5), (0.2, 0.201), (0.999, 1.001)];
    for (family, first, second, wanted) in [
        (
            Family::Normal,
            1.0,
            0.1,
            [
                -205.622_458_447_059_68,
                -454.321_243_956_343_2,
                -37.483_859_067_487_89,
                -4.830_978_205_188_375,
            ],
        ),
        (
            Family::Lognormal,
            0.0,
            0.25,
            [
                -17.197_698_080_147_826,
                -18.099_277_205_127_85,
                -25.490_943_650_354_17,
                -5.747_254_603_841_096,
            ],
        ),
        (
            Family::Gamma,
            16.0,
            0.0625,
            [
                -21.971_918_012_271_306,
                -29.256_789_571_984_12,
                -17.757_594_019_560_876,
                -5.752_462_259_759_506,
            ],
        ),
        (
            Family::Weibull,
            4.0,
            1.0,
            [-83.278_664_632_847_37, -256.0, -10.343_893_916_078_514, -5.828_316_070_633_223],
        ),
        (
            Family::LogLogistic,
            8.0,
            1.0,
            [
                -14.717_628_196_382_355,
                -11.584_253_394_632_82,
                -16.076_862_655_763_298,
                -5.521_465_917_849_746,
            ],
        ),
    ] {
        let law = textbook(family, first, second);
        for ((low, high), want) in intervals.into_iter().zip(wanted) {
            assert_rel(law.ln_likelihood(Observation::Between { low, high }), want, 1e-12);
        }
    }
    let gumbel = textbook(Family::Gumbel, 1.0, 0.1);
    for (low, high, want) in
        [(3.0, 3.001, -24.610_166_021_375_796), (4.0, 4.5, -30.006_760_749_449_536)]
    {
        assert_rel(gumbel.ln_likelihood(Observation::Between { low, high }), want, 1e-12);
    }
}
