//! Special functions in both tails. References: tests/reference/special_functions.py (mpmath 1.4.1,
//! quadrature and roots at 400 digits), unless a line says otherwise.

use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::special::{
    LN_SQRT_2_PI, beta_quantile, beta_reg, chi_square_quantile, chi_square_sf, digamma,
    gamma_ln_cdf, gamma_ln_sf, gamma_quantile, gamma_upper_quantile, ln_diff_exp, ln_gamma,
    ln_sum_exp, normal_cdf, normal_ln_cdf, normal_ln_pdf, normal_ln_sf, normal_quantile, normal_sf,
    student_t_quantile, student_t_sf,
};

#[test]
fn normal_tails() {
    for (z, want) in [
        (1.0, -1.841_021_645_009_263_5),
        (5.0, -15.064_998_393_988_726),
        (10.0, -53.231_285_150_512_47),
        (38.0, -726.557_216_018_820_1),
        (100.0, -5_005.524_208_694_205),
        (-3.0, -0.001_350_809_964_748_193_8),
    ] {
        assert_rel(normal_ln_sf(z), want, 1e-13);
        assert_rel(normal_ln_cdf(-z), want, 1e-13);
        if z < 30.0 {
            assert_rel(normal_sf(z).ln(), want, 1e-13);
            assert_rel(normal_cdf(-z), want.exp(), 1e-12);
        }
    }
    // Far beyond: ln sf = -z^2/2 - ln z - ln sqrt(2 pi) - 1/z^2 (the first terms of Mills' ratio).
    assert_rel(normal_ln_sf(1e6), -5e11 - 1e6_f64.ln() - 0.918_938_533_204_672_7, 1e-14);
    assert_rel(LN_SQRT_2_PI, (2.0 * std::f64::consts::PI).sqrt().ln(), 1e-15);
    assert_rel(normal_ln_pdf(2.0), -2.0 - LN_SQRT_2_PI, 1e-15);
}

#[test]
fn normal_quantiles() {
    for (p, want) in [
        (1e-300, -37.047_096_299_361_2),
        (1e-20, -9.262_340_089_798_408),
        (0.00135, -2.999_976_992_703_393),
        (0.3, -0.524_400_512_708_040_8),
    ] {
        assert_rel(normal_quantile(p), want, 1e-14);
    }
    assert_abs(normal_quantile(0.5), 0.0, 1e-16);
    assert_rel(normal_quantile(0.7), 0.524_400_512_708_040_8, 1e-14);
    assert!(normal_quantile(-0.1).is_nan() && normal_quantile(f64::NAN).is_nan());
    assert_eq!(normal_quantile(1.0), f64::INFINITY);
}

#[test]
fn student() {
    assert_rel(student_t_sf(2.5, 5.0), 0.027_245_049_671_188_12, 1e-12);
    assert_rel(student_t_sf(-2.5, 5.0), 1.0 - 0.027_245_049_671_188_12, 1e-13);
    assert_rel(student_t_sf(40.0, 19.0), 4.153_878_599_669_215e-20, 1e-12);
    assert_rel(student_t_sf(3.0, 200.0), 0.001_521_523_556_952_951_4, 1e-11);
    for (p, df, want) in [
        (0.975, 5.0, 2.570_581_835_636_315_5),
        (0.975, 19.0, 2.093_024_054_408_309_8),
        (0.999, 3.0, 10.214_531_852_407_387),
        (0.95, 12.0, 1.782_287_555_649_32),
        (0.975, 1000.0, 1.962_339_080_826_408_5),
        // By hand: with one degree of freedom, tan(pi (p - 1/2)) = 1; with two, (2p-1)/sqrt(2p(1-p)).
        (0.75, 1.0, 1.0),
        (0.9, 2.0, 0.8 / 0.18_f64.sqrt()),
    ] {
        assert_rel(student_t_quantile(p, df), want, 1e-12);
        assert_rel(student_t_quantile(1.0 - p, df), -want, 1e-12);
    }
    // Normal quantile plus its first correction (z^3 + z) / (4 df) (Abramowitz & Stegun 26.7.5).
    let z = 1.959_963_984_540_054_f64;
    for df in [1e7, 1e9, f64::INFINITY] {
        assert_rel(student_t_quantile(0.975, df), z + (z.powi(3) + z) / (4.0 * df), 1e-11);
    }
    assert_eq!(student_t_quantile(0.5, 7.0), 0.0);
    assert!(student_t_quantile(0.9, -1.0).is_nan());
}

