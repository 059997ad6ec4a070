//! What is made at the desk, against the state of that moment.

use std::borrow::Cow;
use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::quantity::Pressure;

use super::{
    Acknowledged, AirSample, Asset, Crew, CylinderRead, Digest, Fill, Fitting, GapDealt, Left, Loan,
    LoanEnded, Moved, Notice, NoticeDone, NoticeEnded, PersonChanged, RecordRef, Register, RigStatus,
    TabletRevoked, TakenOut, Upkept,
};

/// A record made at the desk.
#[derive(Debug, Clone, PartialEq)]
pub enum Desk {
    /// A change of the register.
    Register(Register),
    /// A rule table, in force from its time on.
    Rules(RulesInForce),
    /// A unit is returned to service.
    Return(Return),
    /// A hold is ended.
    Release(Clearing),
    /// A soiled or contaminated unit was cleaned.
    Cleaned(Clearing),
    /// A contested or doubted record is settled.
    Settlement(Settlement),
    /// A check was made on the wrong unit, or misread.
    Correction(Correction),
    /// Something speaks against a record.
    Doubt(Doubt),
    /// A record came in with a signature that nothing has proven yet.
    Unproven(Signed),
    /// The signer has proven it.
    Signature(Signed),
    /// A good check came in that waits for an officer's countersignature.
    Uncountersigned(Signed),
    /// A check came in that was made with a rule table whose time is over.
    Outdated(Signed),
    /// An officer who neither made nor wrote it down has countersigned it.
    Countersigned(Signed),
    /// So many wrong PINs were given that none is taken any more.
    PinStopped(PinStop),
    /// An officer lets PINs be tried again.
    PinAllowed(PinStop),
    /// A new unit is taken into service.
    Accepted(Accepted),
    /// For good.
    Retired(TakenOut),
    /// A ticket was opened.
    TicketOpened(TicketOpened),
    /// A ticket changed its stage.
    TicketStage(TicketStage),
    /// A ticket is worked on under another one.
    TicketJoined(TicketJoined),
    /// A joined ticket stands by itself again.
    TicketApart(TicketApart),
    /// Some of a ticket's grounds get a ticket of their own.
    TicketSplit(TicketSplit),
    /// Work on a ticket.
    Worked(Worked),
    /// A part of a unit was entered, fitted, removed or replaced.
    Fitting(Fitting),
    /// Stop using things, or inspect them by a day.
    Notice(Notice),
    /// One thing was dealt with as a notice says.
    NoticeDone(NoticeDone),
    /// A notice is withdrawn.
    NoticeEnded(NoticeEnded),
    /// A tablet is given up.
    TabletRevoked(TabletRevoked),
    /// An officer has found out what became of records of a tablet that do not follow one another.
    GapDealt(GapDealt),
    /// Upkeep was done.
    Upkeep(Upkept),
    /// A cylinder was filled.
    Fill(Fill),
    /// A cylinder was read where it lies ready.
    CylinderRead(CylinderRead),
    /// A laboratory looked at a source's air.
    AirSample(AirSample),
    /// A cylinder was condemned: for good.
    Condemned(TakenOut),
    /// What is held was sealed.
    Sealed(Seal),
    /// What is held was handed over.
    HandedOver(HandOver),
    /// Who is on a rig's seats.
    Crew(Crew),
    /// Things moved together.
    Moved(Moved),
    /// A unit is lent, or one is borrowed.
    Loan(Loan),
    /// A lent unit is back, or a borrowed one was given back.
    LoanEnded(LoanEnded),
    /// Where a rig is and what it is for.
    RigStatus(RigStatus),
    /// A late record that pulled a unit was read.
    Acknowledged(Acknowledged),
    /// Something personal was entered or erased.
    PersonChanged(PersonChanged),
    /// A member left a post.
    Left(Left),
}

impl Desk {
    /// What a record enters in the register, be it by the way.
    pub fn entries(&self) -> Cow<'_, [Register]> {
        match self {
            Self::Register(r) => Cow::Borrowed(std::slice::from_ref(r)),
            Self::Loan(l) => Cow::Owned(l.entries()),
            Self::LoanEnded(e) => Cow::Owned(e.entries()),
            _ => Cow::Borrowed(&[]),
        }
    }
}

