//! The station chooser and the station board: the page that stays on the wall.

use askama::Template;

use super::strip::Strip;
use super::{Action, Mark, Page, Standing, UnitRef};

/// Which station is this tablet in?
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/stations.html")]
pub struct StationChooser {
    /// The frame.
    pub page: Page,
    /// The department's stations.
    pub stations: Vec<StationTile>,
    /// Whether anybody was entered on a seat, so that it is said what is counted.
    pub people: bool,
}

/// A station in the chooser.
#[derive(Clone, Debug, Default)]
pub struct StationTile {
    /// Its name.
    pub name: String,
    /// Its board.
    pub href: String,
    /// Its rigs, in a line: "Engine 2, Ladder 1".
    pub rigs: String,
    /// Seats that are ready, whatever is known of clearances, of rigs that are ridden.
    pub ready: usize,
    /// All seats of rigs that are ridden.
    pub seats: usize,
}

/// One station: its rigs, seat by seat, its kits and its spares.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/board.html")]
pub struct StationBoard {
    /// The frame.
    pub page: Page,
    /// The station's name.
    pub station: String,
    /// The rigs, in the station's own order.
    pub rigs: Vec<RigBlock>,
    /// Units with no seat, kept here.
    pub spares: Vec<Line>,
    /// Whether anybody was entered on a seat, so that it is said what is counted.
    pub people: bool,
    /// Records that could not be judged and need somebody: a sentence and where to look.
    pub attention: Vec<Action>,
}

/// A rig on the board.
#[derive(Clone, Debug, Default)]
pub struct RigBlock {
    /// Its id.
    pub id: String,
    /// Its roster, to read and sign with no network.
    pub roster: String,
    /// "Engine 2".
    pub name: String,
    /// Its roster.
    pub href: String,
    /// Where to say what was used.
    pub used: String,
    /// It answers no calls, or nobody rides it: its units are counted, and it is neither open nor full.
    pub aside: bool,
    /// Its seats.
    pub seats: Vec<Line>,
    /// What is not a seat but must be ready: rescue-team pack, spare-cylinder rack.
    pub kits: Vec<Line>,
}

impl RigBlock {
    /// Seats that are ready, whatever is known of clearances.
    pub fn ready(&self) -> usize {
        self.seats.iter().filter(|line| line.ready).count()
    }

    /// The kits that are not ready, and how many.
    pub fn kits_open(&self) -> usize {
        self.kits.iter().filter(|line| !line.ready).count()
    }
}

/// A seat, a kit or a spare: one line.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// "Officer", "Driver", "Seat 3", "Rescue-team pack"; for a spare where it is kept.
    pub place: String,
    /// The unit in it; none is an empty seat.
    pub unit: Option<UnitRef>,
    /// What is here if it is not a unit: "Cylinder C-301".
    pub thing: Option<String>,
    /// Its pressure strip, thin.
    pub strip: Option<Strip>,
    /// A spare cylinder's pressure as last read: "4,480" and "psi".
    pub read: Option<(String, &'static str)>,
    /// Whether it is ready, whatever is known of clearances.
    pub ready: bool,
    /// Whether it lacks more than a check of its unit.
    pub rest: bool,
    /// Its standing; none for an empty seat.
    pub standing: Option<Standing>,
    /// When it was last checked: "06:58", "yesterday 19:10"; none if never.
    pub checked: Option<String>,
    /// By when the next check is due: "08:30".
    pub due: Option<String>,
    /// In service, but to be checked again in this shift.
    pub soon: bool,
    /// If not in service, the one reason that matters.
    pub reason: Option<String>,
    /// The one tap: start a check, or see why.
    pub action: Option<Action>,
}

impl Line {
    /// The shape at the head of the line; an empty seat has an empty outline.
    pub fn mark(&self) -> Mark {
        self.standing.map_or(Mark::Outline, Standing::mark)
    }

    /// The class the line goes by.
    pub fn class(&self) -> &'static str {
        self.standing.map_or("empty", Standing::class)
    }
}
