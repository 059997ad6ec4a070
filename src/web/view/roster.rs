//! The rig roster, for the officer: open seats first.

use askama::Template;

use super::muster::ShiftChoice;
use super::strip::Strip;
use super::{Action, Mark, Page, Standing, UnitRef};

/// All rigs, with how many seats of each are ready.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/rigs.html")]
pub struct Rigs {
    /// The frame.
    pub page: Page,
    /// "B platoon"; none without a rotation.
    pub platoon: Option<String>,
    /// Stations with their rigs.
    pub stations: Vec<RigsOf>,
    /// That teams are planning help only.
    pub planning: &'static str,
}

/// A station's rigs.
#[derive(Clone, Debug, Default)]
pub struct RigsOf {
    /// The station's name.
    pub station: String,
    /// Its rigs, in order.
    pub rigs: Vec<RigTile>,
    /// How many teams its crews can field; none where no crew was entered.
    pub teams: Option<String>,
}

/// A rig in a line.
#[derive(Clone, Debug, Default)]
pub struct RigTile {
    /// "Engine 2".
    pub name: String,
    /// Its roster.
    pub href: String,
    /// "Staffed, 3 on it"; none where no roster is kept.
    pub state: Option<String>,
    /// Its places that are not ready: "Driver: check due"; none when all are.
    pub open: Vec<String>,
    /// Of those that are ready, how many on their last check, and by when the next one is due: "3 due by
    /// 08:30".
    pub due: Option<String>,
    /// Seats that are ready; where nobody rides it, units.
    pub ready: usize,
    /// All seats.
    pub seats: usize,
    /// It answers no calls, or nobody rides it: it is neither open nor full.
    pub aside: bool,
    /// Another department has it: what is on it is not counted.
    pub away: bool,
}

impl RigTile {
    /// How it is manned, what is open and what falls due, in a line.
    pub fn words(&self) -> String {
        let parts: Vec<&str> =
            self.state.iter().chain(&self.open).chain(&self.due).map(String::as_str).collect();
        parts.join(" · ")
    }
}

/// One rig: which seats are ready, and what fixes the others.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/roster.html")]
pub struct Roster {
    /// The frame.
    pub page: Page,
    /// "Engine 2".
    pub rig: String,
    /// "Millrace station".
    pub station: String,
    /// "Staffed, 3 on it"; none where no roster is kept.
    pub state: Option<String>,
    /// Shifts to choose from; none where there is no choice.
    pub shifts: Vec<ShiftChoice>,
    /// Seats that are ready.
    pub ready: usize,
    /// All seats.
    pub seats: usize,
    /// It answers no calls, or nobody rides it: its units are counted.
    pub aside: bool,
    /// Seats and kits, open ones first.
    pub rows: Vec<Seat>,
    /// What else is worth knowing: "2 checks fall due by 08:30".
    pub notes: Vec<String>,
    /// A swap worth proposing, said once.
    pub swap: Option<Swap>,
    /// Who reviewed it and when, and what has changed since.
    pub accepted: Option<String>,
    /// What else can be done here.
    pub acts: Vec<Action>,
}

/// A seat or kit of the rig.
#[derive(Clone, Debug, Default)]
pub struct Seat {
    /// "Driver".
    pub place: String,
    /// Who sits there, where people are assigned.
    pub member: Option<String>,
    /// The unit.
    pub unit: Option<UnitRef>,
    /// What is here if it is not a unit: "Cylinder C-301".
    pub thing: Option<String>,
    /// Its standing.
    pub standing: Option<Standing>,
    /// Whether the seat is ready. A seat can be open although its unit is in service.
    pub ready: bool,
    /// Why it is open; none when ready.
    pub reasons: Vec<String>,
    /// Whether the unit's alarm knows the member; none where that is not asked.
    pub identified: Option<String>,
    /// The one thing that fixes it.
    pub fix: Option<Action>,
    /// "Checked 06:58, due by 08:30".
    pub checked: String,
    /// The strip, thin.
    pub strip: Option<Strip>,
}

impl Seat {
    /// The class the row goes by.
    pub fn class(&self) -> &'static str {
        self.standing.map_or("empty", Standing::class)
    }
}

/// A proposal to move a spare in.
#[derive(Clone, Debug, Default)]
pub struct Swap {
    /// "Engine 2, seat 3: spare 142 at Millrace…"
    pub text: String,
    /// Where the move is sent.
    pub action: String,
    /// Seat, spare and what comes out, as sent.
    pub key: String,
    /// The rig's id, to come back to.
    pub rig: String,
    /// "Put spare 142 there".
    pub button: String,
    /// How many other seats the plan fills.
    pub others: usize,
}
