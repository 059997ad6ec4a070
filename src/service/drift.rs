//! What slowly goes wrong, unit by unit, and the list of those to be watched.

use std::collections::HashMap;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::drift::{Crossing, Measure, Trend, trends};
use airmuster_domain::record::{Asset, Body, Desk, Part, Slot};
use airmuster_domain::rules::{Form, Purpose, Table, resolve};
use airmuster_domain::upkeep::Upkeep;

use super::fleet::{Fleet, UnitFacts};
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

/// What is kept of a unit: those of its readings that will reach a limit, whenever that is.
struct Reaching {
    /// The table and the profile that the limits are of.
    by: (Arc<Table>, String),
    /// When the last check looked at was made, and the first one that was not, as it is later than now.
    between: (Millis, Option<Millis>),
    trends: Vec<(Trend, Crossing)>,
}

impl Reaching {
    /// Whether it is what would be found now, as nothing was written about the unit since.
    fn holds(&self, table: &Arc<Table>, profile: &str, now: Millis) -> bool {
        Arc::ptr_eq(&self.by.0, table)
            && self.by.1 == profile
            && self.between.0 <= now
            && self.between.1.is_none_or(|next| now < next)
    }
}

/// With more units than this to look at, all returns are read in one go.
const MANY: usize = 20;

/// What a unit's readings do, since the parts that they hang on were fitted or last worked on.
pub async fn of_unit(store: &Store, fleet: &Fleet, unit: &str) -> Result<Vec<Trend>, StoreError> {
    let Some(form) = fleet.table.as_ref().and_then(|table| form(fleet, table, unit)) else {
        return Ok(Vec::new());
    };
    let (worked_on, upkeep) = (worked_on(store, Some(unit)).await?, store.upkeep().await?);
    let (taken, _) = store.readings_of(unit, CHECKS, fleet.now).await?;
    Ok(trends(&form, |m| since(&worked_on, &upkeep, unit, m), &taken))
}

/// What is asked of a unit: a proving check asks everything that can take it out of service.
fn form(fleet: &Fleet, table: &Table, unit: &str) -> Option<Form> {
    resolve(table, &fleet.units.get(unit)?.row.profile, Purpose::Proving).ok()
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
    let Some(table) = &fleet.table else { return Ok(Vec::new()) };
    let mut shelf = store.shelf::<Reaching>().await?;
    let name = |unit: &str| Asset::unit(unit).to_string();
    let known = |(unit, facts): &(&String, &UnitFacts)| {
        let kept = shelf.get(&name(unit));
        kept.is_some_and(|kept| kept.holds(table, &facts.row.profile, fleet.now))
    };
    let stale: Vec<_> = fleet.units.iter().filter(|unit| !known(unit)).collect();
    let upkeep = store.upkeep().await?;
    let mut worked = if stale.len() > MANY { worked_on(store, None).await? } else { HashMap::new() };
    let mut forms: HashMap<&str, Option<Form>> = HashMap::new();
    for (unit, facts) in &stale {
        let profile = facts.row.profile.as_str();
        let form = forms.entry(profile).or_insert_with(|| form(fleet, table, unit));
        if stale.len() <= MANY {
            worked.extend(worked_on(store, Some(unit)).await?);
        }
        let (taken, later) = match form {
            Some(_) => store.readings_of(unit, CHECKS, fleet.now).await?,
            None => (Vec::new(), None),
        };
        let since = |m| since(&worked, &upkeep, unit, m);
        let trends = form.as_ref().map(|form| trends(form, since, &taken)).unwrap_or_default();
        let reaching = Reaching {
            by: (Arc::clone(table), profile.to_owned()),
            between: (taken.last().map_or(Millis::MIN, |t| t.at), later),
            trends: trends.into_iter().filter_map(|t| t.crossing.map(|c| (t, c))).collect(),
        };
        shelf.put(&name(unit), reaching);
    }
    let mut out = Vec::new();
    for unit in fleet.units.keys() {
        let Some(kept) = shelf.get(&name(unit)) else { continue };
        for (trend, crossing) in kept.trends.iter().filter(|(t, _)| t.is_watched(fleet.now)) {
            out.push(Watched { unit: unit.clone(), trend: trend.clone(), crossing: *crossing });
        }
    }
    out.sort_by(|a, b| (a.crossing.at, &a.unit).cmp(&(b.crossing.at, &b.unit)));
    Ok(out)
}

/// When work on what is watched was last proved, by unit: of one, or of all.
async fn worked_on(store: &Store, unit: Option<&str>) -> Result<HashMap<String, Millis>, StoreError> {
    let mut out = HashMap::new();
    for kept in store.returns(unit.map(Asset::unit).as_ref()).await? {
        let Body::Desk(Desk::Return(r)) = &kept.record.body else { continue };
        let watched = |p: &Part| *p != Part::Other;
        if r.asset == Asset::unit(&r.asset.number) && r.worked_on.iter().any(watched) {
            out.insert(r.asset.number.clone(), kept.record.envelope.time());
        }
    }
    Ok(out)
}
