//! Parts, acceptance, notices and the ways of a ticket: what may be done to them at the desk.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::{Facts, Refusal, no, not_gone, open_ticket, qualified, signed_role};
use crate::ground::{FITTED, Kind, Raise};
use crate::record::{
    Accepted, Asset, Fitting, Loan, LoanEnded, Notice, NoticeDone, NoticeEnded, Place, Register, Sent, Slot,
    Stage, TicketApart, TicketJoined, TicketSplit, TicketStage, Work, is_number,
};
use crate::role::Role;
use crate::rules;
use crate::standing::State;
use crate::upkeep::{Thing, Upkeep};

/// Another ticket, as far as joining goes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Other {
    /// Where it stands.
    pub stage: Option<Stage>,
    /// The ticket that it is worked on under.
    pub under: Option<u64>,
    /// Whether its thing is held for an inquiry.
    pub held: bool,
}

/// Whoever works on what a life hangs on is trained for it: 29 CFR 1910.134(h)(4).
pub(super) fn by_qualified(facts: &Facts, what: &str) -> Result<(), Refusal> {
    match &facts.by {
        Some(s) if qualified(s, facts) => Ok(()),
        _ => Err(Refusal {
            say: format!("{what} is signed by a technician qualified for this kind of unit"),
            forbidden: true,
        }),
    }
}

pub(super) fn may_accept(a: &Accepted, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician, Role::Administrator])?;
    let unit = Asset::unit(&a.unit);
    not_gone(&unit, facts)?;
    let lacks = lacks(&unit, facts.slots.as_deref(), &facts.upkeep, facts.today);
    if !lacks.is_empty() {
        return no(format!("not yet accepted: enter {} first", lacks.join(", ")));
    }
    match &facts.check {
        Some(c) if c.clean && c.purpose == rules::Purpose::Acceptance => Ok(()),
        _ => no("acceptance needs a complete good acceptance check of this unit"),
    }
}

/// What the register lacks of a new unit before it can be accepted: serial and edition of its parts
/// (`slots`: those that its kind has, where that is known), its flow test.
pub fn lacks(unit: &Asset, slots: Option<&[Slot]>, upkeep: &Upkeep, today: NaiveDate) -> Vec<String> {
    let Some(slots) = slots else { return vec!["a profile that the rule table knows".to_owned()] };
    let thing = upkeep.things.get(unit).cloned().unwrap_or_default();
    let mut out = missing(slots, &thing);
    let tested = upkeep.due(unit, Work::FlowTest).is_some_and(|by| by >= today);
    if !tested || thing.failed.contains_key(&Work::FlowTest) {
        out.push("its flow test with the certificate".to_owned());
    }
    out
}

/// Which of a unit's parts the register knows too little of.
fn missing(slots: &[Slot], thing: &Thing) -> Vec<String> {
    let lacks = |slot: &&Slot| {
        thing.parts.get(slot).is_none_or(|f| f.part.serial.is_empty() || f.part.edition.is_empty())
    };
    slots.iter().filter(lacks).map(|s| format!("serial and edition of its {}", s.words())).collect()
}

