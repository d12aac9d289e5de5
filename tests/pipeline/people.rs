//! Operators on pages, in lists and in tallies: by a code, unless the settings say otherwise.

use leakdrift::config::{Config, People};
use leakdrift::series::Pass;

use crate::support::count::counted;
use crate::support::run::{folder, put, run_in};

/// Anna early at S1, Berta late at S1 and early at S2, one test without an operator.
const TESTS: &str = "tested_at,model,serial,station,operator,shift,reading_ma,high_limit_ma,outcome\n\
    2026-03-02 07:00:00,M1,A1,S1,Anna,early,1.00,2.0,pass\n\
    2026-03-02 08:00:00,M1,A2,S1,Anna,early,1.01,2.0,pass\n\
    2026-03-02 15:00:00,M1,A3,S1,Berta,late,1.02,2.0,pass\n\
    2026-03-03 07:00:00,M1,A4,S2,Berta,early,1.03,2.0,pass\n\
    2026-03-03 08:00:00,M1,A5,S2,,early,1.04,2.0,pass\n";

/// What stands in the place of each operator, in the order of the tests.
fn operators(pass: &Pass) -> Vec<String> {
    let place = pass.plant.factor_names.iter().position(|f| f == "operator").unwrap();
    let mut tests: Vec<_> =
        pass.used_of(0).map(|t| (t.time(), t.levels()[place].clone())).collect();
    tests.sort();
    tests.into_iter().map(|(_, level)| level).collect()
}

fn shown() -> Config {
    Config { people: People::Shown, ..Config::default() }
}

/// The same person has the same code in every test and every month, others have another, and no one has none; the
/// settings bring back the names.
#[test]
fn operators_have_a_code_of_their_own_that_stays() {
    let dir = folder();
    let file = put(dir.path(), "t.csv", TESTS);
    let (_, pass) = counted(std::slice::from_ref(&file), &Config::default());
    let [anna, again, berta, too, nobody] = &operators(&pass)[..] else { panic!() };
    assert_eq!((anna, berta), (again, too));
    assert!(anna != berta && nobody.is_empty(), "{anna} {berta} {nobody}");
    for code in [anna, berta] {
        assert!(code.starts_with("p-") && code.len() == 7, "{code}");
    }
    // Another month with other people: who stays keeps the code.
    let next = TESTS.replace("Anna", "Zoe").replace("2026-03", "2026-04");
    let (_, later) = counted(&[put(dir.path(), "next.csv", next)], &Config::default());
    assert_eq!(&operators(&later)[2], berta);
    assert_ne!(&operators(&later)[0], anna);
    let (_, named) = counted(&[file], &shown());
    assert_eq!(operators(&named), ["Anna", "Anna", "Berta", "Berta", ""]);
}

/// A thousand names have a thousand codes.
#[test]
fn no_two_operators_share_a_code() {
    let mut text = String::from(TESTS.lines().next().unwrap());
    for n in 0..1000 {
        let (hour, minute) = (n / 60, n % 60);
        text +=
            &format!("\n2026-03-02 {hour:02}:{minute:02}:00,M1,A{n},S1,op{n},early,1.00,2.0,pass");
    }
    let dir = folder();
    let (_, pass) = counted(&[put(dir.path(), "t.csv", text)], &Config::default());
    let codes: std::collections::BTreeSet<String> = operators(&pass).into_iter().collect();
    assert_eq!(codes.len(), 1000);
}

/// A saved tally holds the codes, and whoever reads it finds the same ones; with names shown it holds names.
#[test]
fn a_tally_holds_codes_and_keeps_them() {
    let dir = folder();
    let file = put(dir.path(), "t.csv", TESTS);
    let (_, pass) = counted(&[file], &Config::default());
    run_in(dir.path(), ["tally", "t.csv", "--out", "coded.parquet"]).expect(0);
    put(dir.path(), "shown.toml", "people = \"shown\"\n");
    let named = ["tally", "t.csv", "--out", "named.parquet", "--config", "shown.toml"];
    run_in(dir.path(), named).expect(0);
    let of = |name: &str, config: &Config| {
        let (_, pass) = counted(&[dir.path().join(name)], config);
        let mut all = operators(&pass);
        all.sort();
        all.dedup();
        all
    };
    let mut wanted = operators(&pass);
    wanted.sort();
    wanted.dedup();
    assert_eq!(of("coded.parquet", &Config::default()), wanted);
    assert_eq!(of("coded.parquet", &shown()), wanted);
    assert_eq!(of("named.parquet", &Config::default()), wanted);
    assert_eq!(of("named.parquet", &shown()), ["", "Anna", "Berta"]);
}

/// Who worked on one station and one shift only is known by these; whoever moved about is not.
#[test]
fn posts_are_those_of_one_station_and_shift() {
    let dir = folder();
    let (_, pass) = counted(&[put(dir.path(), "t.csv", TESTS)], &shown());
    let posts: Vec<(&str, &str, &str)> = pass
        .plant
        .posts
        .iter()
        .map(|(who, post)| {
            (
                who.as_str(),
                pass.plant.stations[usize::from(post.station)].as_str(),
                post.shift.as_str(),
            )
        })
        .collect();
    assert_eq!(posts, [("Anna", "S1", "early")]);
}
