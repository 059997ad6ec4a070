//! Clearing by a signature alone: the end of a hold, cleaning, acceptance into service.

use askama::Template;

use super::{Link, MemberOption, Page, Problems, Standing, UnitRef};

/// One act, the grounds it clears, and who signs.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/clear.html")]
pub struct Clear {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Where it is.
    pub place: String,
    /// Its standing now.
    pub standing: Standing,
    /// "Unit 108 is clean".
    pub title: String,
    /// What follows from it.
    pub lead: String,
    /// What it clears; each is ticked by hand, none in advance.
    pub ticks: Vec<Tick>,
    /// What else is open and stays so, in sentences.
    pub stays: Vec<String>,
    /// What was packed with it and is still held, with the way to its release.
    pub packed: Vec<Link>,
    /// The check that an acceptance rests on.
    pub proof: Option<Proof>,
    /// What can hurt, said above the signature.
    pub caution: Option<String>,
    /// The reason; none where the record has no room for one.
    pub why: Option<Why>,
    /// Who may sign.
    pub members: Vec<MemberOption>,
    /// The verb: "It is clean".
    pub button: String,
    /// What to put right.
    pub problems: Problems,
}

/// A ground to tick.
#[derive(Clone, Debug, Default)]
pub struct Tick {
    /// Its key, as sent.
    pub key: String,
    /// In a sentence.
    pub text: String,
    /// Who said so and when.
    pub raised: String,
    /// Ticked in a form that came back.
    pub ticked: bool,
}

/// The acceptance check.
#[derive(Clone, Debug, Default)]
pub struct Proof {
    /// Its digest, sent along.
    pub digest: String,
    /// When and by whom, in a sentence.
    pub text: String,
    /// The record.
    pub href: String,
}

/// A reason to write down.
#[derive(Clone, Debug, Default)]
pub struct Why {
    /// What is asked: "How it was cleaned".
    pub label: String,
    /// As entered.
    pub text: String,
}
