//! Taking in a tablet's file.

use askama::Template;

use super::{Fact, Page, Problems};

/// The form and, after it was sent, what became of each record.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/import.html")]
pub struct Import {
    /// The frame.
    pub page: Page,
    /// "Record 1" / "stored".
    pub outcomes: Vec<Fact>,
    /// What to put right.
    pub problems: Problems,
}
