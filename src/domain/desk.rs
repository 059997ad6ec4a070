//! What may be done at the desk: a desk record against the state of the moment. The facts are
//! gathered first, then [`may`] decides. Once a record is in, its authority is never decided again.

mod assets;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::air;
use crate::ground::{Done, Kind, Raise};
use crate::proving::needs_everything;
use crate::quantity::{Amount, Fraction, Pressure, Temperature, TemperatureUnit};
use crate::record::{
    AirSample, Asset, AssetKind, Correction, Crew, CylinderRead, Desk, Digest, Fill, Left, Marks, Month,
    Moved, Place, RecordRef, Register, Return, Seal, Settlement, Signed, Slot, Spec, Stage, TakenOut, Upkept,
    Work, is_number,
};
use crate::role::Role;
use crate::rules;
use crate::shift::ShiftClock;
use crate::upkeep::Upkeep;

pub use assets::{Other, lacks};

/// A member as far as authority goes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Signer {
    /// The member's id.
    pub id: String,
    /// Roles.
    pub roles: BTreeSet<Role>,
    /// Profile families for which the member is a qualified technician.
    pub qualified: BTreeSet<String>,
}

/// What must be known before a desk record is decided.
#[derive(Debug, Clone, Default)]
pub struct Facts {
    /// Who signed. `None`: whoever holds the machine itself, at its console.
    pub by: Option<Signer>,
    /// The second signer.
    pub second: Option<Signer>,
    /// Grounds open on the asset now.
    pub open: Vec<Raise>,
    /// Grounds open on what is fitted to a unit that is to be lent.
    pub fitted_open: BTreeMap<Asset, Vec<Raise>>,
    /// The unit on which the facepiece or cylinder is, where that is held for an inquiry.
    pub held_with: Option<String>,
    /// The unit's qualification family; for a facepiece or cylinder, none.
    pub family: Option<String>,
    /// The proving or acceptance check, where it is there and counts.
    pub check: Option<Done>,
    /// Grounds that were raised by something that came in after that check.
    pub later: BTreeSet<String>,
    /// Hashes of all records with the id that is spoken about.
    pub variants: BTreeSet<Digest>,
    /// Who signed the record that is to be proven or countersigned.
    pub signer: Option<String>,
    /// Who wrote it down, where that is somebody else.
    pub writer: Option<String>,
    /// Whether it waits for a countersignature.
    pub waits: bool,
    /// Whether something has arrived of the tablet at which the gap that was looked into can show: no
    /// later one is dealt with beforehand.
    pub shows: bool,
    /// The check that is to be corrected.
    pub wrong: Option<Wrong>,
    /// The ticket's stage.
    pub stage: Option<Stage>,
    /// The ticket that the ticket is worked on under.
    pub under: Option<u64>,
    /// Whether other tickets are worked on under it.
    pub has_joined: bool,
    /// What is named as lent meanwhile, where it is a unit of the department that stands on a rig.
    pub our_loaner: Option<String>,
    /// The ticket that it is to be joined to.
    pub other: Option<Other>,
    /// Keys of the open grounds that are the ticket's.
    pub on_ticket: BTreeSet<String>,
    /// The number that the next ticket gets.
    pub next_ticket: u64,
    /// The parts with serials that a unit of this kind has, where its profile is known.
    pub slots: Option<Vec<Slot>>,
    /// The unit on which a part of this serial is.
    pub fitted_on: Option<String>,
    /// The tablet that is spoken about, where it is enrolled.
    pub tablet: Option<Enrolled>,
    /// Today, by the department's clock.
    pub today: NaiveDate,
    /// What is known of the things and sources that this is about.
    pub upkeep: Upkeep,
    /// Rated pressure of the unit that a cylinder is to be fitted to.
    pub rated: Option<Pressure>,
    /// What is already where something is to be put.
    pub in_the_way: Option<Asset>,
    /// Where everything is that is to be moved, and what is in the seats it would go to.
    pub places: BTreeMap<Asset, Place>,
    /// What nobody may move: held or retired.
    pub stuck: BTreeSet<Asset>,
    /// The rig's seats.
    pub seats: BTreeSet<String>,
    /// Members who ride another rig in the same shift, with its name.
    pub elsewhere: BTreeMap<String, String>,
}

/// How an enrolled tablet stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Enrolled {
    /// It is in use.
    InUse,
    /// It was given up.
    Revoked,
}

