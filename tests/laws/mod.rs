//! What must hold whatever the data are.

mod averages;
mod body;
mod body_charts;
mod chart_inputs;
mod charts;
mod drift_rates;
mod edges;
mod estimators;
mod factory;
mod families;
mod goodness;
mod hostile;
mod jumps;
mod limit_choices;
mod limit_pages;
mod low_side;
mod misread;
mod month_change;
mod movement;
pub mod page_report;
mod pages;
mod report_folder;
mod samples;
mod share;
mod tail;
mod time;
mod verdicts;
