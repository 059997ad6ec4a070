//! What is printed: the red tag that hangs on a unit, and labels.

use askama::Template;

use super::Standing;
use super::ticket::StageOption;

/// The red tag. Legible in black and white: the word and the stroke carry it, not the colour.
#[derive(Clone, Debug, Template)]
#[template(path = "print/tag.html")]
pub struct RedTag {
    /// The department's name.
    pub department: String,
    /// The station and place it was taken from.
    pub place: String,
    /// The unit's asset number.
    pub unit: String,
    /// The unit's page, to go back to.
    pub back: String,
    /// Its kind in words.
    pub profile: String,
    /// Its standing.
    pub standing: Standing,
    /// The grounds, each a sentence.
    pub grounds: Vec<String>,
    /// When it was taken out.
    pub when: String,
    /// By whom.
    pub signer: String,
    /// The ticket's number.
    pub ticket: Option<String>,
    /// The record's digest, shortened, by which the tag is matched to the logbook.
    pub record: String,
    /// The QR code that leads to the unit's page.
    pub code: Option<String>,
}

/// Asset labels in sheets, for the number plates of things.
#[derive(Clone, Debug, Template)]
#[template(path = "print/labels.html")]
pub struct Labels {
    /// The department's name.
    pub department: String,
    /// Kinds of thing to choose from.
    pub kinds: Vec<StageOption>,
    /// Stations to choose from.
    pub stations: Vec<StageOption>,
    /// Numbers alone, as entered.
    pub numbers: String,
    /// The address that the codes lead to.
    pub address: String,
    /// One label a thing.
    pub labels: Vec<Label>,
}

/// A label.
#[derive(Clone, Debug)]
pub struct Label {
    /// "Unit".
    pub kind: String,
    /// Its number.
    pub number: String,
    /// Its kind in words.
    pub words: String,
    /// The QR code that leads to its page.
    pub code: Option<String>,
}