/// A check that is to be corrected, as far as that matters.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wrong {
    /// The unit it says it was made on.
    pub unit: String,
    /// The steps it answers.
    pub answered: BTreeSet<String>,
    /// Whether somebody signed it.
    pub signed: bool,
    /// The corrections of it that hold by now.
    pub heads: BTreeSet<RecordRef>,
    /// The profile of the unit named as the right one, where the register knows it.
    pub right_profile: Option<String>,
}

/// Why a desk record is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{say}")]
pub struct Refusal {
    /// What to do, in words.
    pub say: String,
    /// Whether the state is against it (try another way), or who asks.
    pub forbidden: bool,
}

fn no<T>(say: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal { say: say.into(), forbidden: false })
}

/// Whether this desk record may be made now.
///
/// # Errors
/// With the reason, in words that say what to do.
pub fn may(desk: &Desk, facts: &Facts) -> Result<(), Refusal> {
    not_held(desk, facts)?;
    match desk {
        Desk::Register(r) => may_enter(r, facts),
        Desk::Rules(r) => {
            role(facts, &[Role::Administrator])?;
            rules::parse(&r.text).map(|_| ()).or_else(|e| no(e.to_string()))
        }
        Desk::Return(r) => may_return(r, facts),
        Desk::Release(c) => {
            signed_role(facts, &[Role::Administrator])?;
            lists_open(&c.clears, facts, &[Kind::Held])
        }
        Desk::Cleaned(c) => {
            signed_role(facts, &[Role::Technician, Role::Officer])?;
            lists_open(&c.clears, facts, &[Kind::Soiled, Kind::Contaminated])
        }
        Desk::Settlement(s) => may_settle(s, facts),
        Desk::Correction(c) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            if !facts.variants.contains(&c.of.digest) {
                return no("the check to be corrected is not in the logbook");
            }
            may_correct(c, facts.wrong.as_ref())
        }
        Desk::Accepted(a) => assets::may_accept(a, facts),
        Desk::Retired(t) => {
            signed_role(facts, &[Role::Technician, Role::Administrator])?;
            not_gone(&t.asset, facts)
        }
        Desk::Condemned(t) => may_condemn(t, facts),
        Desk::Upkeep(u) => may_keep_up(u, facts),
        Desk::Fill(f) => may_fill(f, facts),
        Desk::CylinderRead(r) => may_read(r, facts),
        Desk::AirSample(s) => may_sample(s, facts),
        Desk::Sealed(s) => may_seal(s, facts),
        Desk::HandedOver(h) => {
            may_hold(facts)?;
            if h.to.trim().is_empty() { no("write down who has it now") } else { Ok(()) }
        }
        Desk::TicketStage(t) => assets::may_stage(t, facts),
        Desk::TicketJoined(t) => assets::may_join(t, facts),
        Desk::TicketApart(t) => assets::may_take_apart(t, facts),
        Desk::TicketSplit(t) => assets::may_split(t, facts),
        Desk::Fitting(f) => assets::may_fit(f, facts),
        Desk::Notice(n) => assets::may_give_notice(n, facts),
        Desk::NoticeDone(d) => assets::may_deal_with(d, facts),
        Desk::NoticeEnded(e) => assets::may_withdraw(e, facts),
        Desk::Worked(_) => {
            signed_role(facts, &[Role::Technician])?;
            open_ticket(facts)
        }
        Desk::Signature(s) => match (&facts.by, &facts.signer) {
            (Some(by), Some(signer)) if by.id == *signer && facts.variants.contains(&s.of.digest) => Ok(()),
            _ => Err(Refusal {
                say: "a signature is proven by the member who signed".to_owned(),
                forbidden: true,
            }),
        },
        Desk::Countersigned(s) => may_countersign(s, facts),
        Desk::TabletRevoked(_) => may_give_up(facts),
        Desk::GapDealt(g) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            if !facts.shows {
                return no("nothing that has arrived of this tablet shows such a gap");
            }
            if g.why.trim().is_empty() { no("write down what you found out") } else { Ok(()) }
        }
        Desk::PinAllowed(_) => signed_role(facts, &[Role::Officer, Role::Administrator]),
        Desk::Crew(c) => {
            role(facts, &[Role::Officer, Role::Administrator])?;
            may_crew(c, facts)
        }
        Desk::Moved(m) => {
            role(facts, &[Role::Officer, Role::Technician, Role::Administrator])?;
            may_move(m, facts)
        }
        Desk::Loan(l) => assets::may_loan(l, facts),
        Desk::LoanEnded(e) => assets::may_end_loan(e, facts),
        Desk::Left(l) => may_leave(l, facts),
        Desk::RigStatus(_) | Desk::PersonChanged(_) => role(facts, &[Role::Officer, Role::Administrator]),
        Desk::Acknowledged(a) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            if facts.variants.contains(&a.of.digest) {
                Ok(())
            } else {
                no("the record that was read is not in the logbook")
            }
        }
        Desk::Doubt(_)
        | Desk::Unproven(_)
        | Desk::Uncountersigned(_)
        | Desk::Outdated(_)
        | Desk::PinStopped(_)
        | Desk::TicketOpened(_) => no("this is written by the server itself"),
    }
}

