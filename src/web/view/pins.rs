//! PINs that are not taken any more.

use askama::Template;

use super::Page;

/// The list.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/pins.html")]
pub struct Pins {
    /// The frame.
    pub page: Page,
    /// Members first, then tablets.
    pub rows: Vec<StoppedRow>,
}

/// A member or a tablet.
#[derive(Clone, Debug, Default)]
pub struct StoppedRow {
    /// "A. Rivera", "Tablet 4".
    pub who: String,
    /// "20 wrong, the last today 07:12".
    pub since: String,
    /// The name of the form's field.
    pub field: &'static str,
    /// Its value.
    pub name: String,
}
