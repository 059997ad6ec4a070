//! Rule tables: the one in force, drafts, and one of them in full.

use askama::Template;

use super::register::Choice;
use super::{Link, Page};

/// All tables.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/rules.html")]
pub struct Rules {
    /// The frame.
    pub page: Page,
    /// What was done, or what to do.
    pub say: String,
    /// What to put right in the text, each with its line.
    pub problems: Vec<String>,
    /// The one in force.
    pub now: TableRow,
    /// Drafts.
    pub drafts: Vec<TableRow>,
    /// Those that were in force.
    pub before: Vec<TableRow>,
}

/// A table in a list.
#[derive(Clone, Debug, Default)]
pub struct TableRow {
    /// Name and edition.
    pub link: Link,
    /// Since when, by whom, or when it begins.
    pub say: String,
    /// Why it is not in force although it should be.
    pub refused: String,
}

/// One table.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/table.html")]
pub struct OneTable {
    /// The frame.
    pub page: Page,
    /// Name and edition.
    pub title: String,
    /// How it stands.
    pub row: TableRow,
    /// Its path.
    pub href: String,
    /// Whether it is a draft.
    pub draft: bool,
    /// Whether it has been given a time.
    pub planned: bool,
    /// What stands against putting it in force.
    pub warnings: Vec<String>,
    /// What differs from the one in force.
    pub differences: Vec<DifferenceRow>,
    /// What came of trying it, in a sentence.
    pub tried: String,
    /// Units that would have been out of service.
    pub pulled: Vec<TriedRow>,
    /// Units that would not have been.
    pub spared: Vec<TriedRow>,
    /// Units whose last check does not pass it.
    pub again: Vec<TriedRow>,
    /// What to put right in the form, by field.
    pub problems: super::Problems,
    /// The day that was given.
    pub day: String,
    /// The time of day that was given.
    pub time: String,
    /// For how many hours checks made with the table before still count.
    pub hours: String,
    /// Profiles to choose from.
    pub profiles: Vec<Choice>,
    /// Checks to choose from.
    pub purposes: Vec<Choice>,
    /// The steps of the chosen check.
    pub groups: Vec<RuleGroup>,
}

/// Something that differs.
#[derive(Clone, Debug, Default)]
pub struct DifferenceRow {
    /// What it is about.
    pub place: String,
    /// In force.
    pub before: String,
    /// In the draft.
    pub after: String,
}

/// A unit that a draft judges otherwise.
#[derive(Clone, Debug, Default)]
pub struct TriedRow {
    /// The unit.
    pub unit: Link,
    /// When it was checked.
    pub when: Link,
    /// What takes it out of service.
    pub why: String,
}

/// A section of the form.
#[derive(Clone, Debug, Default)]
pub struct RuleGroup {
    /// Its heading.
    pub title: String,
    /// Its caution.
    pub caution: String,
    /// Its steps.
    pub steps: Vec<RuleStep>,
}

/// A step, as it is asked.
#[derive(Clone, Debug, Default)]
pub struct RuleStep {
    /// Its title.
    pub title: String,
    /// What to do.
    pub instruction: String,
    /// What is right, with this profile's number.
    pub right: String,
    /// What follows otherwise.
    pub otherwise: String,
    /// A caution beside it.
    pub caution: String,
    /// Where it comes from.
    pub basis: String,
}
