//! What is lent out and what is borrowed.

use askama::Template;

use super::{Link, MemberOption, Page, Problems};

/// The list, and the form that takes a borrowed unit in.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/loans.html")]
pub struct Loans {
    /// The frame.
    pub page: Page,
    /// What of ours is with others, the longest overdue first.
    pub out: Vec<LoanRow>,
    /// What of others is here.
    pub here: Vec<LoanRow>,
    /// Kinds of unit.
    pub profiles: Vec<MemberOption>,
    /// Stations.
    pub stations: Vec<MemberOption>,
    /// What was entered for a unit to borrow.
    pub draft: LoanDraft,
    /// Whether the form stands open.
    pub open: bool,
    /// What to put right.
    pub problems: Problems,
}

/// One thing on loan, or at a repairer.
#[derive(Clone, Debug, Default)]
pub struct LoanRow {
    /// The thing.
    pub thing: Link,
    /// To or from whom.
    pub other: String,
    /// Reference, their number; why a rig is away.
    pub detail: String,
    /// "Due back 30 Nov 2026"; empty where nothing was said.
    pub back: String,
    /// Whether it is overdue.
    pub late: bool,
    /// How it ends.
    pub end: LoanEnd,
}

/// How a loan ends.
#[derive(Clone, Debug, Default)]
pub enum LoanEnd {
    /// On another page.
    There(Link),
    /// A unit of ours comes back as a spare: the unit's number, and stations with its own chosen.
    Back(String, Vec<MemberOption>),
    /// A unit of others goes back to them.
    Given(String),
    /// Nothing is to be done here.
    #[default]
    Nothing,
}

/// Lend one unit.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/lend.html")]
pub struct Lend {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: Link,
    /// Where it is now.
    pub place: String,
    /// As entered.
    pub draft: LoanDraft,
    /// What to put right.
    pub problems: Problems,
}

/// What was entered.
#[derive(Clone, Debug, Default)]
pub struct LoanDraft {
    /// The number that a borrowed unit has here.
    pub unit: String,
    /// Its owner's number.
    pub theirs: String,
    /// The other department.
    pub other: String,
    /// The paper.
    pub reference: String,
    /// When it is due back.
    pub due_back: String,
}
