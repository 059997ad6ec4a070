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
    /// Further rows, folded up.
    pub rest: Vec<Vec<String>>,
    /// What they are: "72 more units".
    pub more: String,
}

/// This many rows are read in one go.
const FEW: usize = 12;

impl Table {
    /// With all but the first rows folded up: at least five of them stay, and a table that is short
    /// anyway stays whole. `what` are the rows.
    pub fn folded(headings: &[&str], mut rows: Vec<Vec<String>>, stay: usize, what: &str) -> Self {
        let rest = if rows.len() > FEW { rows.split_off(stay.clamp(5, rows.len())) } else { Vec::new() };
        let more = format!("{} more {what}", rest.len());
        Self { headings: headings.iter().map(|h| (*h).to_owned()).collect(), rows, rest, more }
    }
}

/// A check in a line.
#[derive(Clone, Debug, Default)]
pub struct CheckLine {
    /// Its record.
    pub href: String,
    /// "26 Nov 07:04, unit 117".
    pub what: String,
    /// Who signed it.
    pub by: String,
    /// "took 1 min 20 s; its steps take 3 min 05 s at least".
    pub say: String,
    /// It took less than its steps.
    pub hurried: bool,
}

/// So many checks are read in one go; the rest is folded up.
const CHECKS: usize = 30;

impl Past {
    /// The checks that are shown at once, and those that are folded up.
    pub fn shown_checks(&self) -> (&[CheckLine], &[CheckLine]) {
        self.checks.split_at(self.checks.len().min(CHECKS))
    }
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
    /// Where a unit or a member was asked about: each check, the newest first.
    pub checks: Vec<CheckLine>,
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
