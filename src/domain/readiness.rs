//! Which seats are ready, what the others lack, and which teams a crew can field.
//!
//! A seat is ready when its unit is in service by the department's cadence, a cylinder is fitted
//! and was read above the recharge level, and, where a roster is kept, a member is on it who may wear
//! the facepiece that goes with the unit. What is not known of a unit, of its facepiece or of a member
//! is not ready.

use chrono::{Months, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::Millis;
use crate::quantity::{Amount, Pressure};
use crate::record::Cadence;
use crate::shift::ShiftClock;
use crate::standing::State;

/// What a fit test is about: 29 CFR 1910.134(f)(1) asks for the same make, model, style and size
/// as will be worn. Empty where the register does not say.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FacepieceKind {
    /// Who makes it.
    pub make: String,
    /// Which model.
    pub model: String,
    /// Which style: full, with or without a speech part, and so on.
    pub style: String,
    /// Which size.
    pub size: String,
}

impl FacepieceKind {
    /// Whether a fit test can be held against it: what is not in the register cannot be compared.
    pub fn known(&self) -> bool {
        [&self.make, &self.model, &self.style, &self.size].iter().all(|part| !part.trim().is_empty())
    }

    /// Whether a test with this one covers wearing another. All four must be known and the same.
    pub fn covers(&self, worn: &Self) -> bool {
        let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
        worn.known()
            && same(&self.make, &worn.make)
            && same(&self.model, &worn.model)
            && same(&self.style, &worn.style)
            && same(&self.size, &worn.size)
    }
}

/// A fit test that was passed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FitTest {
    /// With which facepiece.
    pub kind: FacepieceKind,
    /// The last day on which it counts.
    pub until: NaiveDate,
}

/// The last day on which a fit test counts: 29 CFR 1910.134(f)(2) asks for another one at least
/// annually. A test of 29 February counts until 28 February.
pub fn fit_until(tested: NaiveDate) -> NaiveDate {
    tested.checked_add_months(Months::new(12)).unwrap_or(tested)
}

/// What is known of a member who rides.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rider {
    /// The member.
    pub member: String,
    /// Medically cleared to wear a respirator (29 CFR 1910.134(e)); none where nothing was entered.
    pub cleared: Option<bool>,
    /// Fit tests that were passed.
    pub fits: Vec<FitTest>,
}

impl Rider {
    /// Until when the member may wear such a facepiece, by the last fit test with one.
    pub fn fit_for(&self, worn: &FacepieceKind) -> Option<NaiveDate> {
        self.fits.iter().filter(|f| f.kind.covers(worn)).map(|f| f.until).max()
    }
}

/// The unit in a seat, as far as readiness goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Apparatus {
    /// Its standing.
    pub state: State,
    /// Until when its last check counts.
    pub until: Option<Millis>,
    /// Whether a cylinder is with it.
    pub cylinder: bool,
    /// The cylinder's pressure at the last check.
    pub read: Option<Pressure>,
    /// What the pressure must be above; none where the rule table has no such step.
    pub above: Option<Amount>,
    /// The facepiece that goes with it.
    pub facepiece: Option<FacepieceKind>,
    /// Whom its alarm knows, where the department asks and the unit has it.
    pub identification: Option<Identification>,
}

/// Whom a unit's alarm knows, as far as its last check says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Identification {
    /// Whether the department asks for it before a seat is ready.
    pub needed: bool,
    /// Who identified themselves to it, when, and until when it remembers.
    pub known: Option<Known>,
}

/// Somebody whom an alarm knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    /// The member.
    pub member: String,
    /// When that was.
    pub at: Millis,
    /// Until when it remembers.
    pub until: Millis,
}

impl Identification {
    /// Whether the alarm knows this member at `now`.
    pub fn knows(&self, member: &str, now: Millis) -> bool {
        self.known.as_ref().is_some_and(|k| k.member == member && k.until > now)
    }
}

/// What a seat lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// Nothing is in it.
    Empty,
    /// Its unit is not in service.
    Standing(State),
    /// No cylinder is fitted.
    NoCylinder,
    /// Nobody has read the cylinder's pressure.
    NotRead,
    /// The cylinder is at or below the recharge level.
    Low {
        /// As read.
        read: Pressure,
        /// What it must be above.
        above: Amount,
    },
    /// A spare cylinder was last read so long ago that it is to be read again.
    ReadTooLongAgo {
        /// When that was.
        at: Millis,
    },
    /// The unit's alarm does not know the member, and the department asks that it does.
    NotIdentified,
    /// No medical clearance was entered.
    ClearanceUnknown,
    /// The member is not cleared.
    NotCleared,
    /// A roster is kept, and nobody is on this seat.
    Nobody,
    /// No facepiece goes with the unit, so nobody can say whether it fits.
    NoFacepiece,
    /// The register does not say make, model, style and size of the facepiece.
    FacepieceNotKnown,
    /// The member has no fit test with such a facepiece.
    NoFitTest,
    /// The last fit test with such a facepiece no longer counts.
    FitTestPast {
        /// The last day on which it did.
        until: NaiveDate,
    },
}

