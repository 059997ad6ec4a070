//! The rule table: which steps a check has, for which profile, with which limits and
//! consequences. Data, replaceable by a department; every version is kept by the hash of its text.

mod compare;
mod limits;
mod parse;
mod resolve;
mod table;

pub use compare::{Difference, differences};
pub use limits::{Exact, Limits, StepLimits, Wall, Want};
pub use parse::{TableErrors, TableProblem, parse};
pub use resolve::{Ask, Band, Form, FormStep, Sequence, UnknownProfile, resolve};
pub use table::{Alarm, Consequence, Group, Kind, Profile, Purpose, Stages, StagesOf, Step, Subject, Table};

/// The rule table that ships with the program.
pub const DEFAULT: &str = include_str!("default.toml");

#[cfg(test)]
mod tests;
