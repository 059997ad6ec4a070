//! Enrolling tablets, the list of them, and giving one up.

use askama::Template;

use super::{MemberOption, Page, Problems};

/// The form on the tablet, sent to `/enrol` as `code`, and by the script `key` and `proof`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "auth/enrol.html")]
pub struct Enrol {
    /// The frame.
    pub page: Page,
    /// As typed.
    pub code: String,
    /// What this tablet is called already, where it is enrolled.
    pub known_as: Option<String>,
    /// What to put right.
    pub problems: Problems,
}

/// Enrolled.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "auth/enrolled.html")]
pub struct Enrolled {
    /// The frame.
    pub page: Page,
    /// What the tablet is called from now on.
    pub name: String,
    /// Whether it signs with a key of its own.
    pub signs: bool,
    /// The board of its station.
    pub board: String,
}

/// The list, sent to `/tablets` as `name` and `place`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/tablets.html")]
pub struct Tablets {
    /// The frame.
    pub page: Page,
    /// All that are in use.
    pub rows: Vec<Row>,
    /// All that were given up.
    pub gone: Vec<Row>,
    /// A code that was just made; it is shown this once.
    pub code: Option<Code>,
    /// The name as typed.
    pub name: String,
    /// Stations to choose from.
    pub stations: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// A code to be read out.
#[derive(Clone, Debug, Default)]
pub struct Code {
    /// "4827 1930".
    pub digits: String,
    /// The tablet's name.
    pub name: String,
    /// Where to type it: "/enrol".
    pub until: String,
}

/// A tablet.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Its station.
    pub station: String,
    /// Its own page.
    pub href: String,
    /// "Heard 06:58" or "Given up 26 Nov 07:12".
    pub heard: String,
    /// "Holds 3 records, the oldest for 5 hours".
    pub holds: String,
    /// Whether what it holds has waited for long.
    pub long: bool,
    /// "Signs with its own key" or why not.
    pub key: String,
}

/// A tablet's own page, and how it is given up: sent to `revoke` as `number`, `incarnation` and `why`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/tablet.html")]
pub struct Tablet {
    /// The frame.
    pub page: Page,
    /// The tablet.
    pub row: Row,
    /// What is known of it.
    pub facts: Vec<super::Fact>,
    /// Still in use.
    pub in_use: bool,
    /// The last number that is believed, as typed.
    pub number: String,
    /// Of which incarnation.
    pub incarnation: String,
    /// What speaks for which number, in a sentence.
    pub advice: String,
    /// Why, as typed.
    pub why: String,
    /// What to put right.
    pub problems: Problems,
}
