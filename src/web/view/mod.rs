//! What the templates are given: plain view structs, filled by the handlers.
//!
//! Nothing here knows the domain. A view holds the words and numbers that are to be read, in the
//! order in which they are to be read; a template only places them. Small parts that appear on
//! many screens ([`Standing`], [`Mark`], [`strip::Strip`], [`Problems`]) are templates themselves,
//! so that each of them is drawn in one place.

pub mod auth;
pub mod bench;
pub mod board;
pub mod cadences;
pub mod check;
pub mod clear;
pub mod countersign;
pub mod gaps;
pub mod import;
pub mod kept;
pub mod loans;
pub mod muster;
pub mod parts;
pub mod past;
pub mod pins;
pub mod print;
pub mod problem;
pub mod record;
pub mod register;
pub mod review;
pub mod roster;
pub mod rules;
pub mod settings;
pub mod spares;
pub mod strip;
pub mod tables;
pub mod tablets;
pub mod ticket;
pub mod tokens;
pub mod trust;
pub mod unit;
pub mod unproven;
pub mod unsent;
pub mod upkeep;
pub mod used;
pub mod verdict;
pub mod watch;

use askama::Template;
use askama::filters::HtmlSafe;

/// The frame around every screen.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// What this screen is, for the browser's tab and history.
    pub title: String,
    /// The department's name.
    pub department: String,
    /// The station this tablet looks at, linking to its board; none before one is chosen.
    pub station: Option<Link>,
    /// Day, platoon and time, ready to read: "Thu 26 Nov · B platoon · 07:04".
    pub clock: String,
    /// Where this person may go; denied places are left out, not greyed.
    pub nav: Vec<NavItem>,
    /// Who is signed in, if anybody: a shared tablet often has nobody.
    pub signed_in: Option<SignedIn>,
    /// When the server made this page, in milliseconds since 1970: a page that a tablet kept says
    /// how old it is.
    pub made: i64,
    /// The enrolled tablet that this page is for, for its scripts.
    pub tablet: Option<OwnTablet>,
    /// One sentence about what was just done: "Unit 121 is out of service."
    pub flash: Option<String>,
    /// One sentence that every screen carries until somebody has seen to it.
    pub warning: Option<String>,
    /// The gloves setting: every control grows.
    pub gloves: bool,
    /// What an officer has to be told at once.
    pub late: Vec<Late>,
    /// How much more of it there is.
    pub late_more: usize,
}

/// A record that came late and pulled a unit which had ridden.
#[derive(Clone, Debug, Default)]
pub struct Late {
    /// In sentences.
    pub text: String,
    /// The record.
    pub href: String,
}

/// How an enrolled tablet is known.
#[derive(Clone, Debug, Default)]
pub struct OwnTablet {
    /// Its name in records.
    pub id: String,
    /// Its public key in hexadecimal; empty where it has none.
    pub key: String,
}

/// Words that lead somewhere.
#[derive(Clone, Debug, Default)]
pub struct Link {
    /// What is read.
    pub text: String,
    /// Where it leads.
    pub href: String,
}

/// One place in the navigation.
#[derive(Clone, Debug, Default)]
pub struct NavItem {
    /// What is read.
    pub text: String,
    /// Where it leads.
    pub href: String,
    /// Whether this screen is that place.
    pub here: bool,
}

/// The member who is signed in.
#[derive(Clone, Debug, Default)]
pub struct SignedIn {
    /// The member's name.
    pub name: String,
    /// The role in one word: "crew", "officer", "technician", "administrator".
    pub role: String,
}

/// A thing to do, as a link that looks like a button. The text is a verb.
#[derive(Clone, Debug, Default)]
pub struct Action {
    /// The verb: "Start check", "See why".
    pub text: String,
    /// Where it leads.
    pub href: String,
    /// The one thing to do next. At most one action on a screen has this: it takes the accent.
    pub next: bool,
}

/// A unit as it is named on a screen.
#[derive(Clone, Debug, Default)]
pub struct UnitRef {
    /// The asset number: "117".
    pub number: String,
    /// The unit's page: "/units/117".
    pub href: String,
}

