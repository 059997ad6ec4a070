//! The register: what the department has, where it is, and who may do what.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::cadence::Cadences;
use airmuster_domain::desk::Signer;
use airmuster_domain::record::{Asset, AssetKind, Cadence, Digest, Envelope, Place, Register, Spot};
use airmuster_domain::role::Role;
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::standing::Registered;
use sqlx::sqlite::SqliteConnection;

use super::cadence::{cadences, spot_text};
use super::error::{StoreError, unreadable};
use super::muster::Known;
use super::open::Store;
use super::write::Write;

/// The department's settings.
#[derive(Debug, Clone, Default)]
pub struct Department {
    /// Its name; empty until it is set up.
    pub name: String,
    /// Its shift clock.
    pub clock: ShiftClock,
}

/// A station.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Station {
    /// Short name.
    pub id: String,
    /// Name.
    pub name: String,
}

/// A place on a rig, with what is in it.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct SeatRow {
    /// The station.
    pub station: String,
    /// The rig's id.
    pub rig: String,
    /// The rig's name.
    pub rig_name: String,
    /// The seat's id.
    pub seat: String,
    /// Its name.
    pub name: String,
    /// Whether it is a kit's place.
    pub kit: bool,
    /// What is in it.
    pub asset: Option<String>,
}

/// A unit as registered, and where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitRow {
    /// Number.
    pub number: String,
    /// Profile.
    pub profile: String,
    /// How often it is checked where it stands.
    pub cadence: Cadence,
    /// What says so; none: it is what the unit brings along.
    pub cadence_of: Option<Spot>,
    /// Serial numbers by part.
    pub serials: BTreeMap<String, String>,
    /// Where it is.
    pub place: Option<Place>,
}

/// Everything that is with a unit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct With {
    /// The facepiece.
    pub facepiece: Option<String>,
    /// The cylinder.
    pub cylinder: Option<String>,
}