/// Whether nothing that this would touch is held for an inquiry. What is packed with a held unit is evidence as
/// it is, held by itself or not.
fn not_held(desk: &Desk, facts: &Facts) -> Result<(), Refusal> {
    if !touches_asset(desk) {
        return Ok(());
    }
    if facts.open.iter().any(|r| r.kind == Kind::Held) {
        return no(
            "this is held for an inquiry: nothing may be done to it until an administrator releases it",
        );
    }
    match &facts.held_with {
        Some(unit) => no(format!(
            "this is on unit {unit}, which is held for an inquiry: nothing may be done to it until an administrator releases the unit"
        )),
        None => Ok(()),
    }
}

fn may_leave(l: &Left, facts: &Facts) -> Result<(), Refusal> {
    role(facts, &[Role::Administrator])?;
    match &facts.by {
        Some(by) if by.id == l.member && !l.how.keeps_roles() => {
            no("nobody ends their own roles; another administrator does it")
        }
        _ => Ok(()),
    }
}

fn may_enter(r: &Register, facts: &Facts) -> Result<(), Refusal> {
    match r {
        Register::Holder { asset, place } => {
            role(facts, &[Role::Officer, Role::Technician, Role::Administrator])?;
            return may_put(asset, place, facts);
        }
        Register::Tablet { .. } => {
            role(facts, &[Role::Officer, Role::Administrator])?;
            if facts.tablet.is_some() {
                return no("a tablet of this id is enrolled already; enrol it under a new one");
            }
        }
        Register::Cadence { .. } => role(facts, &[Role::Officer, Role::Administrator])?,
        _ => role(facts, &[Role::Administrator])?,
    }
    may_register(r, facts)
}

fn may_settle(s: &Settlement, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Officer, Role::Administrator])?;
    let named: BTreeSet<Digest> = s.variants.iter().copied().collect();
    if facts.variants.is_empty() || named != facts.variants {
        return no("a settlement names every version there is, and there are others by now; look again");
    }
    if s.accepted.is_some_and(|a| !named.contains(&a)) {
        return no("the version that holds must be one of those named");
    }
    Ok(())
}

/// A second pair of eyes is somebody else's.
fn may_countersign(s: &Signed, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Officer, Role::Administrator])?;
    if !facts.waits || !facts.variants.contains(&s.of.digest) {
        return no("this check waits for no countersignature");
    }
    let by = facts.by.as_ref().map(|b| &b.id);
    if by == facts.signer.as_ref() || by == facts.writer.as_ref() {
        return Err(Refusal {
            say: "who made a check or wrote it down does not countersign it; ask another officer".to_owned(),
            forbidden: true,
        });
    }
    Ok(())
}

fn may_give_up(facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Officer, Role::Administrator])?;
    match facts.tablet {
        Some(Enrolled::InUse) => Ok(()),
        Some(Enrolled::Revoked) => no("this tablet was given up before"),
        None => no("there is no such tablet"),
    }
}

fn touches_asset(desk: &Desk) -> bool {
    matches!(
        desk,
        Desk::Return(_)
            | Desk::Cleaned(_)
            | Desk::Accepted(_)
            | Desk::Retired(_)
            | Desk::Worked(_)
            | Desk::TicketStage(_)
            | Desk::TicketJoined(_)
            | Desk::TicketApart(_)
            | Desk::TicketSplit(_)
            | Desk::Fitting(_)
            | Desk::Loan(_)
            | Desk::NoticeDone(_)
            | Desk::Upkeep(_)
            | Desk::Fill(_)
            | Desk::Condemned(_)
    )
}

