//! Laws by their textbook parameters, as sources state them.

use leakdrift::stats::distribution::{Family, Law};

/// The law with these parameters, in the order of [`Law::params`].
pub fn textbook(family: Family, first: f64, second: f64) -> Law {
    let internal = match family {
        Family::Normal | Family::Lognormal | Family::Gumbel => [first, second.ln()],
        Family::Gamma => [first.ln() + second.ln(), -0.5 * first.ln()],
        Family::Weibull | Family::LogLogistic => [second.ln(), -first.ln()],
    };
    Law::from_internal(family, internal).expect("parameters of the domain")
}
