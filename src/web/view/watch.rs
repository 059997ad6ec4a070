//! What slowly goes wrong: the watch list, and the charts of a unit.

use askama::Template;

use super::{Page, Standing, UnitRef};

/// The watch list.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/watch.html")]
pub struct WatchList {
    /// The frame.
    pub page: Page,
    /// The soonest first.
    pub rows: Vec<WatchRow>,
}

/// A unit with a reading that goes toward its limit.
#[derive(Clone, Debug)]
pub struct WatchRow {
    /// The unit.
    pub unit: UnitRef,
    /// Where it is.
    pub place: String,
    /// How it stands now.
    pub standing: Standing,
    /// The day on which the limit is reached.
    pub date: String,
    /// Whether that day is over.
    pub past: bool,
    /// The reading.
    pub trend: TrendView,
}

/// A reading over time.
#[derive(Clone, Debug)]
pub struct TrendView {
    /// "Gauges apart".
    pub title: String,
    /// The chart, as SVG made here.
    pub chart: Option<String>,
    /// Its numbers, in sentences.
    pub says: Vec<String>,
}
