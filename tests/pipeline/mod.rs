//! From files to report, end to end.

mod alike;
mod columns;
mod contract;
mod every_setting;
mod exports;
mod flavours;
mod hand_written;
mod jump;
mod ledger;
mod limit_study;
mod misread;
mod moments;
mod moving_stories;
mod never_a_pass;
mod paths;
mod people;
mod retold;
mod sample_data;
mod settings;
mod settings_told;
mod stories;
mod strangers;
mod tallies;
mod unsteady;
mod values;
mod workbooks;
