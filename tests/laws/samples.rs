//! Samples: what they refuse, and how days add up.

use leakdrift::stats::sample::{Grouped, Observation, Sample, SampleError};

#[test]
fn samples_refuse_what_they_cannot_hold() {
    let one = |o: Observation, count: f64| Sample::new([(o, count)]);
    assert_eq!(Sample::new([]), Err(SampleError::Empty));
    assert_eq!(one(Observation::Exact(1.0), 0.0), Err(SampleError::Empty));
    assert_eq!(one(Observation::Exact(f64::NAN), 1.0), Err(SampleError::NotFinite));
    assert_eq!(one(Observation::Above(f64::INFINITY), 1.0), Err(SampleError::NotFinite));
    assert_eq!(one(Observation::Exact(1.0), -1.0), Err(SampleError::BadCount(-1.0)));
    let endless = [Observation::Exact(1.0), Observation::Exact(2.0)].map(|o| (o, f64::MAX));
    assert_eq!(Sample::new(endless), Err(SampleError::BadCount(f64::INFINITY)));
    let backwards = Observation::Between { low: 2.0, high: 1.0 };
    assert_eq!(one(backwards, 1.0), Err(SampleError::EdgesSwapped { low: 2.0, high: 1.0 }));
    let flat = one(Observation::Between { low: 1.0, high: 1.0 }, 2.0).unwrap();
    assert_eq!(flat.lines()[0].observation, Observation::Exact(1.0));
}

#[test]
fn days_add_up_to_the_sample() {
    let x = Observation::Exact;
    let data =
        Grouped::new([(7, x(2.0), 1.0), (3, x(1.0), 2.0), (7, x(1.0), 4.0), (7, x(2.0), 1.0)])
            .unwrap();
    assert_eq!(data.sample(), &Sample::new([(x(1.0), 6.0), (x(2.0), 2.0)]).unwrap());
    let days: Vec<(i32, f64)> = data.days().iter().map(|d| (d.day, d.total())).collect();
    assert_eq!(days, [(3, 2.0), (7, 6.0)]);
    assert_eq!(data.days()[1].counts, [(0, 4.0), (1, 2.0)]);
    let late = data.filter_map(|day, o| (day > 3).then_some(o)).unwrap();
    assert_eq!(late.sample().total(), 6.0);
    assert_eq!(late.days().len(), 1);
    let censored = data.filter_map(|_, _| Some(Observation::Above(0.5))).unwrap();
    assert_eq!(censored.sample().lines().len(), 1);
    assert_eq!(data.filter_map(|_, _| None), Err(SampleError::Empty));
}