impl Write {
    async fn write_department(&mut self, r: &Register) -> Result<(), StoreError> {
        let Register::Department { name, zone, shift_start, shift_hours, early_minutes, grace_minutes } = r
        else {
            return Ok(());
        };
        sqlx::query(
            "insert into department (only, name, zone, shift_start, shift_hours, early_minutes, grace_minutes)
             values (1, $1, $2, $3, $4, $5, $6)
             on conflict (only) do update set name = excluded.name, zone = excluded.zone,
                 shift_start = excluded.shift_start, shift_hours = excluded.shift_hours,
                 early_minutes = excluded.early_minutes, grace_minutes = excluded.grace_minutes",
        )
        .bind(name)
        .bind(zone)
        .bind(shift_start)
        .bind(i64::from(*shift_hours))
        .bind(i64::from(*early_minutes))
        .bind(i64::from(*grace_minutes))
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    async fn write_countersigning(&mut self, required: bool) -> Result<(), StoreError> {
        sqlx::query(
            "insert into countersigning (only, required) values (1, $1)
             on conflict (only) do update set required = excluded.required",
        )
        .bind(required)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    pub(super) async fn write_register(
        &mut self,
        r: &Register,
        e: &Envelope,
        seq: i64,
    ) -> Result<(), StoreError> {
        match r {
            Register::Department { .. } => self.write_department(r).await?,
            Register::Countersigning { required } => self.write_countersigning(*required).await?,
            Register::Cadence { at, cadence } => {
                let (spot, id) = spot_text(at);
                self.write_cadence((seq, e.time()), spot, id, *cadence).await?;
            }
            Register::Identification { asked, hours } => self.write_identification(*asked, *hours).await?,
            Register::Station { id, name, order } => {
                sqlx::query(
                    "insert into station (id, name, place) values ($1, $2, $3)
                     on conflict (id) do update set name = excluded.name, place = excluded.place",
                )
                .bind(id)
                .bind(name)
                .bind(i64::from(*order))
                .execute(self.conn().await?)
                .await?;
            }
            Register::Rig { id, name, station, order } => {
                sqlx::query(
                    "insert into rig (id, name, station, place) values ($1, $2, $3, $4)
                     on conflict (id) do update set name = excluded.name, station = excluded.station,
                         place = excluded.place",
                )
                .bind(id)
                .bind(name)
                .bind(station)
                .bind(i64::from(*order))
                .execute(self.conn().await?)
                .await?;
            }
            Register::Seat { id, rig, name, kit, order } => {
                sqlx::query(
                    "insert into seat (id, rig, name, kit, place) values ($1, $2, $3, $4, $5)
                     on conflict (id) do update set rig = excluded.rig, name = excluded.name, kit = excluded.kit,
                         place = excluded.place",
                )
                .bind(id)
                .bind(rig)
                .bind(name)
                .bind(kit)
                .bind(i64::from(*order))
                .execute(self.conn().await?)
                .await?;
            }
            Register::Unit { number, profile, cadence, serials, .. } => {
                self.write_asset(
                    &Asset::unit(number),
                    Some(profile),
                    Some(&text_of(cadence)?),
                    &text_of(serials)?,
                )
                .await?;
                self.write_cadence((seq, e.time()), "unit", number, Some(*cadence)).await?;
            }
            Register::Facepiece { number, size } => {
                self.write_asset(&Asset::facepiece(number), None, None, &text_of(size)?).await?;
            }
            Register::Cylinder { number, rated } => {
                self.write_asset(&Asset::cylinder(number), None, None, &text_of(rated)?).await?;
            }
            Register::Member { id, roles, qualified } => {
                sqlx::query(
                    "insert into member (id, roles, qualified) values ($1, $2, $3)
                     on conflict (id) do update set roles = excluded.roles, qualified = excluded.qualified",
                )
                .bind(id)
                .bind(text_of(roles)?)
                .bind(text_of(qualified)?)
                .execute(self.conn().await?)
                .await?;
            }
            Register::Tablet { id, name, station, key } => {
                self.write_tablet(id, name, station, key.as_ref(), e).await?;
            }
            Register::Rotation { turns, first, apart } => self.write_rotation(turns, *first, apart).await?,
            Register::Drive { from, to, minutes } => self.write_drive(from, to, *minutes).await?,
            Register::Holder { asset, place } => {
                self.write_holder(asset, place).await?;
                self.write_placed(asset, place, e.time(), seq).await?;
            }
            // All of it is in what is known of upkeep.
            Register::CylinderMarks { .. }
            | Register::FacepieceModel { .. }
            | Register::Source { .. }
            | Register::Qualification { .. }
            | Register::Approval { .. }
            | Register::Period(_) => {}
        }
        Ok(())
    }

    async fn write_asset(
        &mut self,
        asset: &Asset,
        profile: Option<&str>,
        cadence: Option<&str>,
        detail: &str,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into asset (asset, profile, cadence, detail) values ($1, $2, $3, $4)
             on conflict (asset) do update set profile = excluded.profile, cadence = excluded.cadence,
                 detail = excluded.detail",
        )
        .bind(asset.to_string())
        .bind(profile)
        .bind(cadence)
        .bind(detail)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    pub(super) async fn write_holder(&mut self, asset: &Asset, place: &Place) -> Result<(), StoreError> {
        let (at, place) = text_of_place(place);
        sqlx::query(
            "insert into holder (asset, at, place) values ($1, $2, $3)
             on conflict (asset) do update set at = excluded.at, place = excluded.place",
        )
        .bind(asset.to_string())
        .bind(at)
        .bind(place)
        .execute(self.conn().await?)
        .await?;
        self.write_home(asset, at, place).await
    }

    /// Remembers from when on a unit was there.
    pub(super) async fn write_placed(
        &mut self,
        asset: &Asset,
        place: &Place,
        since: Millis,
        seq: i64,
    ) -> Result<(), StoreError> {
        if asset.kind != AssetKind::Unit {
            return Ok(());
        }
        let (at, place) = text_of_place(place);
        sqlx::query(
            "insert into placed (unit, seq, since, at, place) values ($1, $2, $3, $4, $5)
             on conflict (unit, seq) do update set at = excluded.at, place = excluded.place",
        )
        .bind(&asset.number)
        .bind(seq)
        .bind(since)
        .bind(at)
        .bind(place)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Remembers the last place on a rig or at a station.
    async fn write_home(&mut self, asset: &Asset, at: &str, place: &str) -> Result<(), StoreError> {
        if matches!(at, "seat" | "spare") {
            sqlx::query(
                "insert into home (asset, at, place) values ($1, $2, $3)
                 on conflict (asset) do update set at = excluded.at, place = excluded.place",
            )
            .bind(asset.to_string())
            .bind(at)
            .bind(place)
            .execute(self.conn().await?)
            .await?;
        }
        Ok(())
    }

    /// The same, from a record that is older than this memory.
    pub(super) async fn remember_home(&mut self, entry: &Register) -> Result<(), StoreError> {
        match entry {
            Register::Holder { asset, place: Place::Seat { seat } } => {
                self.write_home(asset, "seat", seat).await
            }
            Register::Holder { asset, place: Place::Spare { station } } => {
                self.write_home(asset, "spare", station).await
            }
            _ => Ok(()),
        }
    }

    /// What is already where something is to be put: in the seat; for a cylinder, in the unit.
    pub async fn in_the_way(&mut self, asset: &Asset, place: &Place) -> Result<Option<Asset>, StoreError> {
        let (at, place, kind) = match place {
            Place::Seat { seat } => ("seat", seat, String::new()),
            Place::With { unit } if asset.kind == AssetKind::Cylinder => {
                ("with", unit, "cylinder:".to_owned())
            }
            _ => return Ok(None),
        };
        let there: Option<String> = sqlx::query_scalar(
            "select asset from holder where at = $1 and place = $2 and asset <> $3 and substr(asset, 1, length($4)) = $4
             limit 1",
        )
        .bind(at)
        .bind(place)
        .bind(asset.to_string())
        .bind(kind)
        .fetch_optional(self.conn().await?)
        .await?;
        there.map(|a| a.parse().map_err(|e| unreadable("holder", &a, &e))).transpose()
    }

    /// What an entry leans on that is not in the register, in words.
    pub async fn lacks(&mut self, entry: &Register) -> Result<Option<String>, StoreError> {
        let (what, id, sql) = match entry {
            Register::CylinderMarks { number, .. } => {
                ("cylinder", number, "select count(*) from asset where asset = 'cylinder:' || $1")
            }
            Register::FacepieceModel { number, .. } => {
                ("facepiece", number, "select count(*) from asset where asset = 'facepiece:' || $1")
            }
            Register::Qualification { member, .. } => {
                ("member", member, "select count(*) from member where id = $1")
            }
            Register::Rig { station, .. }
            | Register::Source { station, .. }
            | Register::Tablet { station, .. }
            | Register::Cadence { at: Spot::Spares { station }, .. }
            | Register::Holder { place: Place::Spare { station }, .. } => {
                ("station", station, "select count(*) from station where id = $1")
            }
            Register::Seat { rig, .. } | Register::Cadence { at: Spot::Rig { rig }, .. } => {
                ("rig", rig, "select count(*) from rig where id = $1")
            }
            Register::Cadence { at: Spot::Seat { seat }, .. }
            | Register::Holder { place: Place::Seat { seat }, .. } => {
                ("seat", seat, "select count(*) from seat where id = $1")
            }
            Register::Holder { place: Place::With { unit }, .. } => {
                ("unit", unit, "select count(*) from asset where asset = 'unit:' || $1")
            }
            Register::Drive { from, to, .. } => {
                for id in [from, to] {
                    if !self.known(Known::Station, id).await? {
                        return Ok(Some(format!("station “{id}”")));
                    }
                }
                return Ok(None);
            }
            _ => return Ok(None),
        };
        let found: i64 = sqlx::query_scalar(sql).bind(id).fetch_one(self.conn().await?).await?;
        Ok((found == 0).then(|| format!("{what} “{id}”")))
    }

    /// The department's shift clock.
    pub async fn clock(&mut self) -> Result<ShiftClock, StoreError> {
        Ok(department(self.conn().await?).await?.clock)
    }

    /// A member as far as authority goes.
    pub async fn signer(&mut self, id: &str) -> Result<Option<Signer>, StoreError> {
        signer(self.conn().await?, id).await
    }

    /// The rule table in force: the last one activated, or none but the shipped one.
    pub async fn rules_in_force(&mut self) -> Result<Option<Digest>, StoreError> {
        rules_in_force(self.conn().await?).await
    }

    /// Whether this record waits for an officer's countersignature.
    pub async fn waits_for_countersigning(&mut self, seq: i64) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar("select exists (select 1 from uncountersigned where seq = $1)")
            .bind(seq)
            .fetch_one(self.conn().await?)
            .await?)
    }

    /// The profile of a registered unit.
    pub async fn profile_of(&mut self, asset: &Asset) -> Result<Option<String>, StoreError> {
        let profile: Option<Option<String>> =
            sqlx::query_scalar("select profile from asset where asset = $1")
                .bind(asset.to_string())
                .fetch_optional(self.conn().await?)
                .await?;
        Ok(profile.flatten())
    }
}

async fn department(conn: &mut SqliteConnection) -> Result<Department, StoreError> {
    let row: Option<(String, String, String, i64, i64, i64)> = sqlx::query_as(
        "select name, zone, shift_start, shift_hours, early_minutes, grace_minutes from department",
    )
    .fetch_optional(conn)
    .await?;
    let Some((name, zone, start, hours, early, grace)) = row else {
        return Ok(Department::default());
    };
    let small = |n: i64| u16::try_from(n).unwrap_or(u16::MAX);
    let clock = ShiftClock::read(&zone, &start, u8::try_from(hours).unwrap_or(0), small(early), small(grace))
        .map_err(|e| unreadable("department", "1", &e))?;
    Ok(Department { name, clock })
}

async fn countersigning(conn: &mut SqliteConnection) -> Result<bool, StoreError> {
    let required = sqlx::query_scalar("select required from countersigning").fetch_optional(conn).await?;
    Ok(required.unwrap_or(false))
}

async fn rules_in_force(conn: &mut SqliteConnection) -> Result<Option<Digest>, StoreError> {
    let digest: Option<String> =
        sqlx::query_scalar("select digest from rule_table order by seq desc limit 1")
            .fetch_optional(conn)
            .await?;
    digest.map(|d| d.parse().map_err(|e| unreadable("rule_table", &d, &e))).transpose()
}

async fn signer(conn: &mut SqliteConnection, id: &str) -> Result<Option<Signer>, StoreError> {
    let row: Option<SignerRow> = sqlx::query_as("select id, roles, qualified from member where id = $1")
        .bind(id)
        .fetch_optional(conn)
        .await?;
    row.map(signer_of).transpose()
}

type SignerRow = (String, String, String);

pub(super) fn signer_of((id, roles, qualified): SignerRow) -> Result<Signer, StoreError> {
    let roles: Vec<String> = serde_json::from_str(&roles).map_err(|e| unreadable("member", &id, &e))?;
    let qualified: BTreeSet<String> =
        serde_json::from_str(&qualified).map_err(|e| unreadable("member", &id, &e))?;
    Ok(Signer { roles: roles.iter().filter_map(|r| Role::from_id(r)).collect(), qualified, id })
}

fn text_of(value: &impl serde::Serialize) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|e| unreadable("asset", "new", &e))
}