/// A rule table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RulesInForce {
    /// The table's text.
    pub text: String,
    /// Units whose last check does not pass this table: they are to be checked again.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub again: Vec<LookAgain>,
    /// For how many hours a check made with another table, which a tablet had fetched before, still
    /// counts as done. Without it for ever, as it was before it could be said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grace_hours: Option<u16>,
}

/// A unit to be checked again because its last check does not pass a new rule table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LookAgain {
    /// The unit's number.
    pub unit: String,
    /// Its last check.
    pub check: RecordRef,
    /// What in it does not pass, in words.
    pub why: String,
}

/// What was worked on; it decides how much proof a return needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Second stage.
    Regulator,
    /// First stage.
    Reducer,
    /// Any valve.
    Valve,
    /// Any gauge.
    Gauge,
    /// Any alarm.
    Alarm,
    /// Anything else.
    Other,
}

impl Part {
    /// All parts.
    pub const ALL: [Self; 6] =
        [Self::Regulator, Self::Reducer, Self::Valve, Self::Gauge, Self::Alarm, Self::Other];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Regulator => "regulator",
            Self::Reducer => "reducer",
            Self::Valve => "valve",
            Self::Gauge => "gauge",
            Self::Alarm => "alarm",
            Self::Other => "other",
        }
    }

    /// Whether work on it needs a bench test or a certificate. 29 CFR 1910.134(h)(4)(iii) leaves
    /// reducing and admission valves, regulators and alarms to the maker's trained technicians.
    pub fn needs_bench_test(self) -> bool {
        self != Self::Other
    }
}

/// A return to service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Return {
    /// What is returned.
    pub asset: Asset,
    /// Exactly these grounds are cleared.
    pub clears: Vec<String>,
    /// The proving check.
    pub proving: RecordRef,
    /// What was worked on; empty: no fault was found.
    pub worked_on: Vec<Part>,
    /// The bench test's result or the repairer's certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bench_test: Option<String>,
    /// What was done.
    pub remedy: String,
    /// Where no fault was found: how the conditions were reproduced under which it had failed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reproduced: String,
    /// The second signer, where no fault was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_signer: Option<String>,
}

/// An asset and the grounds cleared on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clearing {
    /// The asset.
    pub asset: Asset,
    /// The grounds.
    pub clears: Vec<String>,
    /// Why, or what was done.
    pub why: String,
}

/// The officer's word on a contested or doubted record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settlement {
    /// The record's id.
    pub id: Uuid,
    /// Every variant there is.
    pub variants: Vec<Digest>,
    /// The one that holds, if any does. What the others found stays found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepted: Option<Digest>,
    /// Why.
    pub why: String,
}

/// A correction. It never makes a unit better.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// The check.
    pub of: RecordRef,
    /// The corrections of it that this one follows: all that nothing had followed yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub replaces: Vec<RecordRef>,
    /// Steps that were misread: each is done again on the unit by somebody else.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub misread: Vec<String>,
    /// Where it was made on another unit than it says: the right one and its profile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub right_unit: Option<(String, String)>,
    /// Why.
    pub why: String,
}

/// The corrections that no other one follows: what holds of a check by now. Where there are
/// several, all of them hold.
pub fn heads<'a>(
    corrections: impl IntoIterator<Item = (RecordRef, &'a Correction)> + Clone,
) -> BTreeSet<RecordRef> {
    let followed: BTreeSet<RecordRef> =
        corrections.clone().into_iter().flat_map(|(_, c)| c.replaces.iter().copied()).collect();
    corrections.into_iter().map(|(name, _)| name).filter(|name| !followed.contains(name)).collect()
}

/// A signed record, by name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signed {
    /// The record.
    pub of: RecordRef,
}

/// Whose PINs are not taken any more, or again: a member's, or those given on a tablet.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PinStop {
    /// The member.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub member: Option<String>,
    /// The tablet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tablet: Option<String>,
}

impl PinStop {
    /// Of a member.
    pub fn of_member(member: &str) -> Self {
        Self { member: Some(member.to_owned()), tablet: None }
    }

    /// Of a tablet.
    pub fn of_tablet(tablet: &str) -> Self {
        Self { member: None, tablet: Some(tablet.to_owned()) }
    }
}

