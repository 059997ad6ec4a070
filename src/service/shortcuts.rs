//! The questions that the checks of the last weeks raise, from the records themselves.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::ground::Forms as _;
use airmuster_domain::record::{Body, Check, Field};
use airmuster_domain::role::Role;
use airmuster_domain::rules::{Form, Purpose};
use airmuster_domain::shortcuts::{Question, Seen, questions};

use super::fleet::Fleet;
use crate::store::{Store, StoreError};

/// How far back is looked.
pub const BACK: Millis = 28 * 24 * 60 * 60_000;

/// The questions of the last four weeks.
pub async fn asked(store: &Store, fleet: &Fleet) -> Result<Vec<Question>, StoreError> {
    let clock = &fleet.department.clock;
    let from = fleet.now - BACK;
    // Crews by shift and house: a rig has stood where it stands now.
    let rigs: BTreeMap<String, String> =
        fleet.seats.iter().map(|s| (s.rig.clone(), s.station.clone())).collect();
    let mut crews: BTreeMap<(Millis, String), BTreeSet<String>> = BTreeMap::new();
    for r in store.ridden_since(clock.current_start(from)).await? {
        if let Some(station) = rigs.get(&r.rig) {
            crews.entry((r.shift, station.clone())).or_default().insert(r.member);
        }
    }
    let technicians: BTreeSet<String> = store
        .signers()
        .await?
        .into_iter()
        .filter(|s| s.roles.contains(&Role::Technician))
        .map(|s| s.id)
        .collect();
    let early = Millis::from(clock.early_minutes) * 60_000;
    let mut seen = Vec::new();
    for (number, unit) in &fleet.units {
        let station = fleet.station_of(&unit.row).map(|s| s.id.clone());
        for row in store.checks_between(number, (from, fleet.now + 1)).await? {
            if row.outcome != "complete" || !row.counts {
                continue;
            }
            let Some(kept) = store.record(row.seq).await? else { continue };
            let Body::Field(Field::Check(check)) = &kept.record.body else { continue };
            let Some(form) = store.tables().form(&check.rules, &check.profile, check.purpose) else {
                continue;
            };
            // Shortly before a shift's start both crews are in the house.
            let shifts = [clock.current_start(row.at), clock.current_start(row.at + early)];
            let of = |shift: Millis| station.clone().and_then(|s| crews.get(&(shift, s)));
            let there = shifts.map(of);
            let of_bench = matches!(check.purpose, Purpose::Proving | Purpose::Acceptance);
            let on_crew = match (&row.by, there) {
                (Some(by), [Some(now), Some(next)]) if !of_bench && !technicians.contains(by) => {
                    Some(now.contains(by) || next.contains(by))
                }
                _ => None,
            };
            seen.push(Seen {
                unit: number.clone(),
                profile: check.profile.clone(),
                at: row.at,
                took: row.at - check.started,
                least: least(&form, check),
                by: row.by,
                pressure: row.pressure,
                on_crew,
            });
        }
    }
    Ok(questions(&seen))
}

/// The least time that the steps answered take.
pub fn least(form: &Form, check: &Check) -> Millis {
    check.answers.iter().filter_map(|a| form.step(&a.step)).map(|s| s.step.least.millis()).sum()
}
