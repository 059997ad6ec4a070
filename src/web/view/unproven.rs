//! Checks and acceptances that wait for their signer's PIN.

use askama::Template;

use super::{Link, Page, Problems};

/// The list.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/unproven.html")]
pub struct Unproven {
    /// The frame.
    pub page: Page,
    /// The checks, oldest first, then acceptances.
    pub rows: Vec<UnprovenRow>,
    /// What to put right.
    pub problems: Problems,
    /// Whether an officer looks.
    pub officer: bool,
}

/// One of them.
#[derive(Clone, Debug, Default)]
pub struct UnprovenRow {
    /// Who signed.
    pub who: String,
    /// The unit or the rig.
    pub about: Link,
    /// "Shift-start check".
    pub what: String,
    /// When.
    pub when: String,
    /// The record's page, under which the form is sent.
    pub href: String,
    /// The id of this row's PIN field.
    pub field: String,
    /// What became of the PIN that came with it, where no other is asked for.
    pub said: Option<String>,
    /// Whether whoever looks may settle it.
    pub settle: bool,
    /// The id of the field for the officer's PIN, where whoever looks may attest it.
    pub attest: Option<String>,
}
