//! What slowly goes wrong, unit by unit, and the list of those to be watched.

use std::collections::HashMap;

use airmuster_domain::Millis;
use airmuster_domain::drift::{Crossing, Taken, Trend, trends};
use airmuster_domain::readings::Readings;
use airmuster_domain::record::{Asset, Body, Desk, Part};
use airmuster_domain::rules::{Purpose, resolve};

use super::fleet::Fleet;
use crate::store::{Store, StoreError};

/// Checks read of a unit: enough for the last year of daily ones.
const CHECKS: i64 = 400;

/// A unit with a reading that will reach its limit.
#[derive(Debug, Clone)]
pub struct Watched {
    /// Its number.
    pub unit: String,
    /// What its reading does.
    pub trend: Trend,
    /// When it reaches the limit.
    pub crossing: Crossing,
}

/// What a unit's readings do, since its gauges, reducer or alarms were last worked on.
pub async fn of_unit(store: &Store, fleet: &Fleet, unit: &str) -> Result<Vec<Trend>, StoreError> {
    let since = worked_on(store).await?.get(unit).copied().unwrap_or(0);
    since_then(store, fleet, unit, since).await
}

/// All units with a reading that reaches its limit within the horizon, the soonest first.
pub async fn watch_list(store: &Store, fleet: &Fleet) -> Result<Vec<Watched>, StoreError> {
    let worked_on = worked_on(store).await?;
    let mut out = Vec::new();
    for unit in fleet.units.keys() {
        let since = worked_on.get(unit).copied().unwrap_or(0);
        for trend in since_then(store, fleet, unit, since).await? {
            if let Some(crossing) = trend.crossing.filter(|_| trend.is_watched(fleet.now)) {
                out.push(Watched { unit: unit.clone(), trend, crossing });
            }
        }
    }
    out.sort_by(|a, b| (a.crossing.at, &a.unit).cmp(&(b.crossing.at, &b.unit)));
    Ok(out)
}

async fn since_then(
    store: &Store,
    fleet: &Fleet,
    unit: &str,
    since: Millis,
) -> Result<Vec<Trend>, StoreError> {
    let form = fleet.units.get(unit).zip(fleet.table.as_ref()).and_then(|(facts, table)| {
        // A proving check asks everything that can take a unit out of service.
        resolve(table, &facts.row.profile, Purpose::Proving).ok()
    });
    let Some(form) = form else { return Ok(Vec::new()) };
    let checks = store.checks_of(unit, CHECKS).await?;
    let taken: Vec<Taken> = checks
        .iter()
        .rev()
        .filter(|c| c.counts && c.at <= fleet.now)
        .map(|c| Taken {
            at: c.at,
            readings: Readings { pressure: c.pressure, gauges: c.gauges, trip: c.trip },
        })
        .collect();
    Ok(trends(&form, since, &taken))
}

/// When work on what is watched was last proved, by unit.
async fn worked_on(store: &Store) -> Result<HashMap<String, Millis>, StoreError> {
    let mut out = HashMap::new();
    for kept in store.returns().await? {
        let Body::Desk(Desk::Return(r)) = &kept.record.body else { continue };
        let watched = |p: &Part| *p != Part::Other;
        if r.asset == Asset::unit(&r.asset.number) && r.worked_on.iter().any(watched) {
            out.insert(r.asset.number.clone(), kept.record.envelope.time());
        }
    }
    Ok(out)
}
