//! Which plant made a test, where files say it: a series and a station are of one plant, never of two.
//!
//! Takes the setups as files name them, gives them with names that tell plants apart. Where files name one plant, a blank
//! is that plant, and nothing is called otherwise than before. Where they name several, a model is called
//! `KB120 (North)`, and a station that more than one of them has `A1 (North)`: so every question, offsets and
//! limits among them, is asked of each plant alone. Tests that name none are then of a plant that is not told.
//! Rejected: the plant as a factor inside a series (its body, its limit and its drift would be of both), and a review
//! for each plant (nothing would stand side by side, and one folder would hold several reports).

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::config::Config;
use crate::input::plain_serial;
use crate::note::Note;
use crate::records::{MeasuredVolts, Setup};

/// The plant of a model or a station, and its own name there.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AtPlant {
    /// The plant.
    pub plant: String,
    /// What files call it.
    pub own: String,
}

/// What the names of models and stations stand for.
#[derive(Debug, Default)]
pub(super) struct Plants {
    /// By code of a text: what files call it.
    own: HashMap<u32, u32>,
    /// The plants that files name, where it is more than one.
    pub several: bool,
}

impl Plants {
    /// Gives every setup its plant, and models and stations of several plants names of their own; `texts` grows.
    pub fn tell_apart(
        setups: &mut [Setup],
        measured: &mut [MeasuredVolts],
        texts: &mut Vec<String>,
        config: &Config,
    ) -> Self {
        let given: BTreeSet<u32> = setups.iter().map(|s| s.plant).filter(|p| *p != 0).collect();
        let mut plants = Self { own: HashMap::new(), several: given.len() > 1 };
        if !plants.several {
            let only = given.first().copied().unwrap_or(0);
            setups.iter_mut().for_each(|s| s.plant = only);
            return plants;
        }
        let mut at: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
        for s in setups.iter() {
            at.entry(s.station).or_default().insert(s.plant);
        }
        let loads: BTreeSet<String> = config.check_loads.keys().map(|k| plain_serial(k)).collect();
        let mut names = Names { texts, plants: &mut plants, known: HashMap::new() };
        for s in setups.iter_mut().filter(|s| s.plant != 0) {
            // A load is the same one wherever it is tested.
            if !loads.contains(&plain_serial(&names.texts[s.model as usize])) {
                s.model = names.name(s.model, s.plant);
            }
            if at[&s.station].len() > 1 {
                s.station = names.name(s.station, s.plant);
            }
        }
        for m in measured {
            let plant = m.place.plant;
            m.model = names.known.get(&(m.model, plant)).copied().unwrap_or(m.model);
            let station = names.known.get(&(m.place.station, plant)).copied();
            m.place.station = station.unwrap_or(m.place.station);
        }
        plants
    }

    /// The plant of what is called so, `None` where none is told.
    pub fn of(&self, plant: u32, name: u32, texts: &[String]) -> Option<AtPlant> {
        let own = self.own.get(&name).copied().unwrap_or(name);
        (plant != 0).then(|| AtPlant {
            plant: texts[plant as usize].clone(),
            own: texts[own as usize].clone(),
        })
    }

    /// What a reader must know: that some tests name no plant, where others do.
    pub fn note(&self, setups: &[Setup]) -> Option<Note> {
        (self.several && setups.iter().any(|s| s.plant == 0)).then(|| {
            Note::first(
                "some tests name no plant while others do: they are judged apart, as of a plant that is not told; name it by a column, [files] pattern or [assume] plant",
            )
        })
    }
}

/// Names at plants, as they are given.
struct Names<'a> {
    texts: &'a mut Vec<String>,
    plants: &'a mut Plants,
    /// By name and plant.
    known: HashMap<(u32, u32), u32>,
}

impl Names<'_> {
    /// `KB120 (North)`; what has no name is called by its plant.
    fn name(&mut self, own: u32, plant: u32) -> u32 {
        if let Some(&known) = self.known.get(&(own, plant)) {
            return known;
        }
        let [name, place] = [own, plant].map(|code| self.texts[code as usize].as_str());
        let new = if name.is_empty() { place.to_owned() } else { format!("{name} ({place})") };
        let code = u32::try_from(self.texts.len()).expect("fewer than 2^32 distinct texts");
        self.texts.push(new);
        self.plants.own.insert(code, own);
        self.known.insert((own, plant), code);
        code
    }
}
