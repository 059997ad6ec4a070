//! A record as it stands in the logbook, and the settling of a doubtful one.

use askama::Template;

use super::review::{EnteredGroup, Finding};
use super::{Fact, Link, MemberOption, Page, Problems, Shot, Standing, UnitRef};

/// Everything in one record.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/record.html")]
pub struct Record {
    /// The frame.
    pub page: Page,
    /// "Shift-start check", "Returned to service".
    pub kind: String,
    /// The unit it is about, if any.
    pub unit: Option<UnitRef>,
    /// When it happened.
    pub when: String,
    /// By whom, and who wrote it down.
    pub who: String,
    /// What it made of the unit, if it was judged.
    pub standing: Option<Standing>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// What was entered.
    pub groups: Vec<EnteredGroup>,
    /// Other contents: reason, stage, parts worked on, grounds cleared.
    pub facts: Vec<Fact>,
    /// Photographs that belong to it.
    pub shots: Vec<Shot>,
    /// Where it came from and when it was received: tablet, number, rule table, engine.
    pub provenance: Vec<Fact>,
    /// Id, digest, chain hash and the one before.
    pub seals: Vec<Fact>,
    /// Why it needs somebody's attention; none if nothing is doubtful.
    pub doubt: Option<String>,
    /// Settle, correct, see the ticket.
    pub others: Vec<Link>,
}

/// An officer settles a contested, unproven or doubted record, naming every variant.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/settle.html")]
pub struct Settle {
    /// The frame.
    pub page: Page,
    /// Where the form is sent.
    pub action: String,
    /// What the record is about: "Unit 117".
    pub about: Link,
    /// What is in doubt, in a sentence.
    pub doubt: String,
    /// Every variant that arrived.
    pub variants: Vec<Variant>,
    /// Chosen that none holds.
    pub none_holds: bool,
    /// What was decided, as entered.
    pub why: String,
    /// Who may settle.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// An officer says that a check was made on another unit than it names, or that something in it
/// was misread.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/correct.html")]
pub struct Correct {
    /// The frame.
    pub page: Page,
    /// Where the form is sent.
    pub action: String,
    /// The check: "Shift-start check of unit 117, 07:14, signed by Ana Wick".
    pub about: Link,
    /// The unit that it names.
    pub unit: String,
    /// The corrections that hold by now.
    pub before: Vec<Link>,
    /// Their hashes, sent along.
    pub after: Vec<String>,
    /// Chosen: `unit`, `step` or nothing yet.
    pub what: String,
    /// The right unit's number, as entered.
    pub right: String,
    /// What was answered; empty where it cannot have been misread.
    pub steps: Vec<Answered>,
    /// Why, as entered.
    pub why: String,
    /// Who may correct.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// A step and what was entered there.
#[derive(Clone, Debug, Default)]
pub struct Answered {
    /// The step's id, as sent.
    pub id: String,
    /// What it asks.
    pub title: String,
    /// What was entered.
    pub answer: String,
    /// Ticked in a form that came back.
    pub ticked: bool,
}

/// One variant of a record.
#[derive(Clone, Debug, Default)]
pub struct Variant {
    /// Its digest, as sent.
    pub digest: String,
    /// "Version 1, received 07:14 from tablet 4".
    pub title: String,
    /// What tells it from the others, in a few words: "Version 1: everything asked is good."
    pub short: String,
    /// What it says, in sentences.
    pub says: Vec<String>,
    /// The record's page.
    pub href: String,
    /// Ticked as read in a form that came back.
    pub ticked: bool,
    /// Chosen as the one that holds.
    pub holds: bool,
}
