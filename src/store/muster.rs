//! Who rides what, what rigs are for, late records; and what is personal about members, which is
//! outside the logbook.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::desk::Facts;
use airmuster_domain::ground::Raise;
use airmuster_domain::readiness::FacepieceKind;
use airmuster_domain::record::{
    Acknowledged, Asset, AssetKind, Body, Crew, Duty, Field, Left, Moved, Place as Where, Record,
    RigAccepted, RigStatus,
};
use airmuster_domain::shift::Rotation;
use airmuster_domain::standing::State;
use airmuster_domain::upkeep::Thing;
use chrono::NaiveDate;

use super::error::{StoreError, unreadable};
use super::logbook::{Kept, Place, kept};
use super::open::Store;
use super::register::place_of;
use super::write::Write;

/// A record that arrives so much later than it was written is late.
const LATE: Millis = 10 * 60_000;

/// A rig as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RigRow {
    /// Short name.
    pub id: String,
    /// Name.
    pub name: String,
    /// The station where it is.
    pub station: String,
    /// What it is for.
    pub duty: Duty,
    /// To whom it is lent, why it is out.
    pub why: String,
}

/// Who is on a rig's seats, by seat.
pub type Seated = BTreeMap<String, String>;

/// A unit's facepiece and cylinder.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Gear {
    /// The facepiece: its number and what the register says of it.
    pub facepiece: Option<(String, FacepieceKind)>,
    /// The cylinder's number.
    pub cylinder: Option<String>,
}

/// A fit test.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FitRow {
    /// Counted from 1.
    pub id: i64,
    /// The member.
    pub member: String,
    /// The day.
    pub tested: NaiveDate,
    /// With which facepiece.
    pub kind: FacepieceKind,
}

/// A medical clearance: yes or no, and the day; nothing else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClearanceRow {
    /// The member.
    pub member: String,
    /// Cleared or not.
    pub cleared: bool,
    /// The day of the word.
    pub since: NaiveDate,
}

/// The acceptance of a rig, as it is in the logbook.
#[derive(Debug, Clone)]
pub struct Acceptance {
    /// The record's number.
    pub seq: i64,
    /// When.
    pub at: Millis,
    /// Who signed.
    pub by: Option<String>,
    /// What was reviewed.
    pub body: RigAccepted,
}

/// A late record that pulled a unit which had ridden.
#[derive(Debug, Clone)]
pub struct LatePull {
    /// The unit.
    pub asset: Asset,
    /// The record.
    pub kept: Kept,
}

fn day(table: &'static str, text: &str) -> Result<NaiveDate, StoreError> {
    text.parse().map_err(|e| unreadable(table, text, &e))
}

fn text(value: &impl serde::Serialize) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|e| unreadable("rotation", "new", &e))
}