pub(super) fn may_fit(f: &Fitting, facts: &Facts) -> Result<(), Refusal> {
    by_qualified(facts, "work on a part")?;
    let unit = Asset::unit(&f.unit);
    let Some(thing) = facts.upkeep.things.get(&unit).filter(|t| t.profile.is_some()) else {
        return no(format!("no unit {} is in the register", f.unit));
    };
    not_gone(&unit, facts)?;
    let slot = f.slot.words();
    let there = thing.parts.get(&f.slot).map(|p| p.part.serial.as_str());
    if f.was_there {
        if f.out.is_some() || f.part.is_none() {
            return no("what was on the unit is entered, and nothing is taken out");
        }
        if there.is_some_and(|t| f.part.as_ref().is_some_and(|p| p.serial != t)) {
            return no(format!(
                "the register has {slot} {} on it; write down that it was replaced",
                there.unwrap_or_default()
            ));
        }
    } else if f.out.as_deref() != there {
        return no(format!("another {slot} is on the unit by now; look again"));
    } else if f.out.is_none() && f.part.is_none() {
        return no(format!("no {slot} is on the unit"));
    }
    let Some(part) = &f.part else {
        return if f.why.trim().is_empty() { no("write down why it is removed") } else { Ok(()) };
    };
    if part.serial.trim().is_empty() || part.serial.chars().count() > 40 {
        return no("give the serial, as it stands on the part");
    }
    if part.edition.trim().is_empty() {
        return no("give the edition that the part was made to, as its label has it");
    }
    if let Some(other) = &facts.fitted_on {
        return no(format!("{slot} {} is on unit {other}; remove it there first", part.serial));
    }
    if part.made.is_some_and(|m| m.first_day() > facts.today) {
        return no("give the month in which it was made");
    }
    if let (Some(end), Some(made)) = (part.warranty, part.made)
        && end < made.first_day()
    {
        return no("a warranty ends after the part was made");
    }
    approved(f, thing.profile.as_deref().unwrap_or_default(), &part.name, facts)
}

/// 29 CFR 1910.134(h)(4)(ii): only parts designed for the respirator are used.
fn approved(f: &Fitting, profile: &str, name: &str, facts: &Facts) -> Result<(), Refusal> {
    let slot = f.slot.words();
    match facts.upkeep.approvals.get(profile).and_then(|a| a.get(&f.slot)) {
        None => no(format!(
            "the register has no {slot} that the approval of {profile} names; an administrator enters it first"
        )),
        Some(names) if names.iter().any(|n| n == name) => Ok(()),
        Some(names) => {
            let what = if name.trim().is_empty() { format!("this {slot}") } else { format!("“{name}”") };
            no(format!(
                "the approval of {profile} does not name {what}: do not fit it. It names {}",
                names.join(", ")
            ))
        }
    }
}

pub(super) fn may_approve(r: &Register) -> Result<(), Refusal> {
    match r {
        Register::Approval { names, .. } if names.iter().any(|n| n.trim().is_empty()) => {
            no("each part has a name")
        }
        _ => Ok(()),
    }
}

pub(super) fn may_give_notice(n: &Notice, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician, Role::Administrator])?;
    if !is_number(&n.number) {
        return no("give the notice a number: letters, digits, dots and hyphens");
    }
    if facts.upkeep.notices.contains_key(&n.number) {
        return no(format!("there is a notice {} already; give this one another number", n.number));
    }
    for (text, what) in [
        (&n.title, "say in a line what it is about"),
        (&n.source, "say who gave it out, and its reference"),
        (&n.what, "say what is to be done to each"),
    ] {
        if text.trim().is_empty() {
            return no(what);
        }
    }
    let r = &n.reach;
    if r.slot.is_some() && r.kind != crate::record::AssetKind::Unit {
        return no("parts are on units; choose units");
    }
    let narrow = [&r.only, &r.name, &r.from, &r.to].iter().any(|t| !t.trim().is_empty());
    if !narrow && r.made_from.is_none() && r.made_to.is_none() {
        return no("say which things: a kind, a name, serials, or a batch");
    }
    if r.made_from.zip(r.made_to).is_some_and(|(from, to)| from > to) {
        return no("the batch ends before it begins");
    }
    let lists = |end: &str| end.trim().is_empty() || crate::notice::within(end, &r.from, &r.to);
    if !lists(&r.from) || !lists(&r.to) {
        return no("the first and last serial are of one row, and the last is not before the first");
    }
    Ok(())
}

pub(super) fn may_deal_with(d: &NoticeDone, facts: &Facts) -> Result<(), Refusal> {
    by_qualified(facts, "what a notice asks for")?;
    not_gone(&d.asset, facts)?;
    if d.what.trim().is_empty() {
        return no("write down what was done and found");
    }
    let thing = facts.upkeep.things.get(&d.asset).cloned().unwrap_or_default();
    let Some(notice) = facts.upkeep.notices.get(&d.notice).filter(|n| !n.ended) else {
        return no("this notice is not in force");
    };
    if notice.reaches(&d.asset, &thing).is_none() || notice.dealt_with(&d.asset, &thing).is_some() {
        return no(format!("{} is not on the list of this notice any more", d.asset.number));
    }
    Ok(())
}

