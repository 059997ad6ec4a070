//! How often things are to be checked, and since when.

use std::collections::BTreeMap;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::cadence::{Cadences, History};
use airmuster_domain::quantity::Pressure;
use airmuster_domain::readings::{identifies, last_pressure};
use airmuster_domain::record::{Asked, Asset, Body, Cadence, Field, Spot};
use sqlx::sqlite::SqliteConnection;

use super::error::{StoreError, unreadable};
use super::logbook::{self, Kept};
use super::open::Store;
use super::standings::gauges;
use super::write::Write;

/// So many of the last records about a cylinder are looked through for a pressure. Records of tablets
/// arrive in another order than they were written in, but not by more than this.
const LATELY: i64 = 24;

/// Whether the department asks that whoever rides is known to the unit's alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identification {
    /// What is asked.
    pub asked: Asked,
    /// For how many hours the alarm knows its wearer.
    pub hours: u16,
}

impl Default for Identification {
    /// Not asked. 25 hours, a shift and an hour, are common practice, no published source.
    fn default() -> Self {
        Self { asked: Asked::No, hours: 25 }
    }
}

/// A row of `cadence_set`: what for, since when, how often.
type SetRow = (String, String, Millis, Option<String>);

/// What was said so far, unit by unit and place by place.
#[derive(Debug, Clone, Default)]
pub struct CadencesPast {
    /// What each unit brought along, from when on; in order.
    pub own: BTreeMap<String, Vec<(Millis, Cadence)>>,
    /// What was said of places.
    pub history: History,
}

/// A place as a table has it.
pub(super) fn spot_text(at: &Spot) -> (&'static str, &str) {
    match at {
        Spot::Rig { rig } => ("rig", rig),
        Spot::Seat { seat } => ("seat", seat),
        Spot::Spares { station } => ("spares", station),
    }
}

fn spot_of(spot: &str, id: String) -> Option<Spot> {
    match spot {
        "rig" => Some(Spot::Rig { rig: id }),
        "seat" => Some(Spot::Seat { seat: id }),
        "spares" => Some(Spot::Spares { station: id }),
        _ => None,
    }
}

fn read(cadence: Option<String>) -> Result<Option<Cadence>, StoreError> {
    let known = |c: String| Cadence::from_id(&c).ok_or_else(|| unreadable("cadence_set", &c, &"not known"));
    cadence.map(known).transpose()
}

/// What holds now.
pub(super) async fn cadences(conn: &mut SqliteConnection) -> Result<Cadences, StoreError> {
    let mut out = Cadences { rigs: Arc::new(rigs(conn).await?), ..Cadences::default() };
    let rows: Vec<(String, String, Option<String>)> = sqlx::query_as(
        "select spot, id, cadence from cadence_set s where spot <> 'unit'
         and seq = (select max(seq) from cadence_set l where l.spot = s.spot and l.id = s.id)",
    )
    .fetch_all(conn)
    .await?;
    for (spot, id, cadence) in rows {
        out.set.extend(spot_of(&spot, id).zip(read(cadence)?));
    }
    Ok(out)
}

async fn rigs(conn: &mut SqliteConnection) -> Result<BTreeMap<String, String>, StoreError> {
    let rows: Vec<(String, String)> = sqlx::query_as("select id, rig from seat").fetch_all(conn).await?;
    Ok(rows.into_iter().collect())
}

impl Write {
    pub(super) async fn write_cadence(
        &mut self,
        (seq, since): (i64, Millis),
        spot: &str,
        id: &str,
        cadence: Option<Cadence>,
    ) -> Result<(), StoreError> {
        sqlx::query("insert into cadence_set (seq, spot, id, since, cadence) values ($1, $2, $3, $4, $5)")
            .bind(seq)
            .bind(spot)
            .bind(id)
            .bind(since)
            .bind(cadence.map(Cadence::id))
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    pub(super) async fn write_identification(&mut self, asked: Asked, hours: u16) -> Result<(), StoreError> {
        sqlx::query(
            "insert into identification (only, asked, hours) values (1, $1, $2)
             on conflict (only) do update set asked = excluded.asked, hours = excluded.hours",
        )
        .bind(asked.id())
        .bind(i64::from(hours))
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }
}

impl Store {
    /// How often what stands where is checked now.
    pub async fn cadences(&self) -> Result<Cadences, StoreError> {
        let mut conn = self.read.acquire().await?;
        cadences(&mut conn).await
    }