fn text_of_place(place: &Place) -> (&'static str, &str) {
    match place {
        Place::Seat { seat } => ("seat", seat),
        Place::Spare { station } => ("spare", station),
        Place::With { unit } => ("with", unit),
        Place::Bench => ("bench", ""),
        Place::Repairer => ("repairer", ""),
        Place::Away => ("away", ""),
    }
}

pub(super) fn place_of(at: &str, place: String) -> Option<Place> {
    match at {
        "seat" => Some(Place::Seat { seat: place }),
        "spare" => Some(Place::Spare { station: place }),
        "with" => Some(Place::With { unit: place }),
        "bench" => Some(Place::Bench),
        "repairer" => Some(Place::Repairer),
        "away" => Some(Place::Away),
        _ => None,
    }
}

/// A row of `asset` joined with `holder`.
type AssetRow = (String, String, String, String, Option<String>, Option<String>);

fn unit_row(
    (asset, profile, cadence, detail, at, place): AssetRow,
    cadences: &Cadences,
) -> Result<UnitRow, StoreError> {
    let number = asset.strip_prefix("unit:").unwrap_or(&asset).to_owned();
    let cadence = serde_json::from_str(&cadence).map_err(|e| unreadable("asset", &asset, &e))?;
    let serials = serde_json::from_str(&detail).map_err(|e| unreadable("asset", &asset, &e))?;
    let place = at.and_then(|at| place_of(&at, place.unwrap_or_default()));
    let (cadence, cadence_of) = cadences.at(place.as_ref(), cadence);
    Ok(UnitRow { number, profile, cadence, cadence_of, serials, place })
}

