//! A rig's roster as a tablet keeps it.

use askama::Template;

use super::{Link, Mark, MemberOption, Page, Problems, Standing, UnitRef, in_script};

/// The roster, and the officer's signature under it.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/kept.html")]
pub struct KeptRoster {
    /// The frame.
    pub page: Page,
    /// "Engine 2".
    pub rig: String,
    /// "Millrace station".
    pub station: String,
    /// "B platoon, shift from 07:00".
    pub shift: String,
    /// "Staffed, 3 on it"; none where no roster is kept.
    pub state: Option<String>,
    /// Seats that are ready, whatever is known of clearances.
    pub ready: usize,
    /// All seats.
    pub seats: usize,
    /// Who reviewed it and when.
    pub accepted: Option<String>,
    /// Seats and kits, in the rig's order.
    pub rows: Vec<KeptSeat>,
    /// Officers, who may sign.
    pub members: Vec<MemberOption>,
    /// Nothing: the script says what is to be put right.
    pub problems: Problems,
    /// What the script needs, as JSON.
    pub about: String,
    /// The officer's own page of the rig.
    pub full: String,
    /// The form after use.
    pub used: String,
    /// The board.
    pub back: Link,
}

impl KeptRoster {
    /// What the script needs, as it may stand inside a script element.
    pub fn about_block(&self) -> String {
        in_script(&self.about)
    }
}

/// A seat or kit.
#[derive(Clone, Debug, Default)]
pub struct KeptSeat {
    /// Its id.
    pub seat: String,
    /// "Driver".
    pub place: String,
    /// Whether it is a kit, which nobody rides.
    pub kit: bool,
    /// Who sits there.
    pub member: Option<String>,
    /// The unit.
    pub unit: Option<UnitRef>,
    /// What is here if it is not a unit.
    pub thing: Option<String>,
    /// Its standing.
    pub standing: Option<Standing>,
    /// Until when its last check counts, in milliseconds.
    pub until: Option<i64>,
    /// Whether it was ready when this was made, whatever is known of clearances.
    pub ready: bool,
    /// Whether it lacks more than a check of its unit.
    pub rest: bool,
    /// What it lacks; nothing medical.
    pub reasons: Vec<String>,
    /// "Fit until 3 Mar 2027".
    pub fit: Option<String>,
    /// "Checked 06:58, due by 08:30".
    pub checked: String,
}

impl KeptSeat {
    /// The class the row goes by.
    pub fn class(&self) -> &'static str {
        self.standing.map_or("empty", Standing::class)
    }
}