impl Lack {
    /// Whether it goes with this unit, and another one may not have it.
    fn is_of_the_unit(&self) -> bool {
        match self {
            Self::Standing(state) => *state > State::PutRight,
            Self::Empty
            | Self::NoCylinder
            | Self::Low { .. }
            | Self::NoFacepiece
            | Self::FacepieceNotKnown
            | Self::NoFitTest
            | Self::FitTestPast { .. } => true,
            Self::NotRead
            | Self::ReadTooLongAgo { .. }
            | Self::NotIdentified
            | Self::ClearanceUnknown
            | Self::NotCleared
            | Self::Nobody => false,
        }
    }

    /// Whether changing or filling the cylinder is all that it takes.
    pub fn is_of_the_cylinder(&self) -> bool {
        matches!(self, Self::NoCylinder | Self::NotRead | Self::ReadTooLongAgo { .. } | Self::Low { .. })
    }
}

/// Whether a seat is ready.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Readiness {
    /// What is missing; ready when nothing is.
    pub lacks: Vec<Lack>,
    /// Ready on the check of the shift before: by when this shift's is due.
    pub due_by: Option<Millis>,
}

impl Readiness {
    /// Whether it is ready.
    pub fn ready(&self) -> bool {
        self.lacks.is_empty()
    }

    /// Whether another unit would help: this one is missing or does not ride, its cylinder is missing or low,
    /// or its facepiece does not fit who sits there. What the crew does on the spot (a check that is due,
    /// something to be put right, a gauge to be read) needs no other unit, and where nobody sits or
    /// whoever does may not wear any, no unit helps.
    pub fn another_unit_helps(&self) -> bool {
        use Lack::{ClearanceUnknown, Nobody, NotCleared};
        let beyond = |l: &Lack| matches!(l, Nobody | ClearanceUnknown | NotCleared);
        !self.lacks.iter().any(beyond) && self.lacks.iter().any(Lack::is_of_the_unit)
    }

    /// Whether the unit is, whoever sits there.
    pub fn unit_ready(&self) -> bool {
        use Lack::{Empty, Low, NoCylinder, NotRead, Standing};
        let of_unit = |l: &Lack| matches!(l, Empty | Standing(_) | NoCylinder | NotRead | Low { .. });
        !self.lacks.iter().any(of_unit)
    }
}

/// Who is on a seat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seated<'a> {
    /// No crew was entered for the rig: the unit alone is weighed.
    NotEntered,
    /// A crew was entered, and this seat was left empty.
    Nobody,
    /// A member.
    By(&'a Rider),
}

/// Whether a seat is ready at `now`, which is the day `today` in the department's zone.
pub fn seat(
    unit: Option<&Apparatus>,
    seated: Seated<'_>,
    clock: &ShiftClock,
    now: Millis,
    today: NaiveDate,
) -> Readiness {
    let Some(unit) = unit else {
        return Readiness { lacks: vec![Lack::Empty], due_by: None };
    };
    let mut lacks = Vec::new();
    if unit.state != State::InService {
        lacks.push(Lack::Standing(unit.state));
    }
    if !unit.cylinder {
        lacks.push(Lack::NoCylinder);
    } else if let Some(above) = unit.above {
        match unit.read {
            // 29 CFR 1910.134(h)(3)(iii): recharge when it falls *to* 90 %; so it must be above.
            Some(read) if read.amount() <= above => lacks.push(Lack::Low { read, above }),
            None if unit.state == State::InService => lacks.push(Lack::NotRead),
            _ => {}
        }
    }
    match seated {
        Seated::NotEntered => {}
        Seated::Nobody => lacks.push(Lack::Nobody),
        Seated::By(rider) => {
            lacks.extend(rider_lacks(rider, unit.facepiece.as_ref(), today));
            let asked = unit.identification.as_ref().filter(|i| i.needed);
            if asked.is_some_and(|i| !i.knows(&rider.member, now)) {
                lacks.push(Lack::NotIdentified);
            }
        }
    }
    let due_by = unit.until.filter(|until| lacks.is_empty() && *until <= clock.next_start(now));
    Readiness { lacks, due_by }
}

/// A spare cylinder where it lies ready.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpareCylinder {
    /// What stands against it.
    pub state: State,
    /// When it was last read or filled, and at what pressure; none also where it was used since.
    pub read: Option<(Millis, Pressure)>,
    /// What the pressure must be above; none where the rule table has no such step.
    pub above: Option<Amount>,
    /// How often it is read where it lies.
    pub cadence: Cadence,
}