/// One of these roles, or the console.
fn role(facts: &Facts, any: &[Role]) -> Result<(), Refusal> {
    match &facts.by {
        None => Ok(()),
        Some(_) => signed_role(facts, any),
    }
}

fn signed_role(facts: &Facts, any: &[Role]) -> Result<(), Refusal> {
    let names: Vec<&str> = any.iter().map(|r| r.id()).collect();
    match &facts.by {
        Some(s) if s.roles.iter().any(|r| any.contains(r)) => Ok(()),
        _ => Err(Refusal {
            say: format!("this needs the signature of: {}", names.join(" or ")),
            forbidden: true,
        }),
    }
}

fn lists_open(keys: &[String], facts: &Facts, kinds: &[Kind]) -> Result<(), Refusal> {
    if keys.is_empty() {
        return no("name what this is about");
    }
    let open = |k: &String| facts.open.iter().any(|r| r.key == *k && kinds.contains(&r.kind));
    if keys.iter().all(open) { Ok(()) } else { no("something listed here is not open any more; look again") }
}

fn open_ticket(facts: &Facts) -> Result<(), Refusal> {
    match facts.stage {
        Some(s) if !s.is_closed() => Ok(()),
        Some(_) => no("this ticket is closed"),
        None => no("there is no such ticket"),
    }
}

/// A technician whose qualification for the unit's family holds today.
fn qualified(s: &Signer, facts: &Facts) -> bool {
    let holds =
        |f: &String| s.qualified.contains(f) && facts.upkeep.unqualified(&s.id, f, facts.today).is_none();
    s.roles.contains(&Role::Technician) && facts.family.as_ref().is_none_or(holds)
}

fn may_return(r: &Return, facts: &Facts) -> Result<(), Refusal> {
    assets::by_qualified(facts, "a return")?;
    not_gone(&r.asset, facts)?;
    lists_open(&r.clears, facts, &[Kind::Finding, Kind::TakenOut])?;
    if r.remedy.trim().is_empty() {
        return no("write down what was done");
    }
    if r.worked_on.iter().any(|p| p.needs_bench_test())
        && r.bench_test.as_ref().is_none_or(|t| t.trim().is_empty())
    {
        return no(
            "work on a regulator, reducer, valve, gauge or alarm needs a bench test's result or the repairer's certificate",
        );
    }
    if r.worked_on.is_empty() {
        if r.reproduced.trim().is_empty() {
            return no(
                "“no fault found” needs the conditions reproduced under which it failed; write down how",
            );
        }
        match (&facts.second, &facts.by) {
            (Some(second), Some(first)) if second.id != first.id && !second.roles.is_empty() => {}
            _ => return no("“no fault found” needs a second signer, another member"),
        }
    }
    let Some(check) = &facts.check else {
        return no("a return needs a proving check of this unit; make it first");
    };
    let whole = check.purpose == rules::Purpose::Proving && check.clean;
    if !whole && check.proved.is_empty() {
        return no(
            "the proving check must be complete, with nothing out of service and nothing left to put right",
        );
    }
    if !whole && needs_everything(r) {
        return no(
            "work on a regulator, reducer, valve, gauge or alarm is proved by the whole proving check; make that first",
        );
    }
    if check.unit != r.asset && !check.with.contains(&r.asset) {
        return no("the proving check was made on something else");
    }
    // Nobody who proves a unit can have known what came in only afterwards.
    if let Some(ground) =
        facts.open.iter().find(|g| r.clears.contains(&g.key) && facts.later.contains(&g.key))
    {
        return no(format!("this came in after the proving check; prove it again: {}", ground.say));
    }
    let listed: Vec<_> = facts.open.iter().filter(|g| r.clears.contains(&g.key)).collect();
    assets::names_its_work(&listed, &r.worked_on)?;
    for ground in listed {
        if !check.proves(ground) {
            let why = if whole {
                "the proving check has no good answer at the step that failed"
            } else {
                "this needs the whole proving check"
            };
            return no(format!("{why}: {}", ground.say));
        }
    }
    Ok(())
}