impl Write {
    pub(super) async fn write_rotation(
        &mut self,
        turns: &[String],
        first: Millis,
        apart: &BTreeSet<String>,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into rotation (only, turns, first, apart) values (1, $1, $2, $3)
             on conflict (only) do update set turns = excluded.turns, first = excluded.first,
                apart = excluded.apart",
        )
        .bind(text(&turns)?)
        .bind(first)
        .bind(text(apart)?)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    pub(super) async fn write_drive(&mut self, from: &str, to: &str, minutes: u16) -> Result<(), StoreError> {
        sqlx::query(
            "insert into drive (one, other, minutes) values ($1, $2, $3)
             on conflict (one, other) do update set minutes = excluded.minutes",
        )
        .bind(from.min(to))
        .bind(from.max(to))
        .bind(i64::from(minutes))
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    pub(super) async fn write_crew(&mut self, c: &Crew, seq: i64) -> Result<(), StoreError> {
        sqlx::query(
            "insert into crew (rig, shift, seq) values ($1, $2, $3)
             on conflict (rig, shift) do update set seq = excluded.seq",
        )
        .bind(&c.rig)
        .bind(c.shift)
        .bind(seq)
        .execute(self.conn().await?)
        .await?;
        sqlx::query("delete from crew_seat where rig = $1 and shift = $2")
            .bind(&c.rig)
            .bind(c.shift)
            .execute(self.conn().await?)
            .await?;
        for (seat, member) in &c.seats {
            sqlx::query("insert into crew_seat (rig, shift, seat, member) values ($1, $2, $3, $4)")
                .bind(&c.rig)
                .bind(c.shift)
                .bind(seat)
                .bind(member)
                .execute(self.conn().await?)
                .await?;
        }
        self.write_ridden(c).await
    }

    /// A later crew of a shift takes the place of an earlier one, and both have ridden.
    pub(super) async fn write_ridden(&mut self, c: &Crew) -> Result<(), StoreError> {
        for member in c.seats.values() {
            sqlx::query("insert into ridden (rig, shift, member) values ($1, $2, $3) on conflict do nothing")
                .bind(&c.rig)
                .bind(c.shift)
                .bind(member)
                .execute(self.conn().await?)
                .await?;
        }
        Ok(())
    }

    pub(super) async fn forget_ridden(&mut self, l: &Left) -> Result<(), StoreError> {
        sqlx::query("delete from ridden where member = $1 and shift >= $2")
            .bind(&l.member)
            .bind(l.shift)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Seats from that shift on, qualifications and, where they end, roles.
    pub(super) async fn write_left(&mut self, l: &Left) -> Result<(), StoreError> {
        sqlx::query("delete from crew_seat where member = $1 and shift >= $2")
            .bind(&l.member)
            .bind(l.shift)
            .execute(self.conn().await?)
            .await?;
        self.forget_ridden(l).await?;
        let sql = if l.how.keeps_roles() {
            "update member set qualified = '[]' where id = $1"
        } else {
            "update member set qualified = '[]', roles = '[]' where id = $1"
        };
        sqlx::query(sql).bind(&l.member).execute(self.conn().await?).await?;
        Ok(())
    }

    pub(super) async fn write_moved(&mut self, m: &Moved, at: Millis, seq: i64) -> Result<(), StoreError> {
        for one in &m.moves {
            self.write_holder(&one.asset, &one.to).await?;
            self.write_placed(&one.asset, &one.to, at, seq).await?;
        }
        Ok(())
    }

    pub(super) async fn write_rig_status(&mut self, s: &RigStatus) -> Result<(), StoreError> {
        sqlx::query("update rig set station = $2, duty = $3, why = $4 where id = $1")
            .bind(&s.rig)
            .bind(&s.station)
            .bind(s.duty.id())
            .bind(&s.why)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    pub(super) async fn write_accepted(&mut self, a: &RigAccepted, seq: i64) -> Result<(), StoreError> {
        sqlx::query("insert into rig_accepted (seq, rig, shift) values ($1, $2, $3)")
            .bind(seq)
            .bind(&a.rig)
            .bind(a.shift)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Notes that a record came late and pulls a unit that has ridden meanwhile: it stood on a rig at some
    /// time between what the record tells and its arrival, wherever it was moved since.
    pub(super) async fn write_late(
        &mut self,
        record: &Record,
        raises: &[Raise],
        place: Place,
    ) -> Result<(), StoreError> {
        if place.received.saturating_sub(record.envelope.time()) < LATE {
            return Ok(());
        }
        let pulls = raises.iter().filter(|r| r.kind.terms().state >= State::OutOfService);
        let mut units = BTreeSet::new();
        for asset in pulls.map(|r| &r.asset) {
            match asset.kind {
                AssetKind::Unit => units.extend([asset.clone()]),
                // It pulls the unit that it is on.
                AssetKind::Facepiece | AssetKind::Cylinder => units.extend(self.fitted_unit(asset).await?),
            }
        }
        for asset in units {
            sqlx::query(
                "insert into late_pull (seq, asset)
                 select $1, $2 where exists (
                     select 1 from placed p where p.unit = $3 and p.at = 'seat'
                     and coalesce((select n.since from placed n where n.unit = p.unit and n.seq > p.seq
                                   order by n.seq limit 1), $4 + 1) > $4)
                 on conflict do nothing",
            )
            .bind(place.seq)
            .bind(asset.to_string())
            .bind(&asset.number)
            .bind(record.envelope.time())
            .execute(self.conn().await?)
            .await?;
        }
        Ok(())
    }

    async fn fitted_unit(&mut self, asset: &Asset) -> Result<Option<Asset>, StoreError> {
        let unit: Option<String> =
            sqlx::query_scalar("select place from holder where asset = $1 and at = 'with'")
                .bind(asset.to_string())
                .fetch_optional(self.conn().await?)
                .await?;
        Ok(unit.as_deref().map(Asset::unit))
    }

    pub(super) async fn write_acknowledged(&mut self, a: &Acknowledged, seq: i64) -> Result<(), StoreError> {
        sqlx::query("insert into acknowledged (digest, seq) values ($1, $2) on conflict do nothing")
            .bind(a.of.digest.to_string())
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        sqlx::query(
            "update late_pull set acknowledged = $2
             where acknowledged is null and seq in (select seq from logbook where digest = $1)",
        )
        .bind(&a.of.digest.0[..])
        .bind(seq)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Where everything is that would be moved, and what is in the seats that it would go to.
    pub async fn gather_places(
        &mut self,
        m: &Moved,
        facts: &mut Facts,
        now: Millis,
    ) -> Result<(), StoreError> {
        for one in &m.moves {
            let seat = match &one.to {
                Where::Seat { seat } => Some(seat.as_str()),
                _ => None,
            };
            let rows: Vec<(String, String, String)> = sqlx::query_as(
                "select asset, at, place from holder where asset = $1 or (at = 'seat' and place = $2)",
            )
            .bind(one.asset.to_string())
            .bind(seat)
            .fetch_all(self.conn().await?)
            .await?;
            for (asset, at, place) in rows {
                let read = asset.parse().map_err(|e| unreadable("holder", &asset, &e))?;
                facts.places.extend(place_of(&at, place).map(|place| (read, place)));
            }
            let open = self.open_grounds(&one.asset, now).await?;
            if open.iter().any(|r| r.kind.terms().state >= State::Held)
                || self.held_with(&one.asset, now).await?.is_some()
            {
                facts.stuck.insert(one.asset.clone());
            }
        }
        Ok(())
    }

    /// A rig's seats, and who rides another rig in the same shift.
    pub async fn gather_crew(&mut self, c: &Crew, facts: &mut Facts) -> Result<(), StoreError> {
        let seats: Vec<String> = sqlx::query_scalar("select id from seat where rig = $1 and kit = 0")
            .bind(&c.rig)
            .fetch_all(self.conn().await?)
            .await?;
        facts.seats.extend(seats);
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select s.member, r.name from crew_seat s join rig r on r.id = s.rig
             where s.shift = $1 and s.rig <> $2",
        )
        .bind(c.shift)
        .bind(&c.rig)
        .fetch_all(self.conn().await?)
        .await?;
        facts.elsewhere.extend(rows);
        Ok(())
    }

    /// Whether there is a rig, a station, a seat or a member of this id.
    pub async fn known(&mut self, what: Known, id: &str) -> Result<bool, StoreError> {
        let sql = match what {
            Known::Rig => "select count(*) from rig where id = $1",
            Known::Station => "select count(*) from station where id = $1",
            Known::Seat => "select count(*) from seat where id = $1",
            Known::Member => "select count(*) from member where id = $1",
        };
        let found: i64 = sqlx::query_scalar(sql).bind(id).fetch_one(self.conn().await?).await?;
        Ok(found > 0)
    }

    /// Enters a fit test.
    pub async fn add_fit_test(
        &mut self,
        member: &str,
        tested: NaiveDate,
        kind: &FacepieceKind,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into fit_test (member, tested, make, model, style, size) values ($1, $2, $3, $4, $5, $6)",
        )
        .bind(member)
        .bind(tested.to_string())
        .bind(&kind.make)
        .bind(&kind.model)
        .bind(&kind.style)
        .bind(&kind.size)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Enters whether a member is cleared. What was entered before is gone.
    pub async fn set_clearance(
        &mut self,
        member: &str,
        cleared: bool,
        since: NaiveDate,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into clearance (member, cleared, since) values ($1, $2, $3)
             on conflict (member) do update set cleared = excluded.cleared, since = excluded.since",
        )
        .bind(member)
        .bind(cleared)
        .bind(since.to_string())
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Erases a member's fit tests and clearance.
    pub async fn erase_fitness(&mut self, member: &str) -> Result<(), StoreError> {
        for sql in ["delete from fit_test where member = $1", "delete from clearance where member = $1"] {
            sqlx::query(sql).bind(member).execute(self.conn().await?).await?;
        }
        Ok(())
    }
}

/// What an id may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// A rig.
    Rig,
    /// A station.
    Station,
    /// A place on a rig.
    Seat,
    /// A member.
    Member,
}

impl Known {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Rig => "rig",
            Self::Station => "station",
            Self::Seat => "seat",
            Self::Member => "member",
        }
    }
}

impl Store {
    /// Whose turn each shift is.
    pub async fn rotation(&self) -> Result<Rotation, StoreError> {
        let row: Option<(String, Millis, String)> =
            sqlx::query_as("select turns, first, apart from rotation").fetch_optional(&self.read).await?;
        let Some((turns, first, apart)) = row else { return Ok(Rotation::default()) };
        let turns = serde_json::from_str(&turns).map_err(|e| unreadable("rotation", "1", &e))?;
        let apart = serde_json::from_str(&apart).map_err(|e| unreadable("rotation", "1", &e))?;
        Ok(Rotation { turns, first, apart })
    }

