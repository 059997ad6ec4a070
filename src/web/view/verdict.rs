//! The verdict: may it ride, and why.

use askama::Template;

use super::strip::Strip;
use super::{Action, Link, Page, Standing, UnitRef};

/// What a check made of a unit.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/verdict.html")]
pub struct Verdict {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Where it rides.
    pub place: String,
    /// One word.
    pub standing: Standing,
    /// The grounds, each a sentence with its figures. Never empty.
    pub grounds: Vec<String>,
    /// What to do with one's hands now: "Take it off the rig and hang the tag on it."
    pub now: String,
    /// What the bay's temperature means for the pressure that was read.
    pub bay: Option<String>,
    /// The one thing to do next.
    pub next: Action,
    /// Other ways on, quieter.
    pub others: Vec<Link>,
    /// The red tag to print, if it is out of service.
    pub tag: Option<String>,
    /// The ticket that was opened.
    pub ticket: Option<Link>,
    /// The strip, thin.
    pub strip: Option<Strip>,
    /// Who signed, when, and the record it became: "Signed by D. Arkwright at 07:12."
    pub signed: String,
    /// The record.
    pub record: Link,
    /// The run of the check: this page is the receipt by which a tablet forgets its draft.
    pub run: String,
}