#[test]
fn gamma_tails() {
    for (shape, x, cdf, sf) in [
        (2.5, 1.0, -1.891_436_407_618_233, -0.163_525_275_594_650_34),
        (0.3, 1e-5, -3.345_705_137_671_657, -0.035_871_104_401_809_79),
        (50.0, 30.0, -7.563_815_824_707_172, -0.000_519_026_133_311_341_5),
    ] {
        assert_rel(gamma_ln_cdf(shape, x), cdf, 1e-12);
        assert_rel(gamma_ln_sf(shape, x), sf, 1e-12);
    }
    assert_rel(gamma_ln_sf(2.5, 900.0), -890.079_424_522_295_2, 1e-13);
    assert_rel(gamma_ln_sf(400.0, 900.0), -179.769_511_354_23, 1e-13);
    assert_rel(gamma_ln_cdf(400.0, 60.0), -422.600_871_009_233_7, 1e-13);
    // By hand: shape 1 is exponential.
    for x in [1e-310, 1e-3, 1.0, 700.0, 1e5] {
        assert_rel(gamma_ln_sf(1.0, x), -x, 1e-12);
    }
}

#[test]
fn gamma_quantiles() {
    assert_rel(gamma_upper_quantile(2.5, 1e-300), 700.320_292_826_513_4, 1e-13);
    assert_rel(gamma_upper_quantile(4.0, 0.001), 13.062_240_779_188_07, 1e-13);
    assert_rel(gamma_upper_quantile(400.0, 1e-30), 674.580_976_219_384, 1e-13);
    assert_rel(gamma_quantile(2.5, 1e-12), 2.562_321_748_415_268e-5, 1e-12);
    assert_rel(gamma_quantile(30.0, 0.25), 26.146_908_291_887_557, 1e-13);
    // By hand: exponential, and chi-square with two degrees of freedom is twice it.
    assert_rel(gamma_upper_quantile(1.0, 1e-300), 1e300_f64.ln(), 1e-13);
    assert_rel(gamma_quantile(1.0, 1e-300), 1e-300, 1e-12);
    assert_rel(chi_square_quantile(0.95, 2.0), 2.0 * 20_f64.ln(), 1e-13);
    assert_rel(chi_square_sf(2.0 * 20_f64.ln(), 2.0), 0.05, 1e-13);
    assert_eq!(gamma_quantile(2.0, 0.0), 0.0);
    assert_eq!(gamma_upper_quantile(2.0, 0.0), f64::INFINITY);
    // A tiny shape: the answer, about p^(1/shape), is under the smallest double.
    assert_eq!(gamma_quantile(0.001, 0.1), 0.0);
}

#[test]
fn beta_functions() {
    // By hand: a polynomial, sum_{j>=3} C(9, j) 0.2^j 0.8^(9-j).
    assert_rel(beta_reg(3.0, 7.0, 0.2), 0.261_802_496, 1e-13);
    assert_rel(beta_quantile(3.0, 7.0, 0.025), 0.074_854_631_419_691_81, 1e-12);
    assert_rel(beta_quantile(7.0, 3.0, 0.975), 0.925_145_368_580_308_2, 1e-12);
    // By hand: Beta(1, b) has 1 - (1 - p)^(1/b), Beta(a, 1) has p^(1/a).
    for b in [1.0, 1e3, 1e6, 1e7, 1e9] {
        for p in [1e-12_f64, 0.025, 0.5, 0.975] {
            let want = -((-p).ln_1p() / b).exp_m1();
            assert_rel(beta_quantile(1.0, b, p), want, 1e-11);
            assert_rel(beta_quantile(b, 1.0, p), (p.ln() / b).exp(), 1e-13);
        }
    }
    assert_eq!(beta_quantile(2.0, 3.0, 0.0), 0.0);
    assert_eq!(beta_quantile(2.0, 3.0, 1.0), 1.0);
    assert!(beta_quantile(0.0, 3.0, 0.5).is_nan());
}

#[test]
fn logarithms() {
    assert_rel(ln_gamma(0.1), 2.252_712_651_734_206, 1e-14);
    assert_rel(ln_gamma(3.7), 1.428_072_326_665_388, 1e-14);
    assert_rel(ln_gamma(1000.0), 5_905.220_423_209_181, 1e-14);
    assert_rel(digamma(0.1), -10.423_754_940_411_077, 1e-12);
    assert_rel(digamma(3.7), 1.167_153_539_361_511_4, 1e-12);
    assert_rel(digamma(1000.0), 6.907_255_195_648_812, 1e-12);
    // By hand.
    assert_rel(ln_sum_exp(-2000.0, -2000.0), -2000.0 + 2_f64.ln(), 1e-15);
    assert_rel(ln_diff_exp(-2000.0, -2000.0 - 2_f64.ln()), -2000.0 - 2_f64.ln(), 1e-15);
    assert_rel(ln_diff_exp(0.0, -1e-20), 1e-20_f64.ln(), 1e-15);
    assert_eq!(ln_diff_exp(3.0, f64::NEG_INFINITY), 3.0);
    assert_eq!(ln_diff_exp(3.0, 3.0), f64::NEG_INFINITY);
    assert_eq!(ln_sum_exp(f64::NEG_INFINITY, 1.0), 1.0);
}