    /// Minutes between stations, by their ids in order.
    pub async fn drives(&self) -> Result<BTreeMap<(String, String), u32>, StoreError> {
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as("select one, other, minutes from drive").fetch_all(&self.read).await?;
        let small = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
        Ok(rows.into_iter().map(|(one, other, n)| ((one, other), small(n))).collect())
    }

    /// All rigs, in the order of stations and then their own.
    pub async fn rigs(&self) -> Result<Vec<RigRow>, StoreError> {
        let rows: Vec<(String, String, String, String, String)> = sqlx::query_as(
            "select r.id, r.name, r.station, r.duty, r.why from rig r join station t on t.id = r.station
             order by t.place, t.id, r.place, r.id",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|(id, name, station, duty, why)| {
                let duty = Duty::ALL
                    .into_iter()
                    .find(|d| d.id() == duty)
                    .ok_or_else(|| unreadable("rig", &id, &"what it is for is not known"))?;
                Ok(RigRow { id, name, station, duty, why })
            })
            .collect()
    }

    /// Who is on each rig's seats in a shift; rigs for which nothing was entered are left out.
    pub async fn crews(&self, shift: Millis) -> Result<BTreeMap<String, Seated>, StoreError> {
        let rows: Vec<(String, Option<String>, Option<String>)> = sqlx::query_as(
            "select c.rig, s.seat, s.member from crew c
             left join crew_seat s on s.rig = c.rig and s.shift = c.shift where c.shift = $1",
        )
        .bind(shift)
        .fetch_all(&self.read)
        .await?;
        let mut out: BTreeMap<String, Seated> = BTreeMap::new();
        for (rig, seat, member) in rows {
            let seats = out.entry(rig).or_default();
            seats.extend(seat.zip(member));
        }
        Ok(out)
    }

