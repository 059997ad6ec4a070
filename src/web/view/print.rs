//! What is printed: the red tag that hangs on a unit.

use askama::Template;

use super::Standing;

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
}