/// A member in a list to choose from.
#[derive(Clone, Debug, Default)]
pub struct MemberOption {
    /// The member's id, as sent back.
    pub id: String,
    /// Name, and what tells two of the same name apart.
    pub name: String,
    /// Chosen already.
    pub selected: bool,
}

/// A photograph.
#[derive(Clone, Debug, Default)]
pub struct Shot {
    /// The picture; none while it has not arrived.
    pub href: Option<String>,
    /// What is to be seen.
    pub what: String,
    /// When and by whom.
    pub when: String,
}

/// A labelled value: "Serial" / "R-20418".
#[derive(Clone, Debug, Default)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// Its value, ready to read.
    pub value: String,
}

/// A unit's standing, worst first. Told by word, shape and position, then by colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Template)]
#[template(path = "shared/standing.html")]
pub enum Standing {
    /// Never to be used again.
    Retired,
    /// Kept untouched for an inquiry.
    Held,
    /// Not to be used until a technician returns it.
    OutOfService,
    /// Something the crew can put right on the spot.
    PutRight,
    /// Nothing wrong is known, but it has not been proved in time.
    CheckDue,
    /// A facepiece or cylinder, which is checked with a unit only: nothing is open against it.
    NothingAgainst,
    /// Proved, and nothing is open against it.
    InService,
}

impl Standing {
    /// The word that is read.
    pub fn word(self) -> &'static str {
        match self {
            Self::Retired => "Retired",
            Self::Held => "Held",
            Self::OutOfService => "Out of service",
            Self::PutRight => "Put right",
            Self::CheckDue => "Check due",
            Self::NothingAgainst => "Nothing against it",
            Self::InService => "In service",
        }
    }

    /// The class that the style sheet knows it by.
    pub fn class(self) -> &'static str {
        match self {
            Self::Retired => "retired",
            Self::Held => "held",
            Self::OutOfService => "out",
            Self::PutRight => "put-right",
            Self::CheckDue => "due",
            Self::NothingAgainst => "nothing",
            Self::InService => "in",
        }
    }

    /// The shape it is drawn with.
    pub fn mark(self) -> Mark {
        match self {
            Self::Retired => Mark::Outline,
            Self::Held => Mark::Double,
            Self::OutOfService => Mark::Struck,
            Self::PutRight => Mark::Notched,
            Self::CheckDue => Mark::Dashed,
            Self::NothingAgainst => Mark::Line,
            Self::InService => Mark::Full,
        }
    }

    /// How wide the plate is that carries the word: its margins, and at the right the room for
    /// the stroke or the notch.
    pub fn plate(self) -> u16 {
        let room = match self {
            Self::OutOfService | Self::PutRight => 120,
            _ => 0,
        };
        (44 + self.width() + 44 + room).max(600)
    }

    /// How wide the word is in a bold face 100 high, so that it can be set across the screen
    /// without being visibly stretched, whatever face the device has.
    pub fn width(self) -> u16 {
        match self {
            Self::Retired => 372,
            Self::Held => 232,
            Self::OutOfService => 690,
            Self::PutRight => 432,
            Self::CheckDue => 490,
            Self::NothingAgainst => 850,
            Self::InService => 492,
        }
    }
}

impl HtmlSafe for Standing {}

/// The shapes. Also used where a group of steps or a finding is marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Template)]
#[template(path = "shared/mark.html")]
pub enum Mark {
    /// A full bar: proved, done.
    Full,
    /// An open bar with a dashed edge: still to do.
    Dashed,
    /// A bar with a notch: to be put right.
    Notched,
    /// A bar struck through by one heavy stroke: out of service.
    Struck,
    /// A double frame: held.
    Double,
    /// An empty outline: retired.
    Outline,
    /// A line: nothing known against it, and nothing for it.
    Line,
}

impl HtmlSafe for Mark {}

/// What was found fault with in a form that came back. Renders as the summary at the top.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "shared/problems.html")]
pub struct Problems {
    /// One line per field, in the order of the form.
    pub lines: Vec<ProblemLine>,
}

