//! What is missing from tablets.

use askama::Template;

use super::Page;

/// The list.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/gaps.html")]
pub struct Gaps {
    /// The frame.
    pub page: Page,
    /// Newest first.
    pub rows: Vec<GapRow>,
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
}
