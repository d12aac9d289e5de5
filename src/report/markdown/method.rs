//! How it was computed: settings, methods with their sources, versions and inputs.

use std::fmt::Write;

use super::super::format::{grouped, name, text};
use super::super::model::Report;
use super::{header, row};

/// One method: the question, and how it is answered, with its source.
struct Method {
    question: &'static str,
    how: &'static str,
    /// Empty where the method is the project's own or stands in every textbook.
    source: &'static str,
}

/// Methods in the order of the page. No source was checked against its text: each is printed as from memory.
const METHODS: [Method; 14] = [
    Method {
        question: "Which tests count",
        how: "The first completed test of each unit. Retests are set aside and studied by themselves. A trip says only that the current was above the limit; a pass says that it lay within half a reading step of the value shown. Averages of passed units are never used.",
        source: "",
    },
    Method {
        question: "Healthy body",
        how: "Six families (normal, lognormal, gamma, Weibull, log-logistic, Gumbel) are fitted by maximum likelihood to the counted readings, with trips and rounding taken into account, and averaged with weights by AICc; the interval includes the disagreement between families. They draw the curve; readings that many units lie on both sides of are taken from the readings themselves, inside a step along the curve.",
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
        question: "Strays",
        how: "The body is fitted to the readings below a cut, each probability divided by that of lying below it; readings too far out to belong, by the families, by the tail next to the cut and by the best family's tail, are found with a bound on the share of false ones.",
        source: "Efron 2004; Benjamini & Hochberg 1995",
    },
    Method {
        question: "Tail",
        how: "Two answers. Together: a generalised Pareto fit to the highest readings, every one taken as healthy. Apart: strays kept out, from the families and from such a fit to the readings next to the cut, weighed by how much the readings gain over the family. Both are fitted on the scores of the best family, minus the logarithm of the share that it expects above a reading, so that they learn only how the readings differ from it. Where readings lie beyond, strays must explain them better than a long tail. Which is in use, and why, stands with each series; numbers that simulation shows to hold less often than they say are marked as approximate.",
        source: "Pickands 1975; Davison & Smith 1990; Akaike 1974",
    },
    Method {
        question: "Capability",
        how: "High limit, U: (limit − X50) / (X99.865 − X50). Low limit, L: (X50 − limit) / (X50 − X0.135). Called capability (C) only where the series is steady, else performance (P). Where the normal distribution fits and days vary no more than single units would, the interval is the exact one by non-central t. Healthy units expected below the low limit are from the healthy body, readings of open leads kept out.",
        source: "ISO 22514-2 and -4",
    },
    Method {
        question: "Units seen beyond a limit",
        how: "Of the units judged at the limit in force. Exact interval for a share, on counts reduced to what days that hang together are worth.",
        source: "Clopper & Pearson 1934; Korn & Graubard 1998",
    },
    Method {
        question: "Workable band and verdict",
        how: "Lower end: the upper bound of the reading that all but the accepted share of healthy units stay under, carried to the end of the planning horizon where the series drifts. Upper end: the smallest of the reading that the stated leak path would give (in AC, currents add at right angles) less the guard band, the ceiling of the user's standard, and the tester's range; without a stated leak path, the larger of twice as far from the typical reading as the lower end and twice the typical reading.",
        source: "AEC-Q001 for the order of the last rule",
    },
    Method {
        question: "Movement",
        how: "Daily medians, each divided by its station's offset. The shape with the best BIC under correlated errors, its p-value against simulated steady series; slopes by the median of all pairs of points. Flagged is only what is certain over all series together and large enough to matter.",
        source: "Theil 1950; Sen 1968; Mann 1945; Kendall 1954; Hamed & Rao 1998; Benjamini & Hochberg 1995",
    },
    Method {
        question: "Moving average chart",
        how: "Exponentially weighted average of the daily median (weight 0.2), limits for one false alarm in 2000 days, widened where days hang together.",
        source: "Lucas & Saccucci 1990",
    },
    Method {
        question: "Product or tester",
        how: "Logarithms of the readings are split robustly into the level of each model and day and the offset of each station. What one station shows on every model is the tester's; what a model shows on every station is the product's.",
        source: "",
    },
    Method {
        question: "Blind spot",
        how: "V / sqrt(limit² − X50²) for the total current in AC, V / (limit − X50) for DC and in-phase current: circuit theory.",
        source: "",
    },
];

/// Writes the section.
pub(super) fn section(page: &mut String, report: &Report) {
    line!(page, "## How it was computed\n");
    line!(page, "### Settings in force\n");
    header(page, &["setting", "value", "unit", "why"]);
    for s in &report.settings {
        row(
            page,
            &[
                &text(&s.name),
                &text(&s.value),
                &text(&s.unit),
                &text(&s.reason),
            ],
        );
    }
    line!(page, "\n### Methods\n");
    line!(
        page,
        "Sources are cited from memory: none was checked against its text.\n"
    );
    for m in METHODS {
        let source = if m.source.is_empty() {
            String::new()
        } else {
            format!(" ({}, from memory)", m.source)
        };
        line!(page, "- {}: {}{source}", m.question, m.how);
    }
    line!(page, "\n### Version and inputs\n");
    line!(
        page,
        "leakdrift {}, results in the form {}; every random draw comes from seed {}.\n",
        text(&report.made.version),
        report.schema,
        report.made.seed
    );
    header(page, &["file", "bytes", "SHA-256"]);
    for i in &report.made.inputs {
        row(page, &[&name(&i.path), &grouped(i.bytes), &text(&i.sha256)]);
    }
    line!(page);
}