pub(super) fn may_withdraw(e: &NoticeEnded, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Administrator])?;
    if facts.upkeep.notices.get(&e.notice).is_none_or(|n| n.ended) {
        return no("this notice is not in force");
    }
    if e.why.trim().is_empty() { no("say who withdrew it, and why") } else { Ok(()) }
}

pub(super) fn may_stage(t: &TicketStage, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician])?;
    open_ticket(facts)?;
    if t.stage.is_closed() {
        return no("a ticket ends with a return to service, or with the asset's retirement");
    }
    if let Some(under) = facts.under {
        return no(format!("this ticket is worked on under ticket {under}; set that one’s stage"));
    }
    match (&t.sent, t.stage) {
        (Some(sent), Stage::AtRepairer) => may_send(sent, facts),
        (None, Stage::AtRepairer) => {
            no("say which repairer has it, under which reference, and when it is due back")
        }
        (Some(_), _) => no("only what is with an outside repairer is due back from one"),
        (None, _) => Ok(()),
    }
}

fn may_send(sent: &Sent, facts: &Facts) -> Result<(), Refusal> {
    if sent.repairer.trim().is_empty() || sent.reference.trim().is_empty() {
        return no("name the repairer, and the reference under which they have it");
    }
    if sent.due_back < facts.today {
        return no("give the day on which it is due back, not one that has passed");
    }
    match &facts.our_loaner {
        Some(unit) => no(format!(
            "unit {unit} is ours and on a rig: the loaner is what the repairer lends, under a number of its own here"
        )),
        None => Ok(()),
    }
}

pub(super) fn may_join(t: &TicketJoined, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician])?;
    open_ticket(facts)?;
    if t.ticket == t.under {
        return no("a ticket is joined to another one");
    }
    if facts.under.is_some() {
        return no("this ticket is joined to another one already; take it apart first");
    }
    if facts.has_joined {
        return no("other tickets are worked on under this one; take them apart first");
    }
    match &facts.other {
        Some(Other { held: true, .. }) => {
            no(format!("what ticket {} is about is held for an inquiry; leave it as it is", t.under))
        }
        Some(Other { stage: Some(s), under: None, .. }) if !s.is_closed() => Ok(()),
        Some(Other { under: Some(under), .. }) => {
            no(format!("that ticket is worked on under ticket {under}; join it to that one"))
        }
        _ => no(format!("there is no open ticket {}", t.under)),
    }
}

pub(super) fn may_take_apart(_: &TicketApart, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician])?;
    open_ticket(facts)?;
    if facts.under.is_some() { Ok(()) } else { no("this ticket stands by itself already") }
}

pub(super) fn may_split(t: &TicketSplit, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &[Role::Technician])?;
    open_ticket(facts)?;
    let named: BTreeSet<&String> = t.grounds.iter().collect();
    if named.is_empty() || named.iter().any(|k| !facts.on_ticket.contains(*k)) {
        return no("tick what is still open on this ticket; look again");
    }
    if named.len() == facts.on_ticket.len() {
        return no("something stays on this ticket; leave one thing unticked");
    }
    if t.into == facts.next_ticket { Ok(()) } else { no("another ticket was opened meanwhile; try again") }
}

/// What a return after work on a part asks for: the part named, so that a bench test is too.
pub(super) fn names_its_work(listed: &[&Raise], worked_on: &[crate::record::Part]) -> Result<(), Refusal> {
    let fitted = |r: &&&Raise| r.kind == Kind::TakenOut && r.step.is_none() && r.entered == FITTED;
    match listed.iter().find(fitted) {
        Some(r) if !worked_on.iter().any(|p| p.needs_bench_test()) => {
            no(format!("{}: tick what was worked on", r.say))
        }
        _ => Ok(()),
    }
}

const LENDERS: [Role; 3] = [Role::Officer, Role::Technician, Role::Administrator];