impl Store {
    /// Where things were last, on a rig or at a station.
    pub async fn homes(&self) -> Result<BTreeMap<String, Place>, StoreError> {
        let rows: Vec<(String, String, String)> =
            sqlx::query_as("select asset, at, place from home").fetch_all(&self.read).await?;
        Ok(rows.into_iter().filter_map(|(asset, at, place)| Some((asset, place_of(&at, place)?))).collect())
    }

    /// The department's settings.
    pub async fn department(&self) -> Result<Department, StoreError> {
        let mut conn = self.read.acquire().await?;
        department(&mut conn).await
    }

    /// Whether a crew's good check waits for an officer's countersignature.
    pub async fn countersigning(&self) -> Result<bool, StoreError> {
        let mut conn = self.read.acquire().await?;
        countersigning(&mut conn).await
    }

    /// All stations, in order.
    pub async fn stations(&self) -> Result<Vec<Station>, StoreError> {
        Ok(sqlx::query_as("select id, name from station order by place, id").fetch_all(&self.read).await?)
    }

    /// Every place of a station's rigs (of all stations, without one), with what is in it.
    pub async fn seats(&self, station: Option<&str>) -> Result<Vec<SeatRow>, StoreError> {
        Ok(sqlx::query_as(
            "select r.station, r.id as rig, r.name as rig_name, s.id as seat, s.name, s.kit, h.asset
             from seat s join rig r on r.id = s.rig join station t on t.id = r.station
             left join holder h on h.at = 'seat' and h.place = s.id
             where $1 is null or r.station = $1
             order by t.place, t.id, r.place, r.id, s.kit, s.place, s.id",
        )
        .bind(station)
        .fetch_all(&self.read)
        .await?)
    }