    /// The seats on which a member sits in this shift or a later one.
    pub async fn seats_of(&self, member: &str, shift: Millis) -> Result<Vec<String>, StoreError> {
        Ok(sqlx::query_scalar(
            "select distinct seat from crew_seat where member = $1 and shift >= $2 order by seat",
        )
        .bind(member)
        .bind(shift)
        .fetch_all(&self.read)
        .await?)
    }

    /// Rigs for which a crew was entered in a shift since `since`: there a roster is kept.
    pub async fn rostered(&self, since: Millis) -> Result<BTreeSet<String>, StoreError> {
        let rigs: Vec<String> = sqlx::query_scalar("select distinct rig from crew where shift >= $1")
            .bind(since)
            .fetch_all(&self.read)
            .await?;
        Ok(rigs.into_iter().collect())
    }

    /// The crews of a rig in shifts before one, newest first.
    pub async fn crews_before(
        &self,
        rig: &str,
        shift: Millis,
        count: i64,
    ) -> Result<Vec<(Millis, Seated)>, StoreError> {
        let shifts: Vec<Millis> = sqlx::query_scalar(
            "select shift from crew where rig = $1 and shift < $2 order by shift desc limit $3",
        )
        .bind(rig)
        .bind(shift)
        .bind(count)
        .fetch_all(&self.read)
        .await?;
        let mut out = Vec::with_capacity(shifts.len());
        for shift in shifts {
            let seats: Vec<(String, String)> =
                sqlx::query_as("select seat, member from crew_seat where rig = $1 and shift = $2")
                    .bind(rig)
                    .bind(shift)
                    .fetch_all(&self.read)
                    .await?;
            out.push((shift, seats.into_iter().collect()));
        }
        Ok(out)
    }

