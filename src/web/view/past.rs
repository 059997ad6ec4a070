//! The record of a period, and the questions that checks raise.

use askama::Template;

use super::ticket::StageOption;
use super::{Action, MemberOption, Page};

/// Numbers under their headings; the first column names the row.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The headings.
    pub headings: Vec<String>,
    /// The rows, each as long as the headings.
    pub rows: Vec<Vec<String>>,
}

/// What a period comes to.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/past.html")]
pub struct Past {
    /// The frame.
    pub page: Page,
    /// Rigs to choose from.
    pub rigs: Vec<StageOption>,
    /// The unit asked about, or nothing.
    pub unit: String,
    /// Members to choose from.
    pub members: Vec<MemberOption>,
    /// The first day.
    pub from: String,
    /// The last day.
    pub to: String,
    /// In a sentence.
    pub lead: String,
    /// Late and missed checks by day, drawn.
    pub by_day: Option<String>,
    /// The same in numbers: days with any.
    pub day_table: Table,
    /// Open seats by hour, drawn.
    pub by_hour: Option<String>,
    /// The same in numbers.
    pub hour_table: Table,
    /// By unit.
    pub units: Table,
    /// By who signed.
    pub members_table: Table,
    /// From failure to return.
    pub repairs: Table,
    /// The same in a sentence.
    pub repair_lead: String,
    /// The inspector's pack.
    pub pack: String,
}

/// Questions that checks raise.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/questions.html")]
pub struct Questions {
    /// The frame.
    pub page: Page,
    /// Each question, and where to look.
    pub rows: Vec<(String, Option<Action>)>,
}
