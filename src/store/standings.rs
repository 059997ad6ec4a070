//! The facts for a standing, read for one asset or for all in a few queries. What they come to is
//! decided by the domain.

use std::collections::{BTreeMap, HashMap};

use airmuster_domain::Millis;
use airmuster_domain::ground::Raise;
use airmuster_domain::quantity::Pressure;
use airmuster_domain::readings::last_pressure;
use airmuster_domain::record::{Asset, AssetKind, Place, RecordRef};
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::standing::{LastCheck, Registered, SLACK, Standing, decide};
use airmuster_domain::upkeep::Upkeep;
use uuid::Uuid;

use super::error::{StoreError, unreadable};
use super::logbook::{Kept, digest_of, kept};
use super::open::Store;
use super::register::{UnitRow, place_of};
use super::upkeep;
use super::write::Write;

/// A check in one line, for a list or a strip.
#[derive(Debug, Clone)]
pub struct CheckRow {
    /// Its number in the logbook.
    pub seq: i64,
    /// The record.
    pub name: RecordRef,
    /// The unit's number.
    pub unit: String,
    /// When.
    pub at: Millis,
    /// Who signed it.
    pub by: Option<String>,
    /// The profile as which it was made.
    pub profile: String,
    /// Its purpose's id.
    pub purpose: String,
    /// `complete`, `broken_off` or `stopped`.
    pub outcome: String,
    /// The verdict's id, where it can be judged.
    pub verdict: Option<String>,
    /// Complete, with nothing against the unit.
    pub clean: bool,
    /// Whether it may clear anything.
    pub counts: bool,
    /// The cylinder's pressure.
    pub pressure: Option<Pressure>,
    /// Cylinder gauge and remote gauge.
    pub gauges: Option<(Pressure, Pressure)>,
    /// Where the low-air alarm started.
    pub trip: Option<Pressure>,
}

impl CheckRow {
    /// What the cylinder held at the end of it.
    pub fn last_pressure(&self) -> Option<Pressure> {
        last_pressure(self.pressure, self.gauges)
    }
}

/// A pair of gauges as it is kept.
pub fn gauges(kept: &str) -> Option<(Pressure, Pressure)> {
    let (cylinder, remote) = kept.split_once('|')?;
    Some((cylinder.parse().ok()?, remote.parse().ok()?))
}

#[derive(sqlx::FromRow)]
struct RawCheck {
    seq: i64,
    id: String,
    digest: Vec<u8>,
    unit: String,
    at: i64,
    by: Option<String>,
    profile: String,
    purpose: String,
    outcome: String,
    verdict: Option<String>,
    clean: bool,
    counts: bool,
    pressure: Option<String>,
    gauges: Option<String>,
    trip: Option<String>,
}

impl RawCheck {
    fn read(self) -> Result<CheckRow, StoreError> {
        let name = name_of(&self.id, &self.digest)?;
        let pressure = |p: &str| p.parse::<Pressure>().ok();
        Ok(CheckRow {
            seq: self.seq,
            name,
            unit: self.unit,
            at: self.at,
            by: self.by,
            profile: self.profile,
            purpose: self.purpose,
            outcome: self.outcome,
            verdict: self.verdict,
            clean: self.clean,
            counts: self.counts,
            pressure: self.pressure.as_deref().and_then(pressure),
            gauges: self.gauges.as_deref().and_then(gauges),
            trip: self.trip.as_deref().and_then(pressure),
        })
    }
}

fn name_of(id: &str, digest: &[u8]) -> Result<RecordRef, StoreError> {
    let read = id.parse::<Uuid>().map_err(|e| unreadable("check_row", id, &e))?;
    Ok(RecordRef { id: read, digest: digest_of(digest, "check_row", id)? })
}

type LastRow = (String, String, Vec<u8>, Millis, Option<String>, String);

fn last_check((_, id, digest, at, by, profile): LastRow) -> Result<LastCheck, StoreError> {
    Ok(LastCheck { name: name_of(&id, &digest)?, at, by, profile })
}

fn raise((key, detail): (String, String)) -> Result<Raise, StoreError> {
    serde_json::from_str(&detail).map_err(|e| unreadable("ground", &key, &e))
}

/// Open grounds by the asset that they speak against.
fn grouped(rows: Vec<(String, String, String)>) -> Result<HashMap<String, Vec<Raise>>, StoreError> {
    let mut out: HashMap<String, Vec<Raise>> = HashMap::new();
    for (asset, key, detail) in rows {
        out.entry(asset).or_default().push(raise((key, detail))?);
    }
    Ok(out)
}

