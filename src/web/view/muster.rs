//! The officer's morning: who rides, who fits, what to move, and the signature under it.

use askama::Template;

use super::roster::RigsOf;
use super::{Link, MemberOption, Page, Problems, UnitRef};

/// A shift to choose.
#[derive(Clone, Debug, Default)]
pub struct ShiftChoice {
    /// "The shift from 07:00".
    pub text: String,
    /// The same page for it.
    pub href: String,
    /// It is the one of this page.
    pub chosen: bool,
}

/// Who is on a rig's seats in a shift.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/crew.html")]
pub struct Crew {
    /// The frame.
    pub page: Page,
    /// The rig.
    pub rig: Link,
    /// Its roster in this shift.
    pub back: String,
    /// "B platoon, shift from 07:00".
    pub shift: String,
    /// When that begins.
    pub start: i64,
    /// Shifts to choose from; none where there is no choice.
    pub shifts: Vec<ShiftChoice>,
    /// What is chosen already as a proposal that nobody has entered yet: "the platoon’s last crew".
    pub last: &'static str,
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
    /// Everybody: the platoon first, then whoever else may wear it, then all others.
    pub groups: Vec<CrewGroup>,
}

impl CrewSeat {
    /// What is known of whoever is chosen.
    pub fn said(&self) -> &str {
        let mut all = self.groups.iter().flat_map(|g| &g.members);
        all.find(|m| m.selected).map_or("", |m| &m.say)
    }
}

/// Some of the members.
#[derive(Clone, Debug, Default)]
pub struct CrewGroup {
    /// "B platoon, Millrace".
    pub label: String,
    /// Who.
    pub members: Vec<CrewMember>,
}

/// A member for a seat.
#[derive(Clone, Debug, Default)]
pub struct CrewMember {
    /// The id, as sent back.
    pub id: String,
    /// The name.
    pub name: String,
    /// "Ana Wick: fit until 3 Mar 2027."
    pub say: String,
    /// Chosen already.
    pub selected: bool,
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
    /// The member's id.
    pub member: String,
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
    /// When the shift begins.
    pub start: i64,
    /// Shifts to choose from; none where there is no choice.
    pub shifts: Vec<ShiftChoice>,
    /// The rig's roster in this shift.
    pub back: String,
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

/// The page that hangs on the wall: rigs only, nobody's name.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/wall.html")]
pub struct Wall {
    /// The station or the department.
    pub title: String,
    /// "B platoon".
    pub platoon: Option<String>,
    /// "Thu 26 Nov · 07:04".
    pub clock: String,
    /// The last record that is in it.
    pub seq: i64,
    /// Whether anybody sits on a seat that is counted.
    pub people: bool,
    /// Stations with their rigs.
    pub stations: Vec<RigsOf>,
}

/// A rig and shift on one printed page.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "print/sheet.html")]
pub struct Sheet {
    /// The department's name.
    pub department: String,
    /// "Millrace station".
    pub station: String,
    /// "Engine 2".
    pub rig: String,
    /// Its roster, to go back to.
    pub back: String,
    /// "B platoon, shift from 07:00".
    pub shift: String,
    /// When it was made, in full.
    pub made: String,
    /// Seats that are ready.
    pub ready: usize,
    /// All seats.
    pub seats: usize,
    /// Who accepted it, and what has changed since.
    pub accepted: Option<String>,
    /// Places in order.
    pub rows: Vec<SheetRow>,
    /// The last record.
    pub seq: i64,
    /// The end of the chain.
    pub head: String,
}

/// A place on the sheet.
#[derive(Clone, Debug, Default)]
pub struct SheetRow {
    /// "Driver".
    pub place: String,
    /// Who rides there.
    pub member: String,
    /// "117".
    pub unit: String,
    /// "Out of service".
    pub standing: String,
    /// What is lacking.
    pub lacks: String,
    /// "C-117, 4,480 psi".
    pub cylinder: String,
    /// When and by whom.
    pub checked: String,
}

/// Units without an inspection in a week or a month.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/uninspected.html")]
pub struct Uninspected {
    /// The frame.
    pub page: Page,
    /// "week" or "month".
    pub span: &'static str,
    /// Its days.
    pub days: u32,
    /// The longest without first.
    pub lines: Vec<UninspectedLine>,
    /// How many units there are.
    pub all: usize,
}

/// A unit without an inspection.
#[derive(Clone, Debug, Default)]
pub struct UninspectedLine {
    /// The unit.
    pub unit: UnitRef,
    /// Where it is.
    pub place: String,
    /// How often it is checked: "Weekly, as set for Reserve 5".
    pub often: String,
    /// "Last good check 3 Oct 07:12".
    pub last: String,
}