    /// Spares of a station (of all, without one), by number.
    pub async fn spares(&self, station: Option<&str>) -> Result<Vec<(String, Asset)>, StoreError> {
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select place, asset from holder
             where at = 'spare' and asset like 'unit:%' and ($1 is null or place = $1) order by place, asset",
        )
        .bind(station)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|(place, a)| Ok((place, a.parse().map_err(|e| unreadable("holder", &a, &e))?)))
            .collect()
    }

    /// A unit.
    pub async fn unit(&self, number: &str) -> Result<Option<UnitRow>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let row: Option<AssetRow> = sqlx::query_as(
            "select a.asset, a.profile, a.cadence, a.detail, h.at, h.place
             from asset a left join holder h on h.asset = a.asset
             where a.asset = $1 and a.profile is not null",
        )
        .bind(Asset::unit(number).to_string())
        .fetch_optional(&mut *conn)
        .await?;
        let cadences = cadences(&mut conn).await?;
        row.map(|row| unit_row(row, &cadences)).transpose()
    }

    /// All units, by number.
    pub async fn units(&self) -> Result<Vec<UnitRow>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let rows: Vec<AssetRow> = sqlx::query_as(
            "select a.asset, a.profile, a.cadence, a.detail, h.at, h.place
             from asset a left join holder h on h.asset = a.asset
             where a.profile is not null order by a.asset",
        )
        .fetch_all(&mut *conn)
        .await?;
        let cadences = cadences(&mut conn).await?;
        rows.into_iter().map(|row| unit_row(row, &cadences)).collect()
    }

    /// What is with a unit.
    pub async fn with(&self, unit: &str) -> Result<With, StoreError> {
        let rows: Vec<String> =
            sqlx::query_scalar("select asset from holder where at = 'with' and place = $1 order by asset")
                .bind(unit)
                .fetch_all(&self.read)
                .await?;
        let find = |kind: &str| rows.iter().find_map(|a| a.strip_prefix(kind).map(str::to_owned));
        Ok(With { facepiece: find("facepiece:"), cylinder: find("cylinder:") })
    }

    /// What the register says of an asset.
    pub async fn registered(&self, asset: &Asset) -> Result<Option<Registered>, StoreError> {
        if let AssetKind::Unit = asset.kind
            && let Some(unit) = self.unit(&asset.number).await?
        {
            return Ok(Some(Registered::Unit { cadence: unit.cadence, profile: unit.profile }));
        }
        let there: bool = sqlx::query_scalar("select exists (select 1 from asset where asset = $1)")
            .bind(asset.to_string())
            .fetch_one(&self.read)
            .await?;
        Ok(there.then_some(Registered::Item))
    }

    /// Every registered asset.
    pub async fn assets(&self) -> Result<Vec<Asset>, StoreError> {
        let rows: Vec<String> =
            sqlx::query_scalar("select asset from asset union select distinct asset from ground order by 1")
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(|a| a.parse().map_err(|e| unreadable("asset", &a, &e))).collect()
    }

    /// A member as far as authority goes.
    pub async fn signer(&self, id: &str) -> Result<Option<Signer>, StoreError> {
        let mut conn = self.read.acquire().await?;
        signer(&mut conn, id).await
    }

    /// Every member as far as authority goes, by id.
    pub async fn signers(&self) -> Result<Vec<Signer>, StoreError> {
        let rows: Vec<SignerRow> = sqlx::query_as("select id, roles, qualified from member order by id")
            .fetch_all(&self.read)
            .await?;
        rows.into_iter().map(signer_of).collect()
    }

    /// The rule table in force: the last one activated, or none but the shipped one.
    pub async fn rules_in_force(&self) -> Result<Option<Digest>, StoreError> {
        let mut conn = self.read.acquire().await?;
        rules_in_force(&mut conn).await
    }
}
