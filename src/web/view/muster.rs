//! The officer's morning: who rides, who fits, what to move, and the signature under it.

use askama::Template;

use super::{Link, MemberOption, Page, Problems};

/// Who is on a rig's seats in this shift.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/crew.html")]
pub struct Crew {
    /// The frame.
    pub page: Page,
    /// The rig.
    pub rig: Link,
    /// "B platoon, shift from 07:00".
    pub shift: String,
    /// Whether what is chosen is a proposal that nobody has entered yet.
    pub proposed: bool,
    /// The seats.
    pub seats: Vec<CrewSeat>,
    /// What to put right.
    pub problems: Problems,
}

/// A seat with who may sit there.
#[derive(Clone, Debug, Default)]
pub struct CrewSeat {
    /// The form's field.
    pub field: String,
    /// "Driver".
    pub name: String,
    /// "Unit 117, facepiece F-117, size medium".
    pub unit: String,
    /// Everybody, with what is known of them for this seat.
    pub members: Vec<MemberOption>,
}

/// The swap plan.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/swap.html")]
pub struct SwapPlan {
    /// The frame.
    pub page: Page,
    /// What is proposed: key and words.
    pub moves: Vec<(String, String)>,
    /// Seats that stay open, and why.
    pub left: Vec<String>,
    /// What to put right.
    pub problems: Problems,
}

/// The teams that can be fielded.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/teams.html")]
pub struct Teams {
    /// The frame.
    pub page: Page,
    /// The department first, then each station.
    pub parts: Vec<TeamsOf>,
    /// That it is planning help only.
    pub planning: &'static str,
}

/// The teams of one house, or of all.
#[derive(Clone, Debug, Default)]
pub struct TeamsOf {
    /// "Millrace".
    pub name: String,
    /// In a sentence.
    pub count: String,
    /// Each team: who with which unit.
    pub inside: Vec<[String; 2]>,
    /// Who stays outside.
    pub outside: Vec<String>,
}

/// Everybody's fit tests and clearance.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/fitness.html")]
pub struct Fitness {
    /// The frame.
    pub page: Page,
    /// Members, those who cannot ride first.
    pub members: Vec<FitnessLine>,
}

/// A member in a line.
#[derive(Clone, Debug, Default)]
pub struct FitnessLine {
    /// Name and page.
    pub member: Link,
    /// "Cleared, 15 Jan 2026".
    pub clearance: String,
    /// "medium until 3 Mar 2027".
    pub fit: String,
    /// What is missing or runs out soon.
    pub concern: Option<String>,
}

/// One member's fit tests and clearance.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/member.html")]
pub struct FitnessOf {
    /// The frame.
    pub page: Page,
    /// The member's name.
    pub name: String,
    /// The member's page.
    pub href: String,
    /// "Cleared, 15 Jan 2026".
    pub clearance: String,
    /// Fit tests, newest first.
    pub fits: Vec<String>,
    /// As entered: tested, make, model, style, size.
    pub entered: [String; 5],
    /// As entered: the day of the word about clearance.
    pub since: String,
    /// What to put right.
    pub problems: Problems,
}

/// The officer's signature under a rig and its crew.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/accept.html")]
pub struct Accept {
    /// The frame.
    pub page: Page,
    /// The rig.
    pub rig: Link,
    /// "B platoon, shift from 07:00".
    pub shift: String,
    /// Every place.
    pub places: Vec<AcceptPlace>,
    /// The record's id.
    pub id: String,
    /// Names what was shown.
    pub seen: String,
    /// Who may sign.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// A place to be accepted.
#[derive(Clone, Debug, Default)]
pub struct AcceptPlace {
    /// The form's field for the officer's word.
    pub field: String,
    /// "Driver: unit 117, Tobias Wrenfield".
    pub what: String,
    /// Ready.
    pub ready: bool,
    /// What it lacks.
    pub lacks: String,
    /// As entered.
    pub word: String,
}

/// Where a rig is and what it is for.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/status.html")]
pub struct Status {
    /// The frame.
    pub page: Page,
    /// The rig.
    pub rig: Link,
    /// Stations to choose from.
    pub stations: Vec<MemberOption>,
    /// What it may be for.
    pub duties: Vec<MemberOption>,
    /// As entered.
    pub why: String,
    /// Rigs that everything could go to.
    pub rigs: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}