/// Whether a spare cylinder is ready at `now`: nothing stands against it, and it was read above the
/// recharge level as lately as the cadence of its place asks.
pub fn spare(cylinder: &SpareCylinder, clock: &ShiftClock, now: Millis) -> Readiness {
    let mut lacks = Vec::new();
    let mut until = None;
    if cylinder.state != State::InService {
        lacks.push(Lack::Standing(cylinder.state));
    }
    match (cylinder.read, cylinder.above) {
        (None, _) => lacks.push(Lack::NotRead),
        (Some((_, read)), Some(above)) if read.amount() <= above => lacks.push(Lack::Low { read, above }),
        (Some((at, _)), _) => {
            until = clock.counts_until(cylinder.cadence, at);
            if until.is_some_and(|until| until <= now) {
                lacks.push(Lack::ReadTooLongAgo { at });
            }
        }
    }
    let due_by = until.filter(|until| lacks.is_empty() && *until <= clock.next_start(now));
    Readiness { lacks, due_by }
}

/// What is said last of a cylinder's pressure, of what happened to it when: a pressure, or nothing
/// where it was used.
pub fn last_read(happened: &[(Millis, Option<Pressure>)]) -> Option<(Millis, Pressure)> {
    // Used and read in the same moment: nobody knows which came first.
    let (at, pressure) = happened.iter().max_by_key(|(at, pressure)| (*at, pressure.is_none()))?;
    pressure.map(|p| (*at, p))
}

fn rider_lacks(rider: &Rider, worn: Option<&FacepieceKind>, today: NaiveDate) -> Vec<Lack> {
    let mut lacks = Vec::new();
    match rider.cleared {
        Some(true) => {}
        Some(false) => lacks.push(Lack::NotCleared),
        None => lacks.push(Lack::ClearanceUnknown),
    }
    match worn.map(|worn| (worn.known(), rider.fit_for(worn))) {
        None => lacks.push(Lack::NoFacepiece),
        Some((false, _)) => lacks.push(Lack::FacepieceNotKnown),
        Some((true, None)) => lacks.push(Lack::NoFitTest),
        Some((true, Some(until))) if until < today => lacks.push(Lack::FitTestPast { until }),
        Some((true, Some(_))) => {}
    }
    lacks
}

/// A member on a ready seat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wearer {
    /// The member.
    pub member: String,
    /// The unit.
    pub unit: String,
    /// Its profile: a team with one kind of unit can help each other out of both.
    pub profile: String,
    /// The rig.
    pub rig: String,
}

/// Who could go in, and who stays outside for them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Teams {
    /// Teams of two that could enter.
    pub inside: Vec<[Wearer; 2]>,
    /// Everybody else who is ready, at least two where anybody enters.
    pub outside: Vec<Wearer>,
    /// How many more ready members would make one more team.
    pub lacking: usize,
}

/// How many teams of two can enter with two outside: 29 CFR 1910.134(g)(3) and (g)(4). At least
/// two enter together and stay in sight or hearing of each other, and at least two are outside;
/// one of the two may have another task, such as being in command, if the other can do the rescue
/// alone. The rule is read as two outside for all teams at one fire; a department may ask for more.
///
/// `ready` is in the order of rigs and, within a rig, of seats. Two of one rig and one kind of unit
/// go together where that is possible, and from the rear seats first, so that officer and driver
/// are the last to go in (common practice, no published source).
pub fn teams(ready: &[Wearer]) -> Teams {
    let most = ready.len().saturating_sub(2) / 2;
    let lacking = match ready.len() {
        n @ 0..=3 => 4 - n,
        n => 2 - n % 2,
    };
    // Pairs by how far from the rear they sit, then in the order of the rigs.
    let mut pairs: Vec<(usize, [usize; 2])> = Vec::new();
    let mut single: Vec<usize> = Vec::new();
    let places: Vec<usize> = (0..ready.len()).collect();
    for rig in places.chunk_by(|a, b| ready[*a].rig == ready[*b].rig) {
        let mut rear: Vec<usize> = rig.iter().rev().copied().collect();
        let mut depth = 0;
        while !rear.is_empty() {
            let first = rear.remove(0);
            let same = rear.iter().position(|n| ready[*n].profile == ready[first].profile);
            match same.or((!rear.is_empty()).then_some(0)) {
                Some(mate) => pairs.push((depth, [first, rear.remove(mate)])),
                None => single.push(first),
            }
            depth += 1;
        }
    }
    pairs.sort_by_key(|(depth, [first, _])| (*depth, *first));
    let mut inside: Vec<[usize; 2]> = pairs.into_iter().map(|(_, pair)| pair).take(most).collect();
    while inside.len() < most && single.len() >= 2 {
        let first = single.remove(0);
        let mate = single.iter().position(|n| ready[*n].profile == ready[first].profile).unwrap_or(0);
        inside.push([first, single.remove(mate)]);
    }
    let outside =
        places.iter().filter(|n| !inside.iter().flatten().any(|i| i == *n)).map(|n| ready[*n].clone());
    Teams {
        outside: outside.collect(),
        inside: inside.iter().map(|pair| pair.map(|n| ready[n].clone())).collect(),
        lacking,
    }
}