fn may_correct(c: &Correction, wrong: Option<&Wrong>) -> Result<(), Refusal> {
    let Some(wrong) = wrong else {
        return no("only a check is corrected");
    };
    if c.replaces.iter().copied().collect::<BTreeSet<_>>() != wrong.heads {
        return no("this check has been corrected by now; read that correction, then write yours");
    }
    if c.why.trim().is_empty() {
        return no("write down how you know");
    }
    if let Some((unit, profile)) = &c.right_unit {
        if !is_number(unit) {
            return no("a unit's number has letters, digits, dots and hyphens");
        }
        if *unit == wrong.unit {
            return no("this is the unit that the check names already");
        }
        if wrong.right_profile.as_ref().is_some_and(|p| p != profile) {
            return no("the right unit is of another kind; look again");
        }
    } else if c.misread.is_empty() {
        return no("say which unit is the right one, or which step was misread");
    }
    if c.misread.iter().any(|s| !wrong.answered.contains(s)) {
        return no("only a step that was answered can have been misread");
    }
    // Without a signature nobody can say who somebody else would be.
    if !c.misread.is_empty() && !wrong.signed {
        return no("nobody has signed this; check the unit again instead");
    }
    Ok(())
}

/// Whether something may be put there: there is room, it fits, and it is not gone for good or held.
fn may_put(asset: &Asset, place: &Place, facts: &Facts) -> Result<(), Refusal> {
    let n = &asset.number;
    assets::may_be_placed(asset, place, facts)?;
    let has = |kind: Kind| facts.open.iter().any(|r| r.kind == kind);
    let rides = matches!(place, Place::Seat { .. } | Place::With { .. } | Place::Spare { .. });
    if rides && has(Kind::Retired) {
        return no(format!("{n} is retired or condemned: it never comes back"));
    }
    if rides && has(Kind::Held) {
        return no(format!("{n} is held for an inquiry: an administrator releases it first"));
    }
    if let Some(unit) = &facts.held_with
        && !matches!(place, Place::With { unit: there } if there == unit)
        && *place != Place::Bench
    {
        return no(format!(
            "{n} is on unit {unit}, which is held for an inquiry: it goes to the bench and nowhere else"
        ));
    }
    // A department's tables come in at the console as they are, two cylinders to a unit included.
    let console = facts.by.is_none() && matches!(place, Place::With { .. });
    if let Some(other) = facts.in_the_way.as_ref().filter(|_| !console) {
        let (kind, number) = (other.kind.words(), &other.number);
        return no(format!("{kind} {number} is there; take that out first"));
    }
    let Place::With { unit } = place else { return Ok(()) };
    if asset.kind == AssetKind::Unit {
        return no("a unit is not fitted to another one");
    }
    let rated = facts.upkeep.things.get(asset).and_then(|t| t.rated);
    if let (Some(own), Some(wanted)) = (rated, facts.rated)
        && own.amount() != wanted.amount()
    {
        let (own, wanted) = (own.words(), wanted.words());
        return no(format!(
            "cylinder {n} is rated {own} and unit {unit} takes {wanted}: fit one rated {wanted}"
        ));
    }
    let against = facts.upkeep.grounds(asset, facts.today);
    match against
        .iter()
        .find(|r| matches!(r.kind, Kind::PastLife | Kind::BadAir | Kind::Lapsed | Kind::StopUsing))
    {
        Some(r) => no(format!("{} {n}: {}; fit another one", asset.kind.words(), r.say)),
        _ => Ok(()),
    }
}

fn not_gone(asset: &Asset, facts: &Facts) -> Result<(), Refusal> {
    let gone = facts.open.iter().any(|r| r.kind == Kind::Retired);
    if gone { no(format!("{} is retired or condemned: it never comes back", asset.number)) } else { Ok(()) }
}

fn may_condemn(t: &TakenOut, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician, Role::Administrator])?;
    not_gone(&t.asset, facts)?;
    if t.asset.kind != AssetKind::Cylinder {
        return no("only a cylinder is condemned; retire a unit or a facepiece");
    }
    if t.why.trim().is_empty() { no("write down why it is condemned") } else { Ok(()) }
}

fn may_seal(s: &Seal, facts: &Facts) -> Result<(), Refusal> {
    may_hold(facts)?;
    if s.place.trim().is_empty() {
        return no("write down where that was, and where it is kept");
    }
    // No valve has so many turns; 40 half turns are far more than any that is known here.
    if s.eighths.is_some_and(|e| e > 160) { no("count the turns again") } else { Ok(()) }
}

/// Whether this is about something held, signed by a member.
fn may_hold(facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &Role::ALL)?;
    let held = facts.open.iter().any(|r| r.kind == Kind::Held);
    if held { Ok(()) } else { no("this is not held for an inquiry; hold it first") }
}

