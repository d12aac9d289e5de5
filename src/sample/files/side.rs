//! The small files beside the exports: settings, events and the calibration register.

use super::Written;

const CONFIG: &str = include_str!("leakdrift.toml");

const EVENTS: &str = "\
date,what,station,model
2025-12-01,new terminal seal,,KB120
2026-02-02,second filter supplier,,SM415
2026-05-11,calibrated and adjusted,A2,
";

const CALIBRATION: &str = "\
instrument,station,done_on,due_on,error_pct
P-17,A1,2025-06-10,2026-06-10,0.1
P-17,A1,2026-06-08,2027-06-08,0.1
P-22,A2,2025-05-12,2026-05-12,
P-22,A2,2026-05-11,2027-05-11,-3.5
P-31,B1,2025-08-04,2026-08-04,0.4
P-31,B1,2026-08-31,2027-08-31,0.4
P-35,B2,2024-11-18,2025-11-18,-0.2
P-35,B2,2025-11-17,2026-11-17,-0.2
";

pub(super) fn files() -> Vec<Written> {
    [("calibration.csv", CALIBRATION), ("events.csv", EVENTS), ("leakdrift.toml", CONFIG)]
        .map(|(name, text)| (name.to_string(), text.as_bytes().to_vec()))
        .into()
}
