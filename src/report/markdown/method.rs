//! How it was computed: settings, methods with their sources, versions and inputs.

use std::fmt::Write;

use super::super::format::text;
use super::{glossary, header, row};
use crate::review::Review;

/// One method: the question, and how it is answered, with its source.
struct Method {
    question: &'static str,
    how: &'static str,
    /// Empty where the method is the project's own or stands in every textbook.
    source: &'static str,
}

/// Sources of methods that were not found in any text that could be read: printed as from memory. All others were
/// compared with their text, or with well-kept libraries that name them for what is taken from them here.
const FROM_MEMORY: [&str; 3] = [
    "ISO 22514-2:2017 and ISO 22514-4:2016",
    "AEC-Q001 for the order of the last rule",
    "Huber & Ronchetti 2009; Liang & Zeger 1986",
];

/// Methods in the order of the page.
const METHODS: [Method; 23] = [
    Method {
        question: "Which tests count",
        how: "The first completed test of each unit. Retests are set aside and studied by themselves. A trip says only that the current was above the limit; a pass says that it lay within half a reading step of the value shown. Averages of passed units are never used.",
        source: "",
    },
    Method {
        question: "Healthy body",
        how: "Six families (normal, lognormal, gamma, Weibull, log-logistic, Gumbel) are fitted by maximum likelihood to the counted readings, with trips and rounding taken into account, and averaged with weights by AICc; the interval includes the disagreement between families. They draw the curve; readings that many units lie on both sides of are taken from the readings themselves, inside a step along the curve. Where a reading step is wider than half the spread, intervals reach to the edges of the steps they end in: inside one nothing is known.",
        source: "Burnham & Anderson 2002; Woodruff 1952",
    },
    Method {
        question: "Days are not independent",
        how: "The influence of each day is summed over blocks of days in a row; where that gives a larger variance than the usual one, it is used, with Student t, paid up for days that hang together beyond their block; an upper end moves out where a few days read far above the others.",
        source: "White 1982; Liang & Zeger 1986; Johnson 1978",
    },
    Method {
        question: "Points of the probability plot",
        how: "The distribution without any family, from readings with intervals and trips.",
        source: "Kaplan & Meier 1958; Turnbull 1976",
    },
    Method {
        question: "Goodness of fit",
        how: "Anderson–Darling with a p-value by parametric bootstrap, and the largest gap between fit and data as the practical measure.",
        source: "Anderson & Darling 1952",
    },
    Method {
        question: "One scale",
        how: "Before units are judged, every reading, trip and limit is brought to the scale of the series' middle station as it is now: divided by what its station's tester adds, less what its leads add, where that is certain; steps of a tester are taken off where two series show them, or one and the record. What moves every station alike is the product's and stays. The error of what was taken off is in every interval; a step known too badly beside the spread of the readings cuts the history instead. The band must hold at each station: its lower end where units read most, its upper end where they read least; the share expected over the limit is the mean over stations.",
        source: "",
    },
    Method {
        question: "Strays",
        how: "The body is fitted to the readings below a cut, each probability divided by that of lying below it; readings too far out to belong, by the families, by the tail next to the cut and by the best family's tail, are found with a bound on the share of false ones. A pass is listed where it lies so far out that no more healthy units are expected there than 5 % of those listed, shared among the stretches of the history; trips, unconnected leads and a lot that stands out do not pay for others, and of passes far out two at most. Below, a pass is suspected of its connection only where it lies nearer to the open-lead reading than to what 5 % of the units read less than; else it reads low. Where every reading is taken as healthy, a high one is listed as not decided.",
        source: "Efron 2004, the likelihood Efron 2007; Benjamini & Hochberg 1995",
    },
    Method {
        question: "Tail",
        how: "Two answers. Together: a generalised Pareto fit to the highest readings, every one taken as healthy. Apart: strays kept out, from the families and from such a fit to the readings next to the cut, weighed by how much the readings gain over the family. Both are fitted on the scores of the best family, minus the logarithm of the share that it expects above a reading, so that they learn only how the readings differ from it. Where readings lie beyond, strays must explain them better than a long tail. Which is in use, and why, stands with each series; where no family describes the highest readings, no upper end of a share lies below one unit in their number; numbers that simulation shows to hold less often than they say are marked as approximate.",
        source: "Pickands 1975; Davison & Smith 1990; Akaike 1974",
    },
    Method {
        question: "Capability",
        how: "High limit, U: (limit − X50) / (X99.865 − X50). Low limit, L: (X50 − limit) / (X50 − X0.135). Called capability (C) only where the series is steady, else performance (P). Where the normal distribution fits and days vary no more than single units would, the interval is the exact one by non-central t. Healthy units expected below the low limit are from the healthy body, readings of open leads kept out.",
        source: "ISO 22514-2:2017 and ISO 22514-4:2016",
    },
    Method {
        question: "Units seen beyond a limit",
        how: "Of the units judged at the limit in force. Exact interval for a share, on counts reduced to what days that hang together are worth; their factor for few days is left out, so that with 6 to 20 blocks of days the interval is somewhat narrower than theirs.",
        source: "Clopper & Pearson 1934; Korn & Graubard 1998",
    },
    Method {
        question: "Workable band and verdict",
        how: "Lower end: the upper bound of the reading that all but the accepted share of healthy units stay under, of the last day where the series drifts. A limit never follows a rise: of a product that rises, by a slope or by a step that nothing recorded explains, the band is that of the time before, the verdict is moving, and no limit above the one in force is named. Upper end: the smallest of the reading that the stated leak path would give (in AC, currents add at right angles) less the guard band, the ceiling of the user's standard, and the tester's range; without a stated leak path, the larger of twice as far from the typical reading as the lower end (before it is moved out to the edge of a wide reading step) and twice the typical reading: a rule of thumb, which proves nothing. A limit is raised to the lower end and the guard band and no further.",
        source: "AEC-Q001 for the order of the last rule",
    },
    Method {
        question: "Movement",
        how: "Daily medians on the one scale. The shape with the best BIC under correlated errors, its p-value against simulated steady series; slopes by the median of all pairs of points. Flagged is only what is certain over all series together and large enough to matter.",
        source: "Theil 1950; Sen 1968; Mann 1945; Kendall 1954; Hamed & Rao 1998; Benjamini & Hochberg 1995",
    },
    Method {
        question: "Moving average chart",
        how: "Exponentially weighted average of the daily median (weight 0.2), against the first 25 days and, where lots are known, five lots after the last known change; limits for one false alarm in 2000 days, from the variation of days within lots, of lots, and of days that hang together. Of a series that follows the season there is none.",
        source: "Lucas & Saccucci 1990",
    },
    Method {
        question: "Product or tester",
        how: "Logarithms of the daily medians are split robustly (Huber) into the level of each model and day and the offset of each station; intervals by Student t, with days as clusters. What one station shows on every model is the tester's; what a model shows on every station is the product's.",
        source: "Huber & Ronchetti 2009; Liang & Zeger 1986",
    },
    Method {
        question: "Month against the time before",
        how: "The time before goes back to the last established step, at most half a year. Level: means of the logarithms of daily medians, stations' offsets (and temperature and humidity, where they explain something) taken off, Student t with the variance that days which hang together have, either side its own (Welch). Spread: mean distance of readings from their day's median, days as clusters. Failures: difference of two shares with Newcombe's interval. What matters most is a change whose interval excludes none.",
        source: "Newcombe 1998, method 10",
    },
    Method {
        question: "Passes in doubt",
        how: "Where a station's readings stepped up, those before were too low; where they stepped down and no calibration stands within three days of it, those since may be; where a calibration found an error beyond the stated accuracy, those since the calibration before it. Every pass of that stretch, retests too, is counted again at its raised reading against its own limit; the interval is that of the raise.",
        source: "",
    },
    Method {
        question: "Check loads over time",
        how: "The daily median of every load that must pass, station by station, asked for slopes and steps like a series. A right answer whose reading is far from what the load usually reads (20 readings about it) is listed as odd and kept out.",
        source: "Benjamini & Hochberg 1995",
    },
    Method {
        question: "Changes of settings",
        how: "What the rows say of voltage, frequency, ramp, dwell and both limits, run by run, for every model at every station; stations that tested a model in the last 60 days are held against each other, and all against what the settings file requires. An event of the same days explains a change.",
        source: "",
    },
    Method {
        question: "Too good to be true",
        how: "A display that stands still: one value in k passes one after the other, N p^(k − 1) such runs expected by chance, p the share of the value among 200 readings on either side. A station that finds too little: its failures against those that the other stations' shares let expect, series by series and month by month, by the chance of so few over all stations. A spread that collapsed: the middle half of a month less than half as wide as in three months before, by four standard errors.",
        source: "",
    },
    Method {
        question: "Jumps in failures",
        how: "Every series, then each station and the whole line, as they stand (more units of what fails more often are a jump too: its answer is the mix) and beyond what series tell, each outcome on its own: the day that divides the history into two shares best, by the binomial likelihood ratio over the dispersion of daily counts. The p-value pays for choosing the day and for rates that vary and hang together: the same search in up to 4999 histories in which nothing changed, with lognormal rates of a dispersion and correlation that the days allow. Days whose ratio is within 7 long-run dispersions of the best are the interval of the date; a change that is another limit begins with it. Changes of one date and one cause are told as one. The scans of series, those of stations and those of the line each share a false discovery rate of 5 %.",
        source: "Scott & Knott 1974; Benjamini & Hochberg 1995",
    },
    Method {
        question: "Parts of a jump",
        how: "Mix: shares of units after less before, times the share of failures before; of a station or the line by model or station. Charging current: trips while a direct voltage still rose. Limit: readings of one side counted against the limit of the other. Readings moved: those before times the ratio of medians. What remains of over-limit results are strays; breakdowns and the rest stand for themselves. The parts add up to the change; intervals by drawing counts again.",
        source: "",
    },
    Method {
        question: "What explains a jump",
        how: "Every level of station, model, lot, all other factors and what was set for the test (voltage, frequency, dwell, ramp, limits, program step, where tests of one model differ in it), and every pair of levels of two, against the units of the same series and day, beyond what it showed before: there all that moves a day moves both. Levels with days of their own are held against other days and pay for those. False discovery rate 5 %, with the same weight for every factor, shared by its levels; the strongest is named, its units are taken out, and the question is asked again. Of levels with the same failures what was set comes first and people last; an operator of one station and shift only is named by these. A cause where nothing failed before has the one-sided lower end of its ratio. Inside a named level, a level of another factor that has nearly all of its excess is named with it. A level that every unit since the date had, and none before, is told as coinciding: no count can tell it from the date.",
        source: "Mantel & Haenszel 1959; Benjamini & Hochberg 1995; Genovese, Roeder & Wasserman 2006 for the weights",
    },
    Method {
        question: "Blind spot",
        how: "V / sqrt(limit² − X50²) for the total current in AC, V / (limit − X50) for DC and in-phase current: circuit theory.",
        source: "",
    },
];

