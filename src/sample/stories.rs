//! The planted stories: which units of the plan play a part, by exact quotas.

use chrono::{Days, NaiveDate};

use super::calendar::{self, Shift, day, is_production_day};
use super::chance::Chance;
use super::models::{Filter, Model};
use super::stations::Station;
use super::units::{Defect, Maker, Part, Unit, number};

/// The heater lot behind the jump of EM520.
pub const HEATER_LOT: &str = "HE-26-31";

/// The unit whose fault was looked for without a mark.
pub const FAULT_RUN_SERIAL: &str = "EM-2638-00412";

/// The day on which B2's return lead was broken.
pub fn broken_lead_day() -> NaiveDate {
    day(2026, 4, 22)
}

/// Seconds after midnight of a wall clock.
fn at(hour: i64, minute: i64) -> i64 {
    hour * 3600 + minute * 60
}

/// A stretch of one station's day that belongs to a story; no other unit is tested in it.
struct Window {
    station: Station,
    day: NaiveDate,
    from: i64,
    to: i64,
    model: Option<Model>,
}

/// The whole plan: everyday production with every story in it, numbered.
pub(super) fn plan(seed: u64) -> Vec<Unit> {
    let mut maker = Maker::new(seed);
    let mut chance = Chance::new(seed, "stories");
    let mut units: Vec<Unit> = Vec::new();
    for date in calendar::production_days() {
        for model in Model::ALL {
            units.extend(maker.day(model, date));
        }
    }
    keep_windows_clear(&mut maker, &mut units);
    add_units(&mut maker, &mut units);
    leads_and_leaks(&mut maker, &mut chance, &mut units);
    other_parts(&mut maker, &mut chance, &mut units);
    let run = heater_lot(&mut maker, &mut chance, &mut units);
    // Numbering sorts the plan, so the unit of the fault-locating run is found again by its part.
    debug_assert!(run < units.len());
    number(&mut units);
    name_the_fault_run(&mut units);
    units
}

fn keep_windows_clear(maker: &mut Maker, units: &mut [Unit]) {
    let windows = [
        Window {
            station: Station::B2,
            day: broken_lead_day(),
            from: at(6, 0),
            to: at(10, 41),
            model: None,
        },
        Window {
            // Retests come up to 20 minutes later, so the row of 28 needs a clear time before it.
            station: Station::A1,
            day: day(2026, 7, 8),
            from: at(12, 45),
            to: at(15, 43),
            model: None,
        },
        Window {
            station: Station::A2,
            day: day(2026, 1, 14),
            from: at(6, 0),
            to: at(7, 30),
            model: Some(Model::Dh640),
        },
        Window {
            station: Station::B1,
            day: day(2026, 9, 18),
            from: at(14, 0),
            to: at(14, 12),
            model: None,
        },
        Window {
            station: Station::B1,
            day: day(2026, 9, 18),
            from: at(13, 40),
            to: at(14, 0),
            model: None,
        },
    ];
    for unit in units {
        let covers = |unit: &Unit| {
            windows.iter().any(|w| {
                w.station == unit.station
                    && w.day == unit.day
                    && w.model.is_none_or(|m| m == unit.model)
                    && (w.from..w.to).contains(&unit.planned)
            })
        };
        while covers(unit) {
            maker.replan(unit);
        }
    }
}

/// Units that the stories add to a day's plan.
fn add_units(maker: &mut Maker, units: &mut Vec<Unit>) {
    // 60 fan heaters, one every 5 minutes from 00:30 through the hour that comes twice.
    for k in 0..60 {
        let planned = at(0, 30) + 300 * k;
        let night = calendar::overtime_night();
        let mut unit = maker.added(Model::Fh205, night, Station::A1, planned, Part::Plain);
        unit.shift = Shift::Late;
        units.push(unit);
    }
    for k in 0..11 {
        let planned = at(6, 10) + (at(10, 39) - at(6, 10)) * k / 10;
        units.push(maker.added(
            Model::Ap730,
            broken_lead_day(),
            Station::B2,
            planned,
            Part::OpenLead,
        ));
    }
    for k in 0..28 {
        let planned = at(13, 10) + (at(15, 39) - at(13, 10)) * k / 27;
        units.push(maker.added(Model::Sm415, day(2026, 7, 8), Station::A1, planned, Part::Frozen));
    }
    for k in 0..5 {
        let planned = at(6, 31) + 610 * k;
        units.push(maker.added(
            Model::Dh640,
            day(2026, 1, 14),
            Station::A2,
            planned,
            Part::ShortRamp,
        ));
    }
}