impl Store {
    /// The standing of one asset.
    pub async fn standing(
        &self,
        asset: &Asset,
        clock: &ShiftClock,
        now: Millis,
    ) -> Result<Standing, StoreError> {
        let horizon = now.saturating_add(SLACK);
        // A unit's with those of what is fitted to it.
        let open: Vec<(String, String, String)> = sqlx::query_as(
            "select asset, key, detail from ground
             where (asset = $1 or asset in (select asset from holder where at = 'with' and place = $3))
               and (cleared_at is null or cleared_at > $2)",
        )
        .bind(asset.to_string())
        .bind(horizon)
        .bind(unit_number(asset))
        .fetch_all(&self.read)
        .await?;
        let last: Option<LastRow> = sqlx::query_as(
            "select unit, id, digest, at, by, profile from check_row
             where unit = $1 and clean = 1 and counts = 1 and at <= $2 order by at desc, id desc, digest desc limit 1",
        )
        .bind(unit_number(asset))
        .bind(horizon)
        .fetch_optional(&self.read)
        .await?;
        let mut by_asset = grouped(open)?;
        let mut open = by_asset.remove(&asset.to_string()).unwrap_or_default();
        let upkeep = upkeep::about_one(&mut *self.read.acquire().await?, asset).await?;
        let fitted = |item: &Asset| by_asset.get(&item.to_string()).cloned().unwrap_or_default();
        open.extend(upkeep.grounds_with(asset, clock.local(now).date_naive(), &open, fitted));
        let last = last.map(last_check).transpose()?;
        Ok(decide(asset, open, last, self.registered(asset).await?.as_ref(), clock, now))
    }

    /// The standing of every unit, by asset.
    pub async fn unit_standings(
        &self,
        clock: &ShiftClock,
        now: Millis,
    ) -> Result<BTreeMap<Asset, Standing>, StoreError> {
        self.standings_of(&self.units().await?, clock, now).await
    }

    /// The standings of these units, by asset.
    pub async fn standings_of(
        &self,
        units: &[UnitRow],
        clock: &ShiftClock,
        now: Millis,
    ) -> Result<BTreeMap<Asset, Standing>, StoreError> {
        let horizon = now.saturating_add(SLACK);
        let rows: Vec<(String, String, String)> = sqlx::query_as(
            "select asset, key, detail from ground where cleared_at is null or cleared_at > $1",
        )
        .bind(horizon)
        .fetch_all(&self.read)
        .await?;
        let against = grouped(rows)?;
        let of = |asset: &Asset| against.get(&asset.to_string()).cloned().unwrap_or_default();
        let lasts: Vec<LastRow> = sqlx::query_as(
            "select c.unit, c.id, c.digest, c.at, c.by, c.profile from asset a join check_row c on c.seq =
                (select seq from check_row where unit = substr(a.asset, 6) and clean = 1 and counts = 1 and at <= $1
                 order by at desc, id desc, digest desc limit 1)
             where a.profile is not null",
        )
        .bind(horizon)
        .fetch_all(&self.read)
        .await?;
        let mut last: HashMap<String, LastCheck> = HashMap::new();
        for row in lasts {
            last.insert(row.0.clone(), last_check(row)?);
        }
        let (upkeep, today) = (self.upkeep().await?, clock.local(now).date_naive());
        let all_fitted = upkeep.all_fitted();
        Ok(units
            .iter()
            .map(|u| {
                let asset = Asset::unit(&u.number);
                let mut open = of(&asset);
                let fitted = all_fitted.get(u.number.as_str()).map_or(&[][..], Vec::as_slice);
                open.extend(upkeep.grounds_among(&asset, today, &open, fitted, of));
                let registered = Registered::Unit { cadence: u.cadence, profile: u.profile.clone() };
                let standing = decide(&asset, open, last.remove(&u.number), Some(&registered), clock, now);
                (asset, standing)
            })
            .collect())
    }

    /// What the standings of all facepieces or cylinders are decided from, and where each is.
    pub async fn items(&self, kind: AssetKind, now: Millis) -> Result<HashMap<Asset, Item>, StoreError> {
        // Everything that begins with the kind and a colon: the semicolon is the character after it.
        let (from, to) = (format!("{}:", kind.words()), format!("{};", kind.words()));
        let mut out: HashMap<Asset, Item> = HashMap::new();
        let of = |asset: &str| asset.parse::<Asset>().map_err(|e| unreadable("asset", asset, &e));
        let registered: Vec<String> =
            sqlx::query_scalar("select asset from asset where asset >= $1 and asset < $2")
                .bind(&from)
                .bind(&to)
                .fetch_all(&self.read)
                .await?;
        for asset in registered {
            out.entry(of(&asset)?).or_default().registered = true;
        }
        let held: Vec<(String, String, String)> =
            sqlx::query_as("select asset, at, place from holder where asset >= $1 and asset < $2")
                .bind(&from)
                .bind(&to)
                .fetch_all(&self.read)
                .await?;
        for (asset, at, place) in held {
            out.entry(of(&asset)?).or_default().place = place_of(&at, place);
        }
        let open: Vec<(String, String, String)> = sqlx::query_as(
            "select asset, key, detail from ground
             where asset >= $1 and asset < $2 and (cleared_at is null or cleared_at > $3)",
        )
        .bind(&from)
        .bind(&to)
        .bind(now.saturating_add(SLACK))
        .fetch_all(&self.read)
        .await?;
        for (asset, key, detail) in open {
            out.entry(of(&asset)?).or_default().open.push(raise((key, detail))?);
        }
        Ok(out)
    }

