//! One-way analysis of variance on the NIST StRD sets, certified to 15 digits, and by hand.
//! References that are not printed: tests/reference/moments_anova.py (mpmath 1.4.1).

use leakdrift::stats::anova::{OneWay, one_way};
use leakdrift::stats::special::f_sf;

use crate::support::checks::{Case, assert_case, column, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};

type Group = Vec<(f64, f64)>;

/// The groups of a StRD set, every value times `factor` and then whole where `factor` is not 1.
fn groups(set: &str, factor: f64) -> Vec<Group> {
    let name = format!("strd-anova-{set}");
    let mut groups: Vec<Group> = Vec::new();
    for (label, y) in column(&name, 0).into_iter().zip(column(&name, 1)) {
        let place = label as usize - 1;
        groups.resize(groups.len().max(place + 1), Vec::new());
        let y = if factor == 1.0 { y } else { (y * factor).round() };
        groups[place].push((y, 1.0));
    }
    groups
}

/// What the cases print, of values `factor` times as large.
fn named(found: &OneWay, factor: f64) -> [(&'static str, f64); 10] {
    let square = factor * factor;
    [
        ("df_between", found.df_between),
        ("df_within", found.df_within),
        ("ss_between", found.ss_between / square),
        ("ss_within", found.ss_within / square),
        ("ms_between", found.ms_between / square),
        ("ms_within", found.ms_within / square),
        ("F", found.f.unwrap()),
        ("p_value", found.p_value.unwrap()),
        ("r_squared", found.r_squared.unwrap()),
        ("residual_sd", found.residual_sd / factor),
    ]
}

fn assert_certified(case: &Case, found: &OneWay, factor: f64, rel: f64) {
    for (key, got) in named(found, factor) {
        // The case's p-value of the largest F is an underflow.
        let rel = if key == "p_value" { 100.0 * rel } else { rel };
        let want = case.wanted(key);
        if want != 0.0 {
            assert_rel(got, want, rel);
        }
    }
}

/// NIST StRD, values that doubles hold well: 12 digits.
#[test]
fn lower_difficulty() {
    for set in ["sirstv", "smls01"] {
        let case = load(&format!("strd-anova-{set}"));
        let found = one_way(&groups(set, 1.0)).unwrap();
        for (key, got) in named(&found, 1.0) {
            assert_case(&case, key, got);
        }
        assert_certified(&case, &found, 1.0, 1e-12);
    }
}

/// NIST StRD, 7 and 13 leading digits in common: all 12 digits where values are counted in whole steps of
/// their last digit, as currents are.
#[test]
fn higher_difficulty_in_whole_steps() {
    for (set, factor) in [("atmwtag", 1e7), ("smls07", 10.0), ("smls08", 10.0)] {
        let case = load(&format!("strd-anova-{set}"));
        let found = one_way(&groups(set, factor)).unwrap();
        assert_certified(&case, &found, factor, 1e-12);
    }
}

/// The same as doubles: rounding of the data leaves 10 digits of the certified values, or 3; the statistics
/// of the doubles themselves are met to 12.
#[test]
fn higher_difficulty_as_far_as_doubles_hold_it() {
    for (set, digits, between, within, f, p, r_squared, component) in [
        (
            "atmwtag",
            2e-10,
            3.638_341_874_790_713_2e-9,
            1.049_517_291_679_747e-8,
            15.946_733_566_676_926,
            2.326_844_484_406_166_8e-4,
            0.257_426_544_524_942_8,
            1.420_910_809_090_356_4e-10,
        ),
        (
            "smls07",
            1e-4,
            1.680_156_269_401_469_6,
            1.800_097_837_334_587_5,
            21.000_811_887_818_77,
            2.579_079_890_176_438e-22,
            0.482_768_274_347_989_4,
            0.009_524_713_815_925_524,
        ),
        (
            "smls08",
            2e-4,
            16.081_914_284_204_238,
            18.000_978_246_257_08,
            201.013_004_095_948_45,
            3.928_140_785_238_308e-243,
            0.471_847_108_335_395_9,
            0.009_951_436_527_638_741,
        ),
    ] {
        let case = load(&format!("strd-anova-{set}"));
        let found = one_way(&groups(set, 1.0)).unwrap();
        assert_certified(&case, &found, 1.0, digits);
        assert_rel(found.ss_between, between, 1e-12);
        assert_rel(found.ss_within, within, 1e-12);
        assert_rel(found.f.unwrap(), f, 1e-12);
        assert_rel(found.p_value.unwrap(), p, 1e-10);
        assert_rel(found.r_squared.unwrap(), r_squared, 1e-12);
        assert_rel(found.variance_between, component, 1e-12);
    }
}

/// NIST/SEMATECH e-Handbook 7.4.3.3.
#[test]
fn handbook_resistances() {
    let case = load("anova-handbook-resistance");
    let lists = case["data"]["groups"].as_array().expect("a list");
    let groups: Vec<Group> =
        lists.iter().map(|list| numbers(list).into_iter().map(|x| (x, 1.0)).collect()).collect();
    let found = one_way(&groups).unwrap();
    for (key, got) in named(&found, 1.0) {
        assert_case(&case, key, got);
    }
    // By hand: groups of one size.
    assert_rel(found.effective_size, 5.0, 1e-15);
    assert_rel(found.variance_between, (27.897_333_333_333_332 / 2.0 - 17.452 / 12.0) / 5.0, 1e-13);
}

/// By hand: {1, 2}, {4, 5, 5, 6}, {9}; means 1.5, 5, 9, of all 32/7. Within 0.5 + 2 = 2.5 on 4; between
/// 2 (43/14)² + 4 (3/7)² + (31/7)² = 549/14 on 2; sizes (7 - 21/7)/2 = 2; between groups
/// (549/28 - 5/8)/2 = 1063/112. Counts stand for values, and empty groups for nothing.
#[test]
fn unequal_groups_by_hand() {
    let groups: [&[(f64, f64)]; 5] = [
        &[(1.0, 1.0), (2.0, 1.0)],
        &[],
        &[(5.0, 2.0), (4.0, 1.0), (6.0, 1.0)],
        &[(9.0, 1.0)],
        &[(70.0, 0.0)],
    ];
    let found = one_way(&groups).unwrap();
    assert_eq!((found.groups, found.count), (3, 7.0));
    assert_rel(found.mean, 32.0 / 7.0, 1e-15);
    assert_rel(found.ss_within, 2.5, 1e-14);
    assert_rel(found.ss_between, 549.0 / 14.0, 1e-14);
    assert_rel(found.f.unwrap(), 549.0 / 28.0 / (5.0 / 8.0), 1e-14);
    assert_rel(found.p_value.unwrap(), 0.003_591_785_513_229_499, 1e-12);
    assert_rel(found.effective_size, 2.0, 1e-15);
    assert_rel(found.variance_between, 1063.0 / 112.0, 1e-14);
}

/// By hand: two tests each of units; the variance within is `Σ d²/(2 n)`, 0.01 + 0.09 + 0.04 over 6, also
/// where the units lie far apart.
#[test]
fn pairs_give_repeatability() {
    let pairs = [[3.1, 3.2], [250.6, 250.3], [0.5, 0.7]];
    let groups = pairs.map(|pair| pair.map(|x| (x, 1.0)));
    let found = one_way(&groups).unwrap();
    assert_rel(found.ms_within, 0.14 / 6.0, 1e-12);
    assert_eq!(found.df_within, 3.0);
}

/// Groups whose means differ by less than their members do: the difference of mean squares is below zero,
/// the variance between is not.
#[test]
fn groups_alike_have_no_variance_between() {
    let found = one_way(&[[(1.0, 1.0), (3.0, 1.0)], [(1.0, 1.0), (3.0, 1.0)]]).unwrap();
    assert_abs(found.variance_between, 0.0, 0.0);
    assert_eq!((found.f, found.p_value), (Some(0.0), Some(1.0)));
}

#[test]
fn what_does_not_vary_has_no_ratio() {
    let found = one_way(&[[(0.7, 5.0)], [(0.7, 9.0)]]).unwrap();
    assert_eq!((found.f, found.p_value, found.r_squared), (None, None, None));
    assert_eq!((found.ms_within, found.variance_between), (0.0, 0.0));
    // By hand: 2 twice and 5 twice, nothing within: (9 - 0)/2.
    let found = one_way(&[[(2.0, 2.0)], [(5.0, 2.0)]]).unwrap();
    assert_eq!((found.f, found.r_squared), (None, Some(1.0)));
    assert_rel(found.variance_between, 4.5, 1e-15);
}

#[test]
fn too_little_for_a_comparison() {
    let none: [Group; 0] = [];
    assert_eq!(one_way(&none), None);
    assert_eq!(one_way(&[[(1.0, 1.0), (2.0, 1.0)]]), None, "one group");
    assert_eq!(one_way(&[[(1.0, 1.0)], [(2.0, 1.0)]]), None, "one value each");
    assert_eq!(one_way(&[[(1.0, 3.0)], [(f64::NAN, 1.0)]]), None);
    assert_eq!(one_way(&[[(1.0, 3.0)], [(2.0, -1.0)]]), None);
}

/// mpmath 1.4.1; at equal degrees of freedom half lies above 1 (closed form).
#[test]
fn tails_of_f() {
    for (f, a, b, want) in [
        (1e-3, 1.0, 5.0, 0.975_996_365_437_366_1),
        (0.5, 4.0, 20.0, 0.736_037_188_910_924_2),
        (1.0, 7.0, 7.0, 0.5),
        (3.5, 2.0, 12.0, 0.063_469_615_969_142_97),
        (50.0, 3.0, 40.0, 1.344_339_266_641_412_7e-13),
        (201.0, 8.0, 1800.0, 4.037_141_885_753_982_6e-243),
    ] {
        assert_rel(f_sf(f, a, b), want, 1e-12);
    }
    assert_eq!(f_sf(0.0, 3.0, 4.0), 1.0);
    assert_eq!(f_sf(f64::INFINITY, 3.0, 4.0), 0.0);
    assert!(f_sf(1.0, 0.0, 4.0).is_nan() && f_sf(f64::NAN, 3.0, 4.0).is_nan());
}
