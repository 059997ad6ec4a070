//! A unit's page: how it stands, why, and everything that ever happened to it.

use askama::Template;

use super::strip::{StackRow, Strip};
use super::watch::TrendView;
use super::{Action, Fact, Link, Mark, MemberOption, Page, Problems, Shot, Standing, UnitRef};

/// One unit.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/unit.html")]
pub struct UnitPage {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Its kind in words.
    pub profile: String,
    /// Where it is: "Engine 2, driver".
    pub place: String,
    /// Its standing.
    pub standing: Standing,
    /// Why it stands so. For a unit in service: the check that proves it.
    pub grounds: Vec<Ground>,
    /// The strip, thin.
    pub strip: Option<Strip>,
    /// When checked and due by when.
    pub checked: String,
    /// The one thing to do next.
    pub next: Option<Action>,
    /// What else may be done: take out of service, red tag, the ticket.
    pub others: Vec<Link>,
    /// Where it may be moved; none where this visitor may not, or nobody may.
    pub moving: Option<Moving>,
    /// One strip per check, oldest first.
    pub stack: Vec<StackRow>,
    /// What its readings do over time, for whoever works at the bench.
    pub trends: Vec<TrendView>,
    /// Components, cylinder, facepiece, with their numbers.
    pub facts: Vec<Fact>,
    /// Photographs of it, newest first.
    pub shots: Vec<Shot>,
    /// Every check and event, newest first.
    pub events: Vec<Run>,
}

/// Something that stands against a unit, or for it.
#[derive(Clone, Debug, Default)]
pub struct Ground {
    /// The sentence, with reading and limit.
    pub text: String,
    /// Where the limit comes from; or empty.
    pub basis: String,
    /// Who said so and when.
    pub raised: String,
    /// What clears it, and who may: "A return by a technician that lists it".
    pub clears: String,
    /// The record that raised it.
    pub record: Option<Link>,
}

/// Events one after the other: one that says something, or a row of good checks folded up.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// What is folded up: "21 good checks, 26 Oct to 17 Nov"; none for events that are shown.
    pub folded: Option<String>,
    /// The events, newest first.
    pub events: Vec<Event>,
}

/// Something that happened.
#[derive(Clone, Debug)]
pub struct Event {
    /// "26 Nov 07:12".
    pub when: String,
    /// "Shift-start check".
    pub title: String,
    /// What came of it, in a sentence.
    pub detail: String,
    /// By whom.
    pub who: String,
    /// A shape, where it raised or cleared something.
    pub mark: Option<Mark>,
    /// The record's page.
    pub href: String,
}

/// The form that moves it.
#[derive(Clone, Debug, Default)]
pub struct Moving {
    /// Where there is room, by kind of place.
    pub groups: Vec<Destinations>,
    /// What to put right in a form that came back.
    pub problem: Option<String>,
}

/// Places of one kind.
#[derive(Clone, Debug, Default)]
pub struct Destinations {
    /// "Spare".
    pub label: String,
    /// The places.
    pub places: Vec<Destination>,
}

/// A place to move to.
#[derive(Clone, Debug, Default)]
pub struct Destination {
    /// As sent: "seat/engine-2-driver".
    pub value: String,
    /// As read: "Engine 2, driver".
    pub label: String,
}

/// Take a unit out of service on any member's word.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/take_out.html")]
pub struct TakeOut {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Where it is.
    pub place: String,
    /// Its standing now.
    pub standing: Standing,
    /// The id the record will have.
    pub id: String,
    /// Why, as entered.
    pub why: String,
    /// Held for an inquiry: nobody touches it, as entered.
    pub held: bool,
    /// Who may say so: everybody.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}