/// One thing to put right in a form.
#[derive(Clone, Debug, Default)]
pub struct ProblemLine {
    /// The field's name, which is also its id: "pin", "a.cylinder-pressure.1.at".
    pub field: String,
    /// What to do: "Give the pressure as a number, such as 4480."
    pub text: String,
}

/// The same of a form that asks for a PIN, which no page gives back.
#[derive(Clone, Debug, Template)]
#[template(path = "shared/problems.html")]
pub struct Signed<'a> {
    lines: &'a [ProblemLine],
}

impl Signed<'_> {
    /// Whether a PIN is to be given again.
    const PIN: bool = true;
}

impl HtmlSafe for Signed<'_> {}

impl Problems {
    /// The summary of a form that asks for a PIN.
    pub fn signed(&self) -> Signed<'_> {
        Signed { lines: &self.lines }
    }

    /// Whether a PIN is to be given again.
    const PIN: bool = false;

    /// What there is to say at one field.
    pub fn at(&self, field: &str) -> Option<&str> {
        self.lines.iter().find(|line| line.field == field).map(|line| line.text.as_str())
    }
}

impl HtmlSafe for Problems {}

/// JSON as it may stand inside a script element: "<" cannot end the element early.
pub fn in_script(json: &str) -> String {
    json.replace('<', "\\u003c")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn templates(folder: &Path, found: &mut Vec<(String, String)>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                templates(&path, found);
            } else {
                found.push((path.display().to_string(), std::fs::read_to_string(&path).unwrap()));
            }
        }
    }

    #[test]
    fn no_template_carries_a_style_or_a_script_of_its_own() {
        let mut found = Vec::new();
        templates(&Path::new(env!("CARGO_MANIFEST_DIR")).join("templates"), &mut found);
        assert!(found.len() > 20, "the templates were not found");
        for (path, text) in found {
            for banned in [" style=", "<style", " onclick=", " onload=", " onchange=", "javascript:"] {
                assert!(!text.contains(banned), "{path} contains {banned}");
            }
            for script in text.split("<script").skip(1) {
                assert!(
                    script.starts_with(" type=\"module\" src=\"/static/")
                        || script.starts_with(" type=\"application/json\""),
                    "{path} has a script of its own"
                );
            }
        }
    }

    #[test]
    fn standings_compare_worst_first() {
        use Standing::{CheckDue, Held, InService, NothingAgainst, OutOfService, PutRight, Retired};
        let mut all = [InService, PutRight, Retired, NothingAgainst, CheckDue, OutOfService, Held];
        all.sort();
        assert_eq!(all, [Retired, Held, OutOfService, PutRight, CheckDue, NothingAgainst, InService]);
    }

    #[test]
    fn every_standing_is_told_by_a_word_and_a_shape_of_its_own() {
        use Standing::{CheckDue, Held, InService, NothingAgainst, OutOfService, PutRight, Retired};
        let all = [Retired, Held, OutOfService, PutRight, CheckDue, NothingAgainst, InService];
        for (index, one) in all.iter().enumerate() {
            let drawn = one.render().unwrap();
            assert!(drawn.contains(one.word()), "{drawn}");
            for other in &all[index + 1..] {
                assert_ne!(one.mark().render().unwrap(), other.mark().render().unwrap());
                assert_ne!(one.word(), other.word());
            }
        }
    }

    #[test]
    fn a_form_that_came_back_names_each_field_and_leads_to_it() {
        let problems =
            Problems { lines: vec![ProblemLine { field: "pin".into(), text: "Give the <PIN>.".into() }] };
        let html = problems.render().unwrap();
        assert!(html.contains("id=\"problems\" tabindex=\"-1\" autofocus"), "{html}");
        assert!(html.contains("<a href=\"#pin\">Give the &#60;PIN&#62;.</a>"), "{html}");
        assert_eq!(problems.at("member"), None);
        assert_eq!(Problems::default().render().unwrap().trim(), "");
    }
}