/// Places in the plan of the units for which `test` holds and that play no part yet.
fn places(units: &[Unit], test: impl Fn(&Unit) -> bool) -> Vec<usize> {
    (0..units.len())
        .filter(|&i| units[i].part == Part::Plain && !units[i].fixed && test(&units[i]))
        .collect()
}

fn play(unit: &mut Unit, part: Part) {
    unit.part = part;
    unit.defects = [Defect::None; 2];
}

/// One unit of `model` at `station` on `date` in `shift` (any, where none is named) for a part; added
/// to the plan where there is none.
fn one(
    maker: &mut Maker,
    chance: &mut Chance,
    units: &mut Vec<Unit>,
    (model, station, date): (Model, Station, NaiveDate),
    shift: Option<Shift>,
) -> usize {
    let there = places(units, |u| {
        u.model == model
            && u.station == station
            && u.day == date
            && shift.is_none_or(|s| s == u.shift)
    });
    match chance.pick(&there, 1).first() {
        Some(&i) => i,
        None => {
            let planned = shift.unwrap_or(Shift::Early).begins() + at(2, 0);
            let mut unit = maker.added(model, date, station, planned, Part::Plain);
            unit.fixed = false;
            units.push(unit);
            units.len() - 1
        }
    }
}

/// AP730: leads that were not connected, and three leak paths that passed.
fn leads_and_leaks(maker: &mut Maker, chance: &mut Chance, units: &mut Vec<Unit>) {
    for (date, station, mohm) in [
        (day(2026, 4, 28), Station::B1, 0.95),
        (day(2026, 7, 9), Station::A2, 0.62),
        (day(2026, 10, 13), Station::B1, 0.40),
    ] {
        let i = one(maker, chance, units, (Model::Ap730, station, date), None);
        play(&mut units[i], Part::LeakPath { mohm });
        units[i].ln_c = 0.0;
    }
    let before = places(units, |u| u.model == Model::Ap730 && u.day < day(2026, 3, 16));
    // From the day on which no station has a low limit any more.
    let after = places(units, |u| {
        u.model == Model::Ap730 && u.day >= day(2026, 3, 20) && u.day != broken_lead_day()
    });
    for i in chance.pick(&before, 9).into_iter().chain(chance.pick(&after, 12)) {
        play(&mut units[i], Part::OpenLead);
    }
}

fn other_parts(maker: &mut Maker, chance: &mut Chance, units: &mut Vec<Unit>) {
    for (date, ma) in [(day(2026, 6, 24), 5.21), (day(2026, 8, 27), 5.34)] {
        let key = (Model::Vc310, Station::B1, date);
        let i = one(maker, chance, units, key, None);
        play(&mut units[i], Part::Released { ma });
    }
    let key = (Model::Sm415, Station::A1, day(2026, 3, 5));
    let i = one(maker, chance, units, key, Some(Shift::Early));
    play(&mut units[i], Part::MarkedFault);
}