/// Something speaks against a record: its time cannot be right, it is not shown to come from the
/// tablet that it names, or its signature is not its signer's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Doubt {
    /// The record.
    pub of: RecordRef,
    /// What speaks against it.
    pub why: String,
}

/// How something held for an inquiry was found and sealed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// What is held.
    pub asset: Asset,
    /// The cylinder's pressure before the valve was closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure: Option<Pressure>,
    /// How far the valve was turned to close it, in eighths of a turn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eighths: Option<u16>,
    /// Where that was, and where it is kept.
    pub place: String,
    /// What was packed with it, by number or in words.
    pub packed_with: Vec<String>,
    /// Whether the alarm's battery was left in, so that its memory is kept.
    pub battery_in: bool,
}

/// Something held for an inquiry went into other hands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandOver {
    /// What is held.
    pub asset: Asset,
    /// To whom: a member or, with office and address, somebody else.
    pub to: String,
    /// What for, and the seal's number.
    pub why: String,
}

/// A new unit is taken into service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accepted {
    /// The unit's number.
    pub unit: String,
    /// The acceptance check.
    pub check: RecordRef,
}

/// A repair job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketOpened {
    /// Counted from 1.
    pub ticket: u64,
    /// What is to be repaired.
    pub asset: Asset,
    /// The record that opened it.
    pub because: RecordRef,
}

/// Where a ticket stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Reported.
    Reported,
    /// On the bench.
    OnTheBench,
    /// Waiting for parts.
    WaitingForParts,
    /// At an outside repairer.
    AtRepairer,
    /// Repaired; the proving check is next.
    ReadyToProve,
    /// Returned to service.
    Returned,
    /// The asset was retired.
    Retired,
}

impl Stage {
    /// All stages, in the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Reported,
        Self::OnTheBench,
        Self::WaitingForParts,
        Self::AtRepairer,
        Self::ReadyToProve,
        Self::Returned,
        Self::Retired,
    ];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Reported => "reported",
            Self::OnTheBench => "on_the_bench",
            Self::WaitingForParts => "waiting_for_parts",
            Self::AtRepairer => "at_repairer",
            Self::ReadyToProve => "ready_to_prove",
            Self::Returned => "returned",
            Self::Retired => "retired",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::Reported => "Reported",
            Self::OnTheBench => "On the bench",
            Self::WaitingForParts => "Waiting for parts",
            Self::AtRepairer => "At an outside repairer",
            Self::ReadyToProve => "Ready to prove",
            Self::Returned => "Returned",
            Self::Retired => "Retired",
        }
    }

    /// Whether the job is over.
    pub fn is_closed(self) -> bool {
        matches!(self, Self::Returned | Self::Retired)
    }

    /// Whether someone else has to act first.
    pub fn stands_aside(self) -> bool {
        matches!(self, Self::WaitingForParts | Self::AtRepairer)
    }
}

/// A ticket changed its stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketStage {
    /// The ticket.
    pub ticket: u64,
    /// The new stage.
    pub stage: Stage,
    /// Why.
    #[serde(default)]
    pub note: String,
    /// To whom it was sent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sent: Option<Sent>,
}

/// What was sent to an outside repairer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sent {
    /// The repairer.
    pub repairer: String,
    /// Under which reference.
    pub reference: String,
    /// The day on which it is due back.
    pub due_back: NaiveDate,
    /// What they lent for the time; or empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub loaner: String,
}

/// A ticket is worked on under another one: the same job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketJoined {
    /// The ticket.
    pub ticket: u64,
    /// The one that it is worked on under.
    pub under: u64,
    /// Why.
    #[serde(default)]
    pub why: String,
}

/// A joined ticket stands by itself again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketApart {
    /// The ticket.
    pub ticket: u64,
}

/// Some of a ticket's grounds get a ticket of their own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketSplit {
    /// The ticket that they were on.
    pub ticket: u64,
    /// Their keys.
    pub grounds: Vec<String>,
    /// The number of the new ticket: the next one.
    pub into: u64,
    /// Why.
    #[serde(default)]
    pub why: String,
}

/// Work on a ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Worked {
    /// The ticket.
    pub ticket: u64,
    /// What was done.
    pub text: String,
    /// Parts used.
    #[serde(default)]
    pub parts: String,
    /// Readings taken.
    #[serde(default)]
    pub readings: String,
}
