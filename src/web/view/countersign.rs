//! Checks that wait for an officer's countersignature.

use askama::Template;

use super::{Page, Problems, UnitRef};

/// The list.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/countersign.html")]
pub struct Countersign {
    /// The frame.
    pub page: Page,
    /// The checks, oldest first.
    pub rows: Vec<Waits>,
    /// Whether whoever looks can countersign any of them.
    pub any: bool,
    /// Whether checks that come in from now on wait.
    pub required: bool,
    /// Whether an administrator looks, who may change that.
    pub administrator: bool,
    /// What to put right.
    pub problems: Problems,
}

/// One check.
#[derive(Clone, Debug, Default)]
pub struct Waits {
    /// Its number in the logbook, as sent.
    pub seq: i64,
    /// The unit.
    pub unit: UnitRef,
    /// Where that is.
    pub place: String,
    /// "Shift-start check, 07:12, signed by A. Rivera".
    pub what: String,
    /// Whether everything asked was good.
    pub good: bool,
    /// The record.
    pub href: String,
    /// What else there is to say about it.
    pub said: String,
    /// Whether whoever looks may countersign it.
    pub ticks: bool,
    /// Ticked in a form that came back.
    pub ticked: bool,
}