/// EM520: lot HE-26-31, 180 units spread evenly over stations and shifts (and with them operators);
/// 36 over limit, 7 breakdowns, 4 that pass high, 133 healthy. Returns the unit of the fault-locating run.
fn heater_lot(maker: &mut Maker, chance: &mut Chance, units: &mut Vec<Unit>) -> usize {
    let (from, to) = (day(2026, 9, 14), day(2026, 10, 9));
    let run =
        one(maker, chance, units, (Model::Em520, Station::B1, day(2026, 9, 18)), Some(Shift::Late));
    let made = places(units, |u| u.model == Model::Em520 && (from..=to).contains(&u.day));
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for station in Station::ALL {
        for shift in [Shift::Early, Shift::Late] {
            let group: Vec<usize> = made
                .iter()
                .copied()
                .filter(|&i| units[i].station == station && units[i].shift == shift)
                .collect();
            if !group.is_empty() {
                groups.push(group);
            }
        }
    }
    let sizes: Vec<usize> = groups.iter().map(Vec::len).collect();
    let mut lot: Vec<usize> = Vec::new();
    for (group, quota) in groups.iter().zip(apportion(&sizes, 180)) {
        let mut picked = chance.pick(group, quota);
        if group.contains(&run) && !picked.contains(&run) {
            picked[0] = run;
            picked.sort_by_key(|&i| (units[i].day, units[i].planned));
        }
        lot.extend(picked);
    }
    // Every fifth unit of the list by station, shift and time trips; the others are taken from what
    // is left in the same manner, so that no station, shift or week gets more than its share.
    let tripped = spaced(&lot, 36, chance);
    let mut rest = without(&lot, &tripped);
    let mut tripped = tripped;
    if !tripped.contains(&run) {
        let near = (0..tripped.len())
            .min_by_key(|&k| {
                lot.iter().position(|&i| i == tripped[k]).map_or(usize::MAX, |p| {
                    p.abs_diff(lot.iter().position(|&i| i == run).unwrap_or(0))
                })
            })
            .expect("36 units tripped");
        tripped[near] = run;
        rest = without(&lot, &tripped);
    }
    let broken = spaced(&rest, 7, chance);
    let rest = without(&rest, &broken);
    let high = spaced(&rest, 4, chance);
    let level = maker.lot_level(HEATER_LOT);
    for &i in &lot {
        let usual = maker.lot_level(&units[i].lot.clone());
        let unit = &mut units[i];
        unit.ln_c += level - usual;
        unit.lot = HEATER_LOT.to_string();
        play(unit, Part::HeaterHealthy);
    }
    for &i in &tripped {
        units[i].part = Part::HeaterTrip { fault_run: i == run };
    }
    for &i in &broken {
        let arc = chance.happens(0.6);
        units[i].part = Part::HeaterBreakdown { arc };
    }
    for &i in &high {
        let ma = chance.uniform(1.352, 1.438);
        units[i].part = Part::HeaterPass { ma };
    }
    units[run].planned = at(14, 5) + 4;
    units[run].fixed = true;
    let others: Vec<usize> = tripped.iter().chain(&broken).copied().filter(|&i| i != run).collect();
    let mut reworked = chance.pick(&others, 24);
    reworked.push(run);
    for i in reworked {
        let days: Vec<NaiveDate> = (1..=4)
            .map(|n| units[i].day + Days::new(n))
            .filter(|d| is_production_day(*d))
            .collect();
        let n = chance.whole(0, days.len() as i64 - 1) as usize;
        units[i].reworked = Some(days[n]);
    }
    run
}

/// `total` shared among groups in proportion to their sizes, by largest remainders.
fn apportion(sizes: &[usize], total: usize) -> Vec<usize> {
    let all: usize = sizes.iter().sum();
    let mut quotas: Vec<usize> = sizes.iter().map(|n| n * total / all).collect();
    let mut order: Vec<usize> = (0..sizes.len()).collect();
    order.sort_by_key(|&g| (std::cmp::Reverse(sizes[g] * total % all), g));
    let missing = total - quotas.iter().sum::<usize>();
    for &g in order.iter().take(missing) {
        quotas[g] += 1;
    }
    quotas
}

/// `count` members of `list` at equal distances, from a drawn start.
fn spaced(list: &[usize], count: usize, chance: &mut Chance) -> Vec<usize> {
    let start = chance.uniform(0.0, 1.0);
    (0..count)
        .map(|k| list[((k as f64 + start) * list.len() as f64 / count as f64) as usize])
        .collect()
}

fn without(list: &[usize], taken: &[usize]) -> Vec<usize> {
    list.iter().copied().filter(|i| !taken.contains(i)).collect()
}

/// The unit of the fault-locating run is `EM-2638-00412`; whichever bore that number takes its own.
fn name_the_fault_run(units: &mut [Unit]) {
    let run = units
        .iter()
        .position(|u| u.part == Part::HeaterTrip { fault_run: true })
        .expect("the plan has one fault-locating run");
    if let Some(other) = units.iter().position(|u| u.serial == FAULT_RUN_SERIAL) {
        units[other].serial = units[run].serial.clone();
    }
    units[run].serial = FAULT_RUN_SERIAL.to_string();
}

/// What the `filter` column says.
pub(super) fn filter_text(filter: Filter) -> &'static str {
    match filter {
        Filter::Only => "",
        Filter::N => "supplier N",
        Filter::S => "supplier S",
    }
}
