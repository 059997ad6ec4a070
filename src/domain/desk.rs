//! What may be done at the desk: a desk record against the state of the moment. The facts are
//! gathered first, then [`may`] decides. Once a record is in, its authority is never decided again.

use std::collections::BTreeSet;

use crate::ground::{Done, Kind, Raise};
use crate::record::{Asset, Correction, Desk, Digest, RecordRef, Register, Return, Stage, is_number};
use crate::role::Role;
use crate::rules;
use crate::shift::ShiftClock;

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
    /// The unit's qualification family; for a facepiece or cylinder, none.
    pub family: Option<String>,
    /// The proving or acceptance check, where it is there and counts.
    pub check: Option<Done>,
    /// Hashes of all records with the id that is spoken about.
    pub variants: BTreeSet<Digest>,
    /// Who signed the record that is to be proven.
    pub signer: Option<String>,
    /// The check that is to be corrected.
    pub wrong: Option<Wrong>,
    /// The ticket's stage.
    pub stage: Option<Stage>,
    /// The tablet that is spoken about, where it is enrolled.
    pub tablet: Option<Enrolled>,
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
    if facts.open.iter().any(|r| r.kind == Kind::Held) && touches_asset(desk) {
        return no(
            "this is held for an inquiry: nothing may be done to it until an administrator releases it",
        );
    }
    match desk {
        Desk::Register(r) => {
            match r {
                Register::Holder { .. } => {
                    role(facts, &[Role::Officer, Role::Technician, Role::Administrator])?;
                }
                Register::Tablet { .. } => {
                    role(facts, &[Role::Officer, Role::Administrator])?;
                    if facts.tablet.is_some() {
                        return no("a tablet of this id is enrolled already; enrol it under a new one");
                    }
                }
                _ => role(facts, &[Role::Administrator])?,
            }
            may_register(r)
        }
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
        Desk::Settlement(s) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            let named: BTreeSet<Digest> = s.variants.iter().copied().collect();
            if facts.variants.is_empty() || named != facts.variants {
                return no(
                    "a settlement names every version there is, and there are others by now; look again",
                );
            }
            if s.accepted.is_some_and(|a| !named.contains(&a)) {
                return no("the version that holds must be one of those named");
            }
            Ok(())
        }
        Desk::Correction(c) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            if !facts.variants.contains(&c.of.digest) {
                return no("the check to be corrected is not in the logbook");
            }
            may_correct(c, facts.wrong.as_ref())
        }
        Desk::Accepted(_) => {
            signed_role(facts, &[Role::Technician, Role::Administrator])?;
            match &facts.check {
                Some(c) if c.clean && c.purpose == rules::Purpose::Acceptance => Ok(()),
                _ => no("acceptance needs a complete good acceptance check of this unit"),
            }
        }
        Desk::Retired(_) => signed_role(facts, &[Role::Technician, Role::Administrator]),
        Desk::TicketStage(t) => {
            signed_role(facts, &[Role::Technician])?;
            open_ticket(facts)?;
            if t.stage.is_closed() {
                return no("a ticket ends with a return to service, or with the asset's retirement");
            }
            Ok(())
        }
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
        Desk::TabletRevoked(_) => {
            signed_role(facts, &[Role::Officer, Role::Administrator])?;
            match facts.tablet {
                Some(Enrolled::InUse) => Ok(()),
                Some(Enrolled::Revoked) => no("this tablet was given up before"),
                None => no("there is no such tablet"),
            }
        }
        Desk::PinAllowed(_) => signed_role(facts, &[Role::Officer, Role::Administrator]),
        Desk::Doubt(_) | Desk::Unproven(_) | Desk::PinStopped(_) | Desk::TicketOpened(_) => {
            no("this is written by the server itself")
        }
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

fn may_return(r: &Return, facts: &Facts) -> Result<(), Refusal> {
    let qualified = |s: &Signer| {
        s.roles.contains(&Role::Technician) && facts.family.as_ref().is_none_or(|f| s.qualified.contains(f))
    };
    let technician = "a return is signed by a technician qualified for this kind of unit";
    match &facts.by {
        Some(s) if qualified(s) => {}
        _ => return Err(Refusal { say: technician.to_owned(), forbidden: true }),
    }
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
        match (&facts.second, &facts.by) {
            (Some(second), Some(first)) if second.id != first.id && !second.roles.is_empty() => {}
            _ => return no("“no fault found” needs a second signer, another member"),
        }
    }
    let Some(check) = &facts.check else {
        return no("a return needs a proving check of this unit; make it first");
    };
    if check.purpose != rules::Purpose::Proving || !check.clean {
        return no(
            "the proving check must be complete, with nothing out of service and nothing left to put right",
        );
    }
    if check.unit != r.asset && !check.with.contains(&r.asset) {
        return no("the proving check was made on something else");
    }
    let listed = facts.open.iter().filter(|g| r.clears.contains(&g.key));
    for ground in listed {
        if ground.step.as_ref().is_some_and(|s| !check.good.contains(s)) {
            return no(format!(
                "the proving check has no good answer at the step that failed: {}",
                ground.say
            ));
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

fn may_register(r: &Register) -> Result<(), Refusal> {
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
        Register::Station { id, .. } | Register::Rig { id, .. } | Register::Seat { id, .. } => number(id),
        Register::Member { id, roles, .. } => {
            number(id)?;
            match roles.iter().find(|r| Role::from_id(r).is_none()) {
                Some(r) => no(format!("“{r}” is not a role; use crew, officer, technician or administrator")),
                None => Ok(()),
            }
        }
        Register::Holder { .. } => Ok(()),
    }
}

/// The asset whose grounds must be known before this is decided.
pub fn asset_of(desk: &Desk) -> Option<Asset> {
    match desk {
        Desk::Return(r) => Some(r.asset.clone()),
        Desk::Release(c) | Desk::Cleaned(c) => Some(c.asset.clone()),
        Desk::Accepted(a) => Some(Asset::unit(&a.unit)),
        Desk::Retired(t) => Some(t.asset.clone()),
        _ => None,
    }
}