    /// Facepiece and cylinder of every unit, by the unit's number.
    pub async fn gear(&self) -> Result<BTreeMap<String, Gear>, StoreError> {
        let rows: Vec<(String, String, Option<String>)> = sqlx::query_as(
            "select h.place, h.asset, u.detail from holder h left join upkeep u on u.key = h.asset
             where h.at = 'with' order by h.asset",
        )
        .fetch_all(&self.read)
        .await?;
        let mut out: BTreeMap<String, Gear> = BTreeMap::new();
        for (unit, asset, detail) in rows {
            let gear = out.entry(unit).or_default();
            if let Some(number) = asset.strip_prefix("facepiece:") {
                let thing = detail.map(|d| serde_json::from_str::<Thing>(&d)).transpose();
                let thing = thing.map_err(|e| unreadable("upkeep", &asset, &e))?.unwrap_or_default();
                let kind = FacepieceKind {
                    make: thing.make,
                    model: thing.model,
                    style: thing.style,
                    size: thing.size,
                };
                gear.facepiece.get_or_insert((number.to_owned(), kind));
            } else if let Some(number) = asset.strip_prefix("cylinder:") {
                gear.cylinder.get_or_insert(number.to_owned());
            }
        }
        Ok(out)
    }

    /// All fit tests, the newest first.
    pub async fn fit_tests(&self) -> Result<Vec<FitRow>, StoreError> {
        let rows: Vec<(i64, String, String, String, String, String, String)> = sqlx::query_as(
            "select id, member, tested, make, model, style, size from fit_test order by tested desc, id desc",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|(id, member, tested, make, model, style, size)| {
                let kind = FacepieceKind { make, model, style, size };
                Ok(FitRow { id, member, tested: day("fit_test", &tested)?, kind })
            })
            .collect()
    }

    /// All clearances.
    pub async fn clearances(&self) -> Result<Vec<ClearanceRow>, StoreError> {
        let rows: Vec<(String, bool, String)> =
            sqlx::query_as("select member, cleared, since from clearance").fetch_all(&self.read).await?;
        rows.into_iter()
            .map(|(member, cleared, since)| {
                Ok(ClearanceRow { member, cleared, since: day("clearance", &since)? })
            })
            .collect()
    }

    /// The last acceptance of a rig in a shift whose signature is proven and that nothing speaks against.
    pub async fn acceptance(&self, rig: &str, shift: Millis) -> Result<Option<Acceptance>, StoreError> {
        let seq: Option<i64> = sqlx::query_scalar(
            "select a.seq from rig_accepted a join logbook l on l.seq = a.seq
             where a.rig = $1 and a.shift = $2
               and not exists (select 1 from unproven u where u.seq = a.seq)
               and not exists (select 1 from said s join logbook d on d.seq = s.seq
                               where s.id = l.id and d.kind = 'doubt')
             order by l.event_at desc, a.seq desc limit 1",
        )
        .bind(rig)
        .bind(shift)
        .fetch_optional(&self.read)
        .await?;
        let Some(seq) = seq else { return Ok(None) };
        Ok(self.record(seq).await?.and_then(|kept| {
            let e = &kept.record.envelope;
            let (at, by) = (e.time(), e.by.clone());
            match kept.record.body {
                Body::Field(Field::RigAccepted(body)) => Some(Acceptance { seq, at, by, body }),
                _ => None,
            }
        }))
    }

    /// Late records that pulled a unit which had ridden, and that no officer has read yet.
    pub async fn late_pulls(&self) -> Result<Vec<LatePull>, StoreError> {
        let rows: Vec<(String, i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select p.asset, p.seq, l.received_at, l.bytes from late_pull p join logbook l on l.seq = p.seq
             where p.acknowledged is null order by p.seq",
        )
        .fetch_all(&self.read)
        .await?;
        let mut out = Vec::with_capacity(rows.len());
        for (asset, seq, received, bytes) in rows {
            let asset = asset.parse().map_err(|e| unreadable("late_pull", &asset, &e))?;
            out.push(LatePull { asset, kept: kept((seq, received, bytes))? });
        }
        Ok(out)
    }
}
