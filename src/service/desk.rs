//! Gathers the facts that a desk record is decided on, inside the transaction that writes it.

use std::collections::BTreeSet;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::desk::{Enrolled, Facts, Refusal, Wrong, asset_of, may};
use airmuster_domain::record::{
    Asset, AssetKind, Body, Correction, Desk, Envelope, Field, Loan, Place, Register, heads,
};
use airmuster_domain::rules::{Profile, Table};
use airmuster_domain::standing::{SLACK, speaks_about};

use super::intake::{IntakeError, Origin};
use crate::store::{Known, StoreError, TabletRow, Write};

/// Decides whether a desk record may be made now.
pub async fn decide(
    write: &mut Write,
    desk: &Desk,
    envelope: &Envelope,
    origin: &Origin,
    now: Millis,
) -> Result<(), IntakeError> {
    let by = envelope.by.as_deref();
    if *origin == Origin::Server && matches!(desk, Desk::Doubt(_) | Desk::PinStopped(_)) {
        return Ok(());
    }
    if matches!(origin, Origin::Tablet { .. } | Origin::HandedIn { .. }) {
        let say = "this is written at the desk, not on a tablet".to_owned();
        return Err(Refusal { say, forbidden: true }.into());
    }
    if by.is_none() && *origin != Origin::Console {
        let say = "this needs a signature".to_owned();
        return Err(Refusal { say, forbidden: true }.into());
    }
    let facts = gather(write, desk, by, now).await?;
    if by.is_some() && facts.by.is_none() {
        return Err(Refusal { say: "the signer is not in the register".to_owned(), forbidden: true }.into());
    }
    may(desk, &facts)?;
    // What is made at the desk holds from the moment at which it is decided, not from a later one.
    if envelope.time() > now.saturating_add(SLACK) {
        let say = "this is dated later than now; set the clock right and write it again".to_owned();
        return Err(Refusal { say, forbidden: false }.into());
    }
    let lacks = match desk {
        Desk::Register(entry) => write.lacks(entry).await?,
        _ => unknown(write, desk).await?,
    };
    if let Some(what) = lacks {
        let say = format!("there is no {what} in the register; enter it first");
        return Err(Refusal { say, forbidden: false }.into());
    }
    Ok(())
}

async fn gather(write: &mut Write, desk: &Desk, by: Option<&str>, now: Millis) -> Result<Facts, StoreError> {
    let clock = write.clock().await?;
    let mut facts = Facts {
        today: clock.local(now).date_naive(),
        upkeep: write.upkeep_about(desk).await?,
        ..Facts::default()
    };
    if let Some(by) = by {
        facts.by = write.signer(by).await?;
    }
    let ticket = write.gather_ticket(desk, &mut facts, now).await?;
    if let Some(asset) = asset_of(desk).or(ticket) {
        facts.open = write.open_grounds(&asset, now).await?;
        if asset.kind == AssetKind::Unit {
            // A unit whose profile is not known here has a family that nobody is qualified for.
            let profile = profile(write, &asset).await?;
            facts.slots = profile.as_ref().map(Profile::slots);
            facts.family = Some(profile.map(|p| p.family).unwrap_or_default());
        } else {
            facts.held_with = write.held_with(&asset, now).await?;
        }
    }
    match desk {
        Desk::Return(r) => {
            facts.check = write.done(&r.proving).await?;
            facts.later = write.raised_after(&r.asset, &r.proving).await?;
            if let Some(second) = &r.second_signer {
                facts.second = write.signer(second).await?;
            }
        }
        Desk::Accepted(a) => {
            facts.check = write.done(&a.check).await?.filter(|d| d.unit.number == a.unit);
        }
        Desk::Loan(Loan::Borrowed { profile, .. }) => {
            facts.slots = table(write).await?.and_then(|t| t.profiles.get(profile).map(Profile::slots));
        }
        Desk::Loan(Loan::Lent { unit, .. }) => {
            for item in write.with_unit(unit).await? {
                let open = write.open_grounds(&item, now).await?;
                facts.fitted_open.insert(item, open);
            }
        }
        Desk::Fitting(f) => facts.fitted_on = write.fitted_on(f).await?,
        Desk::Correction(c) => facts.wrong = wrong(write, c).await?,
        Desk::Register(Register::Tablet { id, .. }) => facts.tablet = enrolled(write, id).await?,
        Desk::GapDealt(g) => facts.shows = write.can_show(g).await?,
        Desk::TabletRevoked(t) => facts.tablet = enrolled(write, &t.tablet).await?,
        Desk::Register(Register::Holder { asset, place }) => {
            facts.in_the_way = write.in_the_way(asset, place).await?;
            if let (Place::With { unit }, AssetKind::Cylinder) = (place, asset.kind) {
                facts.rated = profile(write, &Asset::unit(unit)).await?.map(|p| p.rated);
            }
        }
        Desk::Moved(m) => write.gather_places(m, &mut facts, now).await?,
        Desk::Crew(c) => write.gather_crew(c, &mut facts).await?,
        Desk::Acknowledged(a) => {
            let there = write.variants(a.of.id).await?;
            facts.variants = there.iter().map(|k| k.record.name.digest).collect();
        }
        Desk::Signature(s) | Desk::Countersigned(s) => {
            // Not only checks are signed: an acceptance is, too.
            let there = write.variants(s.of.id).await?;
            if let Some(kept) = there.into_iter().find(|k| k.record.name == s.of) {
                facts.signer = kept.record.envelope.by;
                facts.writer = kept.record.envelope.written_by;
                facts.waits = write.waits_for_countersigning(kept.place.seq).await?;
            }
        }
        _ => {}
    }
    if let Some(id) = speaks_about(desk) {
        let variants: BTreeSet<_> = write.variants(id).await?.iter().map(|k| k.record.name.digest).collect();
        facts.variants = variants;
    }
    Ok(facts)
}