/// The day is one on which this can have been done.
fn in_the_past(on: NaiveDate, facts: &Facts) -> Result<(), Refusal> {
    if on > facts.today {
        return no("this day is still to come; give the day on which it was done");
    }
    if on < NaiveDate::default() { no("look at the year") } else { Ok(()) }
}

fn may_keep_up(u: &Upkept, facts: &Facts) -> Result<(), Refusal> {
    match u.work {
        Work::Cleaned => signed_role(facts, &Role::ALL)?,
        _ => signed_role(facts, &[Role::Technician, Role::Administrator])?,
    }
    let n = &u.asset.number;
    let Some(thing) = facts.upkeep.things.get(&u.asset) else {
        return no(format!("no {} {n} is in the register", u.asset.kind.words()));
    };
    not_gone(&u.asset, facts)?;
    if u.work == Work::FlowTest {
        assets::by_qualified(facts, "a flow test")?;
    }
    if u.work.on() != Some(u.asset.kind) || !Work::DONE.contains(&u.work) {
        return no(format!("{} is not done to a {}", u.work.words(), u.asset.kind.words()));
    }
    in_the_past(u.on, facts)?;
    if u.work.needs_paper() && u.reference.trim().is_empty() {
        return no("name the certificate or sheet: who did it, and its number");
    }
    let past_life = || facts.upkeep.due(&u.asset, Work::EndOfLife).is_some_and(|end| end < facts.today);
    match (u.work, &thing.marks) {
        (Work::Requalification | Work::LifeExtension, None) => {
            no(format!("enter what is stamped on {n} first"))
        }
        (Work::Requalification, Some(_)) if past_life() => no(format!(
            "{n} is past its life: it is not requalified. Condemn it, or enter its life extension first"
        )),
        // DOT-SP 16320: steps of five years, thirty in all, for carbon wraps.
        (Work::LifeExtension, Some(m)) => match u.until {
            _ if m.spec != Spec::PermitCarbon => {
                no("a life is extended for a carbon cylinder by special permit alone")
            }
            Some(until) if until <= m.made.plus(30 * 12) && until > m.made.plus(15 * 12) => Ok(()),
            _ => no("give the month with which the longer life ends: at most thirty years after it was made"),
        },
        (Work::AirReplaced, _) if thing.bad_air.is_none() => no(format!("the air in {n} is not in doubt")),
        _ => Ok(()),
    }
}

fn may_fill(f: &Fill, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &Role::ALL)?;
    let asset = Asset::cylinder(&f.cylinder);
    let mut bars = facts.upkeep.no_fill(&f.cylinder, &f.source, facts.today);
    if let Some(r) = facts.open.iter().find(|r| matches!(r.kind, Kind::Finding | Kind::TakenOut)) {
        bars.push(format!("{} is out of service: {}", f.cylinder, r.say));
    }
    if !bars.is_empty() {
        return no(bars.join("; "));
    }
    if f.celsius.is_some_and(|c| !(-60..=80).contains(&c)) {
        return no("look at the temperature again: it is in °C");
    }
    match facts.upkeep.things.get(&asset).and_then(|t| t.rated) {
        Some(rated) => not_overfilled(f, rated),
        None => Ok(()),
    }
}

/// 49 CFR 173.301(a)(8), from memory: at 55 °C at most five quarters of the rated pressure. Where nobody
/// read the temperature, the reading itself is held against that.
fn not_overfilled(f: &Fill, rated: Pressure) -> Result<(), Refusal> {
    let most = rated.amount().share(Fraction::FIVE_QUARTERS);
    let (read, n) = (f.pressure.words(), &f.cylinder);
    let down = "bring it down by the maker's instructions";
    let at = f.celsius.and_then(|c| Temperature::whole(i32::from(c), TemperatureUnit::C));
    let Some(at) = at else {
        return if f.pressure.amount() > most {
            no(format!(
                "{read} is more than five quarters of what {n} is rated for: look at the gauge again; if it is so, let it cool and {down}"
            ))
        } else {
            Ok(())
        };
    };
    let words = |amount: Amount| amount.words(rated.unit());
    let warm =
        Temperature::whole(55, TemperatureUnit::C).map(|warm| air::reads(f.pressure.amount(), at, warm));
    if let Some(Ok(warm)) = warm
        && warm <= most
    {
        return Ok(());
    }
    let comes_to = air::corrected(f.pressure.amount(), at)
        .map_or_else(|_| "far more".to_owned(), |reading| format!("{} at 21 °C", words(reading)));
    let to = air::fill_to(rated.amount(), at)
        .map_or_else(|_| down.to_owned(), |to| format!("{down} to {}", words(to)));
    no(format!(
        "{read} at {} comes to {comes_to}, and {n} is rated {}: look at the gauge again; if it is so, {to}",
        at.words(),
        rated.words()
    ))
}