    /// Facepieces and cylinders that are held for an inquiry and on this unit, or were packed with it.
    pub async fn packed_with(&self, unit: &str, now: Millis) -> Result<Vec<Asset>, StoreError> {
        let rows: Vec<String> = sqlx::query_scalar(
            "select distinct g.asset from ground g
             where g.kind = 'held' and substr(g.asset, 1, 5) <> 'unit:'
               and (g.cleared_at is null or g.cleared_at > $2)
               and (exists (select 1 from holder h where h.asset = g.asset and h.at = 'with' and h.place = $1)
                    or json_extract(g.detail, '$.say') = $3
                    or substr(json_extract(g.detail, '$.say'), 1, length($3) + 1) = $3 || ',')
             order by g.asset",
        )
        .bind(unit)
        .bind(now.saturating_add(SLACK))
        .bind(packed_words(&format!("unit {unit}")))
        .fetch_all(&self.read)
        .await?;
        rows.iter().map(|a| a.parse().map_err(|e| unreadable("ground", a, &e))).collect()
    }

    /// Checks in the order of the logbook, from the one after this number on.
    pub async fn checks_after(&self, seq: i64, count: i64) -> Result<Vec<CheckRow>, StoreError> {
        let rows: Vec<RawCheck> =
            sqlx::query_as("select * from check_row where seq > $1 order by seq limit $2")
                .bind(seq)
                .bind(count)
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(RawCheck::read).collect()
    }

    /// The last checks of a unit that were not broken off, newest first.
    pub async fn checks_of(&self, unit: &str, count: i64) -> Result<Vec<CheckRow>, StoreError> {
        let rows: Vec<RawCheck> =
            sqlx::query_as("select * from check_row where unit = $1 order by at desc, seq desc limit $2")
                .bind(unit)
                .bind(count)
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(RawCheck::read).collect()
    }

    /// The last check of each unit that has a pressure, by unit number.
    pub async fn last_readings(&self) -> Result<HashMap<String, CheckRow>, StoreError> {
        let rows: Vec<RawCheck> = sqlx::query_as(
            "select c.* from asset a join check_row c on c.seq =
                (select seq from check_row where unit = substr(a.asset, 6) and pressure is not null
                 order by at desc, seq desc limit 1)
             where a.profile is not null",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|r| r.read().map(|c| (c.unit.clone(), c))).collect()
    }

    /// Checks of a unit from a moment on and before another, in order.
    pub async fn checks_between(
        &self,
        unit: &str,
        (from, to): (Millis, Millis),
    ) -> Result<Vec<CheckRow>, StoreError> {
        let rows: Vec<RawCheck> = sqlx::query_as(
            "select * from check_row where unit = $1 and at >= $2 and at < $3 order by at, seq",
        )
        .bind(unit)
        .bind(from)
        .bind(to)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(RawCheck::read).collect()
    }

    /// What a record raised, and from when on each is cleared.
    pub async fn raised_by(&self, id: Uuid) -> Result<Vec<(Raise, Option<Millis>)>, StoreError> {
        let rows: Vec<(String, String, Option<Millis>)> = sqlx::query_as(
            "select key, detail, cleared_at from ground where from_id = $1 order by asset, key",
        )
        .bind(id.hyphenated().to_string())
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|(k, d, at)| Ok((raise((k, d))?, at))).collect()
    }

    /// A check's row.
    pub async fn check_row(&self, seq: i64) -> Result<Option<CheckRow>, StoreError> {
        let row: Option<RawCheck> = sqlx::query_as("select * from check_row where seq = $1")
            .bind(seq)
            .fetch_optional(&self.read)
            .await?;
        row.map(RawCheck::read).transpose()
    }