pub(super) fn may_loan(l: &Loan, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &LENDERS)?;
    let unit = l.unit();
    not_gone(&unit, facts)?;
    let n = &unit.number;
    let known = facts.upkeep.things.get(&unit).filter(|t| t.profile.is_some());
    match (l, known) {
        (Loan::Lent { .. }, None) => return no(format!("no unit {n} is in the register")),
        (Loan::Lent { .. }, Some(thing)) if !thing.owner.is_empty() => {
            return no(format!("unit {n} belongs to {}; give it back to them", thing.owner));
        }
        (Loan::Lent { .. }, Some(thing)) if thing.loan.is_some() => {
            return no(format!("unit {n} is lent already; write down first that it is back"));
        }
        (Loan::Lent { .. }, Some(thing)) if thing.away => {
            return no(format!("unit {n} is with a repairer; write down first that it is back"));
        }
        (Loan::Lent { .. }, Some(_)) => may_be_lent(&unit, facts)?,
        (Loan::Borrowed { .. }, _) if !is_number(n) => {
            return no("give it a number here: letters, digits, dots and hyphens");
        }
        (Loan::Borrowed { .. }, Some(thing)) if thing.owner.is_empty() || thing.loan.is_some() => {
            return no(format!("there is a unit {n} here already; give this one another number"));
        }
        (Loan::Borrowed { .. }, _) if facts.slots.is_none() => {
            return no("choose its kind among those of the rule table");
        }
        (Loan::Borrowed { theirs, .. }, _) if theirs.trim().is_empty() => {
            return no("give the number that its owner has on it");
        }
        (Loan::Borrowed { .. }, _) => {}
    }
    if l.other().trim().is_empty() {
        return no("name the other department");
    }
    if l.reference().trim().is_empty() {
        return no("give the paper that goes with it, or who hands it over");
    }
    if l.due_back() < facts.today { no("give the day on which it is due back") } else { Ok(()) }
}

/// What must not ride here is not lent to others to ride there.
fn may_be_lent(unit: &Asset, facts: &Facts) -> Result<(), Refusal> {
    let fitted = |item: &Asset| facts.fitted_open.get(item).cloned().unwrap_or_default();
    let upkeep = facts.upkeep.grounds_with(unit, facts.today, &facts.open, fitted);
    let against = |r: &&Raise| r.kind.terms().state >= State::OutOfService;
    match facts.open.iter().chain(&upkeep).find(against) {
        Some(r) => {
            let state = r.kind.terms().state.words().to_lowercase();
            no(format!("unit {} is {state} ({}); it is not lent", unit.number, r.say))
        }
        None => Ok(()),
    }
}

pub(super) fn may_end_loan(e: &LoanEnded, facts: &Facts) -> Result<(), Refusal> {
    signed_role(facts, &LENDERS)?;
    let loan = facts.upkeep.things.get(&Asset::unit(&e.unit)).and_then(|t| t.loan.as_ref());
    match (loan, &e.station) {
        (Some(Loan::Lent { .. }), Some(_)) | (Some(Loan::Borrowed { .. }), None) => Ok(()),
        (Some(Loan::Lent { .. }), None) => no("choose the station at which it is a spare now"),
        (Some(Loan::Borrowed { from, .. }), Some(_)) => no(format!("it goes back to {from}")),
        (None, _) => no(format!("unit {} is on no loan any more", e.unit)),
    }
}

/// Who has it is written with a loan and its end; nothing else takes a unit away or brings it back.
pub(super) fn may_be_placed(asset: &Asset, place: &Place, facts: &Facts) -> Result<(), Refusal> {
    let n = &asset.number;
    if *place == Place::Away {
        return no(format!("{n} goes to another department by a loan, which says to whom"));
    }
    match facts.upkeep.things.get(asset).map(|t| (t.loan.as_ref(), &t.owner, t.away)) {
        Some((Some(Loan::Lent { to, .. }), ..)) => {
            no(format!("unit {n} is lent to {to}; write down first that it is back"))
        }
        Some((None, owner, true)) if !owner.is_empty() => {
            no(format!("unit {n} was given back to {owner}; borrow it again"))
        }
        _ => Ok(()),
    }
}
