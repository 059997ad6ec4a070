//! What is told by mail: a unit is out of service, a seat is open, a check is late. Each thing once,
//! when it comes to be so; everything new in one mail.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::readiness::Lack;
use airmuster_domain::standing::State;

use super::muster::Muster;
use crate::store::{SeatRow, Store, StoreError};

/// What there can be a notice about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// A unit is out of service or held.
    OutOfService,
    /// A seat of a rig that answers calls is not ready.
    SeatOpen,
    /// A unit in such a seat was not checked in time.
    CheckLate,
}

impl About {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::OutOfService, Self::SeatOpen, Self::CheckLate];

    /// As in the settings.
    pub fn id(self) -> &'static str {
        match self {
            Self::OutOfService => "out-of-service",
            Self::SeatOpen => "seat-open",
            Self::CheckLate => "check-late",
        }
    }

    /// From its id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|a| a.id() == id)
    }
}

/// A mail to be sent, and what is noted once it was.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Notices {
    /// What it is about, in a line; empty where there is nothing to send.
    pub subject: String,
    /// The mail.
    pub text: String,
    sent: BTreeSet<String>,
    over: BTreeSet<String>,
}

/// Gathers what is new since the last mail.
///
/// # Errors
/// When the database cannot be read.
pub async fn gather(store: &Store, now: Millis, about: &BTreeSet<About>) -> Result<Notices, StoreError> {
    let muster = Muster::load(store, now).await?;
    let holding = holding(&muster, about);
    let known = store.notices_sent().await?;
    let new: BTreeMap<&String, &String> = holding.iter().filter(|(key, _)| !known.contains(*key)).collect();
    let over = known.iter().filter(|key| !holding.contains_key(*key)).cloned().collect();
    let mut out = Notices { over, ..Notices::default() };
    if let Some(first) = new.values().next() {
        let department = &muster.fleet.department.name;
        let first = first.lines().next().unwrap_or_default();
        out.subject = match new.len() {
            1 => format!("{department}: {first}"),
            n => format!("{department}: {first} and {} more", n - 1),
        };
        let lines: Vec<&str> = new.values().map(|line| line.as_str()).collect();
        out.text = format!(
            "{}\n\nAs of {}. What holds now is on the boards of airmuster; this mail does not follow it.\n",
            lines.join("\n\n"),
            muster.fleet.department.clock.local(now).format("%a %-d %b %Y, %H:%M")
        );
        out.sent = new.into_keys().cloned().collect();
    }
    Ok(out)
}

impl Notices {
    /// Whether there is nothing to send and nothing to forget.
    pub fn is_empty(&self) -> bool {
        self.sent.is_empty() && self.over.is_empty()
    }

    /// Notes that it was sent.
    ///
    /// # Errors
    /// When it cannot be written: then it is sent again.
    pub async fn note(&self, store: &Store, now: Millis) -> Result<(), StoreError> {
        let mut write = store.begin().await?;
        write.keep_notices(&self.sent, &self.over, now).await?;
        write.commit().await
    }
}

/// Everything that holds now, by key, in words without anybody's name.
fn holding(muster: &Muster, about: &BTreeSet<About>) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    let fleet = &muster.fleet;
    for unit in fleet.units.values() {
        let (number, place) = (&unit.row.number, fleet.place_words(&unit.row));
        let riding = fleet
            .seats
            .iter()
            .any(|s| s.asset.as_deref() == Some(format!("unit:{number}").as_str()) && rides(muster, s));
        match unit.standing.state {
            State::OutOfService | State::Held if about.contains(&About::OutOfService) => {
                let word = unit.standing.state.words();
                let why =
                    unit.standing.grounds.first().map(|g| format!("\n{}", g.raise.say)).unwrap_or_default();
                out.insert(format!("out/{number}"), format!("Unit {number} ({place}): {word}.{why}"));
            }
            State::CheckDue if riding && about.contains(&About::CheckLate) => {
                out.insert(format!("late/{number}"), format!("Unit {number} ({place}): the check is late."));
            }
            _ => {}
        }
    }
    if about.contains(&About::SeatOpen) {
        for seat in fleet.seats.iter().filter(|s| !s.kit && rides(muster, s)) {
            let lacks = muster.readiness(seat).lacks;
            // A late check is told as one, whatever else it would have shown.
            let late = lacks.contains(&Lack::Standing(State::CheckDue));
            if !lacks.is_empty() && !late {
                let name = format!("{}, {}", seat.rig_name, seat.name.to_lowercase());
                let why = lacks.first().map(lack_words).unwrap_or_default();
                out.insert(format!("open/{}", seat.seat), format!("Seat open: {name}. {why}"));
            }
        }
    }
    out
}

fn rides(muster: &Muster, seat: &SeatRow) -> bool {
    muster.rig(&seat.rig).is_some_and(|r| r.duty.rides())
}

fn lack_words(lack: &Lack) -> String {
    match lack {
        Lack::Empty => "Nothing is in it.".to_owned(),
        Lack::Nobody => "Nobody is on it.".to_owned(),
        Lack::Standing(state) => format!("Its unit: {}.", state.words()),
        Lack::NoCylinder => "No cylinder is fitted.".to_owned(),
        Lack::NotRead | Lack::ReadTooLongAgo { .. } => "Nobody has read the cylinder’s pressure.".to_owned(),
        Lack::NotIdentified => "Its alarm does not know who is on it.".to_owned(),
        Lack::Low { read, .. } => format!("The cylinder was read at {}, too low to ride.", read.words()),
        // Whose clearance or fit test it is does not go into a mail.
        Lack::ClearanceUnknown
        | Lack::NotCleared
        | Lack::NoFacepiece
        | Lack::FacepieceNotKnown
        | Lack::NoFitTest
        | Lack::FitTestPast { .. } => "Whoever is assigned to it may not wear it.".to_owned(),
    }
}
