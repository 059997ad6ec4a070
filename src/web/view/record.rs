//! A record as it stands in the logbook, and the settling of a doubtful one.

use askama::Template;

use super::review::{EnteredGroup, Finding};
use super::{Fact, Link, MemberOption, Page, Problems, Standing, UnitRef};

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
