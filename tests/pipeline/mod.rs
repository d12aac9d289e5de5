//! From files to report, end to end.

mod columns;
mod contract;
mod every_setting;
mod exports;
mod flavours;
mod jump;
mod ledger;
mod limit_study;
mod moving_stories;
mod sample_data;
mod settings;
mod stories;
mod tallies;
mod unsteady;
mod workbooks;
