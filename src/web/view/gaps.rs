//! What is missing from tablets.

use askama::Template;

use super::{Page, Problems};

/// The list.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/gaps.html")]
pub struct Gaps {
    /// The frame.
    pub page: Page,
    /// What nobody has dealt with, newest first.
    pub rows: Vec<GapRow>,
    /// What somebody has, newest first.
    pub dealt: Vec<DealtRow>,
    /// What to put right.
    pub problems: Problems,
}

/// One place at which a tablet's records do not follow one another.
#[derive(Clone, Debug, Default)]
pub struct GapRow {
    /// The tablet's name.
    pub tablet: String,
    /// "number 18 never arrived".
    pub what: String,
    /// When that showed.
    pub seen: String,
    /// What to do.
    pub now: String,
    /// Its name, as sent; also the id of its field.
    pub key: String,
    /// What was found out, as entered.
    pub why: String,
}

/// One that somebody has looked into.
#[derive(Clone, Debug, Default)]
pub struct DealtRow {
    /// "Tablet 4: number 18 never arrived".
    pub what: String,
    /// "A. Rivera, 07:12".
    pub who: String,
    /// What was found out.
    pub why: String,
    /// The record of it.
    pub href: String,
}