fn may_read(r: &CylinderRead, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &Role::ALL)?;
    let thing = facts.upkeep.things.get(&Asset::cylinder(&r.cylinder));
    let Some(rated) = thing.and_then(|t| t.rated) else {
        return no(format!("no cylinder {} is in the register", r.cylinder));
    };
    if thing.is_some_and(|t| t.gone) {
        return no(format!("{} was retired or condemned: take it away", r.cylinder));
    }
    // A warm cylinder honestly reads more than its rating; half as much again is a misreading.
    if r.pressure.amount() > rated.amount().share(Fraction::HALF_AS_MUCH_AGAIN) {
        return no(format!(
            "{} is more than half as much again as what {} is rated for: look at the gauge again",
            r.pressure.words(),
            r.cylinder
        ));
    }
    Ok(())
}

fn may_sample(s: &AirSample, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician, Role::Officer, Role::Administrator])?;
    let Some(source) = facts.upkeep.sources.get(&s.source) else {
        return no("choose the source of the air");
    };
    in_the_past(s.on, facts)?;
    if source.sampled.is_some_and(|last| s.on < last) {
        return no("a later sample of this source is in the logbook already");
    }
    if s.reference.trim().is_empty() {
        return no("name the laboratory and its report's number");
    }
    if s.oxygen > 10_000 || s.oil > 1_000_000 || s.monoxide > 10_000_000 || s.dioxide > 1_000_000 {
        return no("one of the figures is more than there can be; look at the report again");
    }
    Ok(())
}

fn may_marks(m: &Marks, facts: &Facts) -> Result<(), Refusal> {
    if !(500..=20_000).contains(&m.volume_ml) {
        return no("give the water volume in litres: 0.5 to 20");
    }
    let today = Month::of(facts.today);
    if m.made > today || m.made.first_day() < NaiveDate::default() {
        return no("give the month in which it was made");
    }
    if m.requalified.is_some_and(|r| r > today || r < m.made) {
        return no("the last requalification is between the month in which it was made and this one");
    }
    let longest = m.spec.life_months().map(|_| m.made.plus(30 * 12));
    match (m.life_until, longest) {
        (Some(end), _) if end <= m.made => no("its life ends after it was made"),
        (Some(end), Some(longest)) if end > longest => no("no life is extended beyond thirty years"),
        _ => Ok(()),
    }
}

fn may_crew(c: &Crew, facts: &Facts) -> Result<(), Refusal> {
    if let Some(seat) = c.seats.keys().find(|s| !facts.seats.contains(*s)) {
        return no(format!("“{seat}” is not a seat of this rig"));
    }
    let members: BTreeSet<&String> = c.seats.values().collect();
    if members.len() < c.seats.len() {
        return no("one member cannot sit on two seats; look at the names again");
    }
    match members.iter().find_map(|m| facts.elsewhere.get(*m)) {
        Some(rig) => no(format!("someone named here rides {rig} in this shift; take them off there first")),
        None => Ok(()),
    }
}

/// All of it fits together, or nothing is moved: everything is where it was when this was decided,
/// what is held or retired goes to the bench at most, and no seat would have two things in it.
fn may_move(m: &Moved, facts: &Facts) -> Result<(), Refusal> {
    if m.moves.is_empty() {
        return no("name what is moved");
    }
    let mut places = facts.places.clone();
    for one in &m.moves {
        let what = format!("{} {}", one.asset.kind.words(), one.asset.number);
        if facts.stuck.contains(&one.asset) && one.to != Place::Bench {
            return no(format!("{what} is held or retired: it goes to the bench and nowhere else"));
        }
        if matches!(one.to, Place::With { .. }) {
            return no(format!(
                "{what} is fitted to a unit by itself, where it is looked at whether it fits"
            ));
        }
        assets::may_be_placed(&one.asset, &one.to, facts)?;
        if facts.places.get(&one.asset) != one.from.as_ref() {
            return no(format!("{what} is not where it was when you looked; look again"));
        }
        places.insert(one.asset.clone(), one.to.clone());
    }
    let assets: BTreeSet<&Asset> = m.moves.iter().map(|o| &o.asset).collect();
    if assets.len() < m.moves.len() {
        return no("one thing cannot go to two places");
    }
    let mut taken = BTreeSet::new();
    for place in places.values().filter(|p| matches!(p, Place::Seat { .. })) {
        if let Place::Seat { seat } = place
            && !taken.insert(seat)
        {
            return no(
                "a place on a rig takes one thing, and one of these is not empty any more; look again",
            );
        }
    }
    Ok(())
}