async fn wrong(write: &mut Write, c: &Correction) -> Result<Option<Wrong>, StoreError> {
    let Some(of) = write.check_record(&c.of).await? else {
        return Ok(None);
    };
    let Body::Field(Field::Check(check)) = of.record.body else {
        return Ok(None);
    };
    let before = write.corrections_of(&c.of).await?;
    Ok(Some(Wrong {
        heads: heads(before.iter().map(|(name, c)| (*name, c))),
        right_profile: match &c.right_unit {
            Some((number, _)) => write.profile_of(&Asset::unit(number)).await?,
            None => None,
        },
        answered: check.answers.into_iter().map(|a| a.step.into()).collect(),
        signed: of.record.envelope.by.is_some(),
        unit: check.unit,
    }))
}

async fn enrolled(write: &mut Write, id: &str) -> Result<Option<Enrolled>, StoreError> {
    let state = |t: TabletRow| if t.revoked_at.is_some() { Enrolled::Revoked } else { Enrolled::InUse };
    Ok(write.tablet(id).await?.map(state))
}

/// What a record leans on that is not in the register, in words.
async fn unknown(write: &mut Write, desk: &Desk) -> Result<Option<String>, StoreError> {
    let named: Vec<(Known, &str)> = match desk {
        Desk::RigStatus(s) => vec![(Known::Rig, &s.rig), (Known::Station, &s.station)],
        Desk::Crew(c) => {
            let members = c.seats.values().map(|m| (Known::Member, m.as_str()));
            std::iter::once((Known::Rig, c.rig.as_str())).chain(members).collect()
        }
        Desk::Loan(Loan::Borrowed { station, .. }) => vec![(Known::Station, station)],
        Desk::LoanEnded(e) => e.station.iter().map(|s| (Known::Station, s.as_str())).collect(),
        Desk::PersonChanged(p) => vec![(Known::Member, &p.member)],
        Desk::Left(l) => vec![(Known::Member, &l.member)],
        Desk::Moved(m) => m
            .moves
            .iter()
            .filter_map(|one| match &one.to {
                Place::Seat { seat } => Some((Known::Seat, seat.as_str())),
                Place::Spare { station } => Some((Known::Station, station.as_str())),
                _ => None,
            })
            .collect(),
        _ => Vec::new(),
    };
    for (what, id) in named {
        if !write.known(what, id).await? {
            return Ok(Some(format!("{} “{id}”", what.words())));
        }
    }
    Ok(None)
}

/// What kind of unit it is, by the rule table in force.
async fn profile(write: &mut Write, asset: &Asset) -> Result<Option<Profile>, StoreError> {
    let Some(profile) = write.profile_of(asset).await? else {
        return Ok(None);
    };
    Ok(table(write).await?.and_then(|t| t.profiles.get(&profile).cloned()))
}

/// The rule table in force.
async fn table(write: &mut Write) -> Result<Option<Arc<Table>>, StoreError> {
    let rules = write.rules_in_force().await?;
    let tables = write.tables();
    let digest = rules.unwrap_or_else(|| tables.default_digest());
    Ok(tables.get(&digest).cloned())
}
