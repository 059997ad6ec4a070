//! What slowly goes wrong, unit by unit, and the list of those to be watched.

use std::collections::HashMap;

use airmuster_domain::Millis;
use airmuster_domain::drift::{Crossing, Measure, Taken, Trend, trends};
use airmuster_domain::readings::Readings;
use airmuster_domain::record::{Asset, Body, Desk, Part, Slot};
use airmuster_domain::rules::{Purpose, resolve};
use airmuster_domain::upkeep::Upkeep;

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

/// What a unit's readings do, since the parts that they hang on were fitted or last worked on.
pub async fn of_unit(store: &Store, fleet: &Fleet, unit: &str) -> Result<Vec<Trend>, StoreError> {
    let (worked_on, upkeep) = (worked_on(store).await?, store.upkeep().await?);
    since_then(store, fleet, unit, |m| since(&worked_on, &upkeep, unit, m)).await
}

/// From when on readings say something of what is on a unit now.
fn since(worked_on: &HashMap<String, Millis>, upkeep: &Upkeep, unit: &str, measure: Measure) -> Millis {
    let parts: &[Slot] = match measure {
        Measure::Disagreement => &[Slot::RemoteGauge, Slot::CylinderGauge],
        Measure::TripPoint => &[Slot::Reducer, Slot::Regulator, Slot::Alarm],
        Measure::Loss => &[Slot::Reducer, Slot::Regulator],
    };
    let thing = upkeep.things.get(&Asset::unit(unit));
    let fitted = parts.iter().filter_map(|p| thing?.parts.get(p)).map(|f| f.at);
    fitted.chain(worked_on.get(unit).copied()).max().unwrap_or(0)
}

/// All units with a reading that reaches its limit within the horizon, the soonest first.
pub async fn watch_list(store: &Store, fleet: &Fleet) -> Result<Vec<Watched>, StoreError> {
    let (worked_on, upkeep) = (worked_on(store).await?, store.upkeep().await?);
    let mut out = Vec::new();
    for unit in fleet.units.keys() {
        let since = |m| since(&worked_on, &upkeep, unit, m);
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
    since: impl Fn(Measure) -> Millis,
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