/// Questions that the page of jumps answers too.
const OF_JUMPS: [&str; 3] = ["Jumps in failures", "Parts of a jump", "What explains a jump"];

fn methods(page: &mut String, wanted: impl Fn(&Method) -> bool) {
    for m in METHODS.iter().filter(|m| wanted(m)) {
        let source = if m.source.is_empty() {
            String::new()
        } else {
            let known = if FROM_MEMORY.contains(&m.source) { "from memory" } else { "checked" };
            format!(" ({}; {known})", m.source)
        };
        line!(page, "- {}: {}{source}", m.question, m.how);
    }
}

/// Writes how jumps are found, split and explained.
pub(super) fn of_jumps(page: &mut String) {
    methods(page, |m| OF_JUMPS.contains(&m.question));
}

/// Writes the section.
pub(super) fn section(page: &mut String, report: &Review) {
    line!(page, "## How it was computed\n");
    line!(page, "### Settings in force\n");
    header(page, &["setting", "value", "unit", "why"]);
    for s in &report.settings {
        row(page, &[&text(&s.name), &text(&s.value), &text(s.unit), &text(s.reason)]);
    }
    line!(page, "\n### Methods\n");
    line!(
        page,
        "Sources marked checked were compared with their text, or with well-kept libraries that name them, for what is taken from them here; the others are cited from memory.\n"
    );
    methods(page, |_| true);
    line!(page, "\n### Words\n");
    glossary::table(page);
    line!(page, "### Version and inputs\n");
    line!(
        page,
        "leakdrift {}, results in the form {}; every random draw comes from seed {}.\n",
        text(&report.made.version),
        report.schema,
        report.made.seed
    );
    if let Some(by) = &report.made_by {
        let at = report.made_at.as_ref().map_or_else(String::new, |at| format!(" on {}", text(at)));
        line!(page, "Made by {}{at}.\n", text(by));
    }
    super::inputs::table(page, &report.made.inputs);
    if !report.made.side_files.is_empty() {
        line!(page, "Settings, events, register and decisions:\n");
        super::inputs::table(page, &report.made.side_files);
    }
}