fn may_register(r: &Register, facts: &Facts) -> Result<(), Refusal> {
    let number = |n: &str| {
        if is_number(n) {
            Ok(())
        } else {
            no(format!("“{n}” cannot be a number: letters, digits, dots and hyphens"))
        }
    };
    match r {
        Register::Department { zone, shift_start, shift_hours, early_minutes, grace_minutes, .. } => {
            ShiftClock::read(zone, shift_start, *shift_hours, *early_minutes, *grace_minutes)
                .map(|_| ())
                .or_else(no)
        }
        Register::Unit { number: n, .. }
        | Register::Facepiece { number: n, .. }
        | Register::FacepieceModel { number: n, .. }
        | Register::Cylinder { number: n, .. } => number(n),
        Register::Tablet { id, name, .. } => {
            number(id)?;
            if id == "desk" {
                return no("“desk” is the server's own name");
            }
            // 60 characters, so that a list of tablets stays one.
            if name.trim().is_empty() || name.chars().count() > 60 || name.contains(char::is_control) {
                return no("give the tablet a name of up to 60 characters");
            }
            Ok(())
        }
        Register::CylinderMarks { number: n, marks } => number(n).and_then(|()| may_marks(marks, facts)),
        Register::Qualification { member, .. } => number(member),
        Register::Period(p) if !(1..=360).contains(&p.months) => no("give the period in months: 1 to 360"),
        Register::Station { id, .. }
        | Register::Rig { id, .. }
        | Register::Seat { id, .. }
        | Register::Source { id, .. } => number(id),
        Register::Member { id, roles, .. } => {
            number(id)?;
            match roles.iter().find(|r| Role::from_id(r).is_none()) {
                Some(r) => no(format!("“{r}” is not a role; use crew, officer, technician or administrator")),
                None => Ok(()),
            }
        }
        Register::Rotation { turns, .. } => {
            if turns.iter().all(|t| !t.trim().is_empty()) {
                Ok(())
            } else {
                no("each platoon has a name")
            }
        }
        Register::Drive { from, to, .. } => {
            if from == to {
                no("a drive goes from one station to another")
            } else {
                Ok(())
            }
        }
        Register::Approval { .. } => assets::may_approve(r),
        Register::Identification { hours, .. } if !(1..=24 * 7).contains(hours) => {
            no("give the hours for which the alarm knows its wearer: 1 to 168")
        }
        Register::Holder { .. }
        | Register::Period(_)
        | Register::Countersigning { .. }
        | Register::Cadence { .. }
        | Register::Identification { .. } => Ok(()),
    }
}

/// The asset whose grounds must be known before this is decided.
pub fn asset_of(desk: &Desk) -> Option<Asset> {
    match desk {
        Desk::Return(r) => Some(r.asset.clone()),
        Desk::Release(c) | Desk::Cleaned(c) => Some(c.asset.clone()),
        Desk::Accepted(a) => Some(Asset::unit(&a.unit)),
        Desk::Retired(t) | Desk::Condemned(t) => Some(t.asset.clone()),
        Desk::Upkeep(u) => Some(u.asset.clone()),
        Desk::Fitting(f) => Some(Asset::unit(&f.unit)),
        Desk::Loan(l) => Some(l.unit()),
        Desk::LoanEnded(e) => Some(Asset::unit(&e.unit)),
        Desk::NoticeDone(d) => Some(d.asset.clone()),
        Desk::Sealed(s) => Some(s.asset.clone()),
        Desk::HandedOver(h) => Some(h.asset.clone()),
        Desk::Fill(f) => Some(Asset::cylinder(&f.cylinder)),
        Desk::Register(Register::Holder { asset, .. }) => Some(asset.clone()),
        _ => None,
    }
}
