//! What charts over time mark on days: values, steps, events and limits.

/// A value on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnDay {
    /// Days since 1970-01-01.
    pub day: i32,
    /// The value.
    pub value: f64,
}

/// A step in time, with the interval of its date.
#[derive(Debug, Clone, PartialEq)]
pub struct StepOn {
    /// Most likely first day after the step.
    pub day: i32,
    /// First day of its interval.
    pub low: i32,
    /// Last day of its interval.
    pub high: i32,
    /// Its size in words, with unit (`+0.08 mA`).
    pub size: String,
}

/// Something recorded on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct EventOn {
    /// Days since 1970-01-01.
    pub day: i32,
    /// What happened.
    pub what: String,
}

/// A limit from a day on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitFrom {
    /// First day, days since 1970-01-01.
    pub day: i32,
    /// High limit; `None` where there was none.
    pub high: Option<f64>,
    /// Low limit; `None` where there was none.
    pub low: Option<f64>,
}
