//! The questions that the checks of the last weeks raise, from the records themselves.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::role::Role;
use airmuster_domain::shift::Starts;
use airmuster_domain::shortcuts::{Question, Seen, questions};

use super::fleet::Fleet;
use crate::store::{Store, StoreError};

/// How far back is looked.
pub const BACK: Millis = 28 * 24 * 60 * 60_000;

/// The questions of the last four weeks.
pub async fn asked(store: &Store, fleet: &Fleet) -> Result<Vec<Question>, StoreError> {
    let clock = &fleet.department.clock;
    let from = fleet.now - BACK;
    let mut stations: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for s in &fleet.seats {
        stations.entry(&s.station).or_default().insert(&s.rig);
    }
    // Crews by house and shift: a rig has stood where it stands now.
    let ridden = store.ridden_since(clock.current_start(from)).await?;
    let mut crews: BTreeMap<&str, BTreeMap<Millis, BTreeSet<&str>>> = BTreeMap::new();
    for (station, rigs) in &stations {
        let of_house = crews.entry(station).or_default();
        for (shift, members) in rigs.iter().filter_map(|rig| ridden.rigs.get(*rig)).flatten() {
            of_house.entry(*shift).or_default().extend(members.iter().map(|m| &**m));
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
    let starts = Starts::over(clock, (from, fleet.now + early));
    let mut weeks = store.lately().await?;
    let mut seen = Vec::new();
    for (number, unit) in &fleet.units {
        let crews = fleet.station_of(&unit.row).and_then(|s| crews.get(s.id.as_str()));
        let week = weeks.of(number, (from, fleet.now + 1), fleet.now).await?;
        let number: Arc<str> = number.as_str().into();
        for check in week.checks().iter().filter(|c| !c.waits) {
            let Some(least) = check.least else { continue };
            // Shortly before a shift's start both crews are in the house.
            let shifts = [starts.current(check.at), starts.current(check.at + early)];
            let there = shifts.map(|shift| crews.and_then(|c| c.get(&shift)));
            let on_crew = match (check.by.as_deref(), there) {
                (Some(by), [Some(now), Some(next)]) if !check.of_bench && !technicians.contains(by) => {
                    Some(now.contains(by) || next.contains(by))
                }
                _ => None,
            };
            seen.push(Seen {
                unit: Arc::clone(&number),
                profile: Arc::clone(&check.profile),
                at: check.at,
                took: check.took.into(),
                least: least.into(),
                by: check.by.clone(),
                pressure: check.pressure,
                on_crew,
            });
        }
    }
    Ok(questions(&seen))
}