    /// The records that say so now, by place.
    pub async fn cadences_said(&self) -> Result<BTreeMap<Spot, i64>, StoreError> {
        let rows: Vec<(String, String, i64)> = sqlx::query_as(
            "select spot, id, max(seq) from cadence_set where spot <> 'unit' group by spot, id",
        )
        .fetch_all(&self.read)
        .await?;
        let read = |(spot, id, seq): (String, String, i64)| Some((spot_of(&spot, id)?, seq));
        Ok(rows.into_iter().filter_map(read).collect())
    }

    /// All that was said of it so far.
    pub async fn cadences_past(&self) -> Result<Arc<CadencesPast>, StoreError> {
        self.whole("cadences", self.read_cadences_past()).await
    }

    async fn read_cadences_past(&self) -> Result<CadencesPast, StoreError> {
        let mut conn = self.read.acquire().await?;
        let mut out = CadencesPast::default();
        out.history.rigs = Arc::new(rigs(&mut conn).await?);
        let rows: Vec<SetRow> =
            sqlx::query_as("select spot, id, since, cadence from cadence_set order by since, seq")
                .fetch_all(&mut *conn)
                .await?;
        for (spot, id, since, cadence) in rows {
            let cadence = read(cadence)?;
            match spot_of(&spot, id.clone()) {
                Some(spot) => out.history.set.push((since, spot, cadence)),
                None => out.own.entry(id).or_default().extend(cadence.map(|c| (since, c))),
            }
        }
        Ok(out)
    }

    /// Whom the alarms of units know by the last complete check that counts: unit, member, moment.
    pub async fn identified(&self) -> Result<Vec<(String, String, Millis)>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select c.seq from asset a join check_row c on c.seq =
                (select seq from check_row where unit = substr(a.asset, 6) and outcome = 'complete' and counts = 1
                 order by at desc, seq desc limit 1)
             join holder h on h.asset = a.asset where h.at = 'seat' and a.profile is not null",
        )
        .fetch_all(&mut *conn)
        .await?;
        let mut out = Vec::new();
        for Kept { record, .. } in logbook::all_by_seq(&mut conn, seqs).await? {
            let (Body::Field(Field::Check(check)), Some(by)) = (&record.body, &record.envelope.by) else {
                continue;
            };
            let tables = self.tables();
            if tables.get(&check.rules).is_some_and(|table| identifies(table, &check.answers)) {
                out.push((check.unit.clone(), by.clone(), record.envelope.time()));
            }
        }
        Ok(out)
    }

    /// What happened to a cylinder lately that says something of its pressure: read in a unit's check, or
    /// used, which says that nobody knows it any more.
    pub async fn cylinder_in_use(&self, number: &str) -> Result<Vec<(Millis, Option<Pressure>)>, StoreError> {
        let rows: Vec<(String, Millis, Option<String>, Option<String>)> = sqlx::query_as(
            "select l.kind, l.event_at, c.pressure, c.gauges
             from (select seq from about where asset = $1 order by seq desc limit $2) a
             join logbook l on l.seq = a.seq left join check_row c on c.seq = a.seq",
        )
        .bind(Asset::cylinder(number).to_string())
        .bind(LATELY)
        .fetch_all(&self.read)
        .await?;
        let said = |(kind, at, reading, pair): (String, Millis, Option<String>, Option<String>)| {
            let reading = reading.and_then(|p| p.parse().ok());
            let read = last_pressure(reading, pair.as_deref().and_then(gauges));
            (kind == "used" || read.is_some()).then_some((at, read))
        };
        Ok(rows.into_iter().filter_map(said).collect())
    }

    /// Whether the department asks that whoever rides is known to the unit's alarm.
    pub async fn identification(&self) -> Result<Identification, StoreError> {
        let row: Option<(String, i64)> =
            sqlx::query_as("select asked, hours from identification").fetch_optional(&self.read).await?;
        let Some((asked, hours)) = row else { return Ok(Identification::default()) };
        let asked =
            Asked::from_id(&asked).ok_or_else(|| unreadable("identification", &asked, &"not known"))?;
        Ok(Identification { asked, hours: u16::try_from(hours).unwrap_or(u16::MAX) })
    }
}