    /// Steps at which a run has taken something out of service so far.
    pub async fn steps_raised_in(&self, run: Uuid) -> Result<Vec<String>, StoreError> {
        let details: Vec<(String, String)> = sqlx::query_as(
            "select key, detail from ground where run = $1 and kind in ('finding', 'another')",
        )
        .bind(run.hyphenated().to_string())
        .fetch_all(&self.read)
        .await?;
        let raises = details.into_iter().map(raise).collect::<Result<Vec<Raise>, _>>()?;
        Ok(raises.into_iter().filter_map(|r| r.step).collect())
    }

    /// Signed checks whose signature nothing has proven yet, oldest first.
    pub async fn unproven(&self) -> Result<Vec<CheckRow>, StoreError> {
        let rows: Vec<RawCheck> =
            sqlx::query_as("select c.* from unproven u join check_row c on c.seq = u.seq order by u.seq")
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(RawCheck::read).collect()
    }

    /// How many signed records wait for their signature's proof, and how many of them are no checks.
    pub async fn count_unproven(&self) -> Result<(i64, i64), StoreError> {
        Ok(sqlx::query_as(
            "select count(*), count(*) filter (where l.kind <> 'check')
             from unproven u join logbook l on l.seq = u.seq",
        )
        .fetch_one(&self.read)
        .await?)
    }

    /// Signed records that are no checks, whose signature nothing has proven yet, oldest first.
    pub async fn unproven_others(&self) -> Result<Vec<Kept>, StoreError> {
        let rows: Vec<(i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select l.seq, l.received_at, l.bytes from unproven u join logbook l on l.seq = u.seq
             where l.kind <> 'check' order by u.seq",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(kept).collect()
    }

    /// Good checks that wait for an officer's countersignature, oldest first.
    pub async fn uncountersigned(&self) -> Result<Vec<CheckRow>, StoreError> {
        let rows: Vec<RawCheck> = sqlx::query_as(
            "select c.* from uncountersigned u join check_row c on c.seq = u.seq order by u.seq",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(RawCheck::read).collect()
    }

    /// Records that need attention: number, kind, reason.
    pub async fn needing_attention(&self) -> Result<Vec<(i64, String, String)>, StoreError> {
        Ok(sqlx::query_as(
            "select a.seq, l.kind, a.why from attention a join logbook l on l.seq = a.seq order by a.seq desc",
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// Every ground ever raised on an asset with the moment from which it is cleared, by key.
    pub async fn grounds(&self, asset: &Asset) -> Result<Vec<(Raise, Option<Millis>)>, StoreError> {
        let rows: Vec<(String, String, Option<Millis>)> =
            sqlx::query_as("select key, detail, cleared_at from ground where asset = $1 order by key")
                .bind(asset.to_string())
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(|(k, d, at)| Ok((raise((k, d))?, at))).collect()
    }
}

/// A facepiece or cylinder with what its standing is decided from.
#[derive(Debug, Clone, Default)]
pub struct Item {
    /// Where it is.
    pub place: Option<Place>,
    registered: bool,
    open: Vec<Raise>,
}

impl Item {
    /// How it stands. No check is of it alone.
    pub fn standing(mut self, asset: &Asset, upkeep: &Upkeep, clock: &ShiftClock, now: Millis) -> Standing {
        self.open.extend(upkeep.grounds(asset, clock.local(now).date_naive()));
        let registered = self.registered.then_some(Registered::Item);
        decide(asset, self.open, None, registered.as_ref(), clock, now)
    }
}

fn unit_number(asset: &Asset) -> &str {
    match asset.kind {
        AssetKind::Unit => &asset.number,
        _ => "",
    }
}

/// What the hold on a thing says first that was packed with another: `unit 117`.
pub fn packed_words(thing: &str) -> String {
    format!("packed with {thing}")
}

impl Write {
    /// The unit on which a facepiece or cylinder is, where that unit is held for an inquiry.
    pub async fn held_with(&mut self, asset: &Asset, now: Millis) -> Result<Option<String>, StoreError> {
        Ok(sqlx::query_scalar(
            "select h.place from holder h join ground g on g.asset = 'unit:' || h.place
             where h.asset = $1 and h.at = 'with' and g.kind = 'held'
               and (g.cleared_at is null or g.cleared_at > $2) limit 1",
        )
        .bind(asset.to_string())
        .bind(now.saturating_add(SLACK))
        .fetch_optional(self.conn().await?)
        .await?)
    }

    /// Grounds open on an asset at `now`.
    pub async fn open_grounds(&mut self, asset: &Asset, now: Millis) -> Result<Vec<Raise>, StoreError> {
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select key, detail from ground where asset = $1 and (cleared_at is null or cleared_at > $2)",
        )
        .bind(asset.to_string())
        .bind(now.saturating_add(SLACK))
        .fetch_all(self.conn().await?)
        .await?;
        rows.into_iter().map(raise).collect()
    }
}
