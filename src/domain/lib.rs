//! The pure core of airmuster: what is measured, which rules apply, what an answer means, what
//! was recorded, and what follows for a unit. No clock, no I/O and no randomness: time and
//! identifiers are arguments.
//!
//! Read it in this order: [`quantity`] → [`rules`] (table, parse, resolve) → [`judge`] →
//! [`record`], [`ground`], [`standing`] → [`mod@bench`], [`readiness`], [`swap`].
#![warn(missing_docs)]

pub mod air;
pub mod bay;
pub mod bench;
pub mod cadence;
pub mod desk;
pub mod drift;
pub mod fitted;
pub mod ground;
pub mod judge;
pub mod notice;
pub mod practice;
pub mod proving;
pub mod quantity;
pub mod readiness;
pub mod readings;
pub mod record;
pub mod role;
pub mod rules;
pub mod shift;
pub mod shortcuts;
pub mod standing;
pub mod swap;
pub mod tally;
mod text;
pub mod upkeep;

/// A moment in milliseconds since 1970-01-01T00:00:00Z.
pub type Millis = i64;

/// The version of the judge, kept with every check so that a later judge can tell which
/// arithmetic an earlier verdict came from. It changes when the same answers and the same rule
/// table would give another verdict.
pub const ENGINE: u32 = 1;
