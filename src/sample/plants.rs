//! Two plants of the invented factory that share models: a small second sample, to set side by side.
//!
//! Takes a seed, gives one file for each of two stations at each of two plants. FH205 is the same product at both; SM415
//! has the filter of supplier N at North and of supplier S at South, so it truly reads more there; VC310 is made at
//! South alone. Both plants call their stations S1 and S2 and count their serials alike, so that nothing but the plant
//! tells them apart. No story moves anything here: what differs is what was built in.

use std::path::Path;

use chrono::{Duration, NaiveDate, NaiveTime};

use super::calendar::{self, day};
use super::chance::Chance;
use super::files::Written;
use super::models::{Filter, LOT_SD, Model, Setting};
use super::physics::{NOISE_SD, capacitive_ma, shown_ma, unit_ma};
use super::stations::Station;
use super::{WriteError, put_all};

/// What each makes, in the order of [`NAMES`].
const MODELS: [&[(Model, Filter)]; 2] = [
    &[(Model::Fh205, Filter::Only), (Model::Sm415, Filter::N)],
    &[(Model::Fh205, Filter::Only), (Model::Sm415, Filter::S), (Model::Vc310, Filter::Only)],
];

/// The plants.
const NAMES: [&str; 2] = ["North", "South"];

/// Capacitance of leads and fixture at S1 and S2 of each plant, nF: S1, which tests most units, has the same at both.
const LEADS_NF: [[f64; 2]; 2] = [[0.060, 0.075], [0.060, 0.055]];

/// Share of the units that S1 tests.
const SHARES: [f64; 2] = [0.6, 0.4];

/// Columns of each file.
const HEADER: &str = "plant,station,tested at,model,serial,lot,test,set V,frequency Hz,dwell s,leakage mA,high limit mA,low limit mA,outcome\n";

/// Settings beside the exports.
const CONFIG: &str = "\
# Settings of two plants of the invented factory, written by `leakdrift sample --plants 2`.

# The report is written to reports/plants/.
name = \"plants\"

# Both plants' testers: end of the range, and accuracy as per cent of the reading and reading steps.
[tester]
range_ma = 20.0
accuracy_pct = 1.5
accuracy_steps = 2

# The maker's own standard, in mA: no limit may lie above it.
[ceiling]
\"ac withstand\" = 10.0
";

/// Writes both plants below `dir`, as [`super::write`] writes the one.
///
/// # Errors
/// As [`super::write`].
pub fn write(seed: u64, dir: &Path) -> Result<(), WriteError> {
    let mut files: Vec<Written> = Vec::new();
    for (n, plant) in NAMES.iter().enumerate() {
        let mut chance = Chance::new(seed, plant);
        let mut texts = [HEADER; 2].map(str::to_owned);
        for (model, filter) in MODELS[n] {
            units(plant, LEADS_NF[n], *model, *filter, &mut chance, &mut texts);
        }
        let named = texts.into_iter().zip(["S1", "S2"]);
        files.extend(named.map(|(t, station)| (format!("{plant}/{station}.csv"), t.into_bytes())));
    }
    files.push(("leakdrift.toml".to_owned(), CONFIG.into()));
    put_all(&files, dir)
}

/// The days: the last eleven weeks of the factory.
fn days() -> impl Iterator<Item = NaiveDate> {
    calendar::production_days().into_iter().filter(|d| *d >= day(2026, 8, 17))
}

/// All units of one model at one plant, a line for each test, to the text of its station.
fn units(
    plant: &str,
    leads_nf: [f64; 2],
    model: Model,
    filter: Filter,
    chance: &mut Chance,
    texts: &mut [String; 2],
) {
    let (mut lot, mut lot_shift, mut serial) = (String::new(), 0.0, 0);
    for date in days() {
        let now = calendar::lot_name(model.letters(), calendar::lot_start(date));
        if now != lot {
            (lot, lot_shift) = (now, chance.normal(LOT_SD));
        }
        let set = model.withstand(Station::A1, date, filter);
        for _ in 0..chance.poisson(model.per_day()) {
            serial += 1;
            let station = chance.place(&SHARES);
            let true_ma = unit_ma(&set) * (lot_shift + chance.normal(model.unit_sd())).exp();
            let lead_ma = capacitive_ma(leads_nf[station], set.volts, set.hz.unwrap_or(0.0));
            let breaks_down = chance.happens(0.001);
            let begins = chance.whole(6 * 3600, 21 * 3600);
            // A failure is tested once more, five minutes later.
            for again in 0..2 {
                let noise = 1.0 + chance.normal(NOISE_SD);
                let ma = (1000.0 * shown_ma(1.0, true_ma, lead_ma, 0.0) * noise).round() / 1000.0;
                let outcome = match () {
                    () if breaks_down => "breakdown",
                    () if ma > set.high_ma => "over limit",
                    () => "pass",
                };
                let at = date.and_time(NaiveTime::MIN) + Duration::seconds(begins + 300 * again);
                let week = calendar::week_code(date);
                let unit = format!("{}-{week}-{serial:05}", model.letters());
                let name = ["S1", "S2"][station];
                texts[station] += &format!(
                    "{plant},{name},{at},{},{unit},{lot},AC withstand,{}\n",
                    model.name(),
                    settings(&set, ma, outcome)
                );
                if outcome == "pass" {
                    break;
                }
            }
        }
    }
}

/// How a test was set, what it read and how it ended.
fn settings(set: &Setting, ma: f64, outcome: &str) -> String {
    let hz = set.hz.unwrap_or(0.0);
    let low = set.low_ma.map_or_else(String::new, |ma| format!("{ma:.2}"));
    let reading = if outcome == "breakdown" { String::new() } else { format!("{ma:.3}") };
    format!("{},{hz},{},{reading},{:.2},{low},{outcome}", set.volts, set.dwell_s, set.high_ma)
}
