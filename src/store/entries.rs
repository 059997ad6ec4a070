//! The register as the entries that would make it anew: for comparing with what is to be taken in,
//! and for giving it out.

use airmuster_domain::record::{Asset, AssetKind, Register};
use airmuster_domain::upkeep::Thing;
use sqlx::FromRow;

use super::error::{StoreError, unreadable};
use super::logbook::{self, Kept};
use super::open::Store;
use super::register::place_of;

#[derive(FromRow)]
struct AssetRow {
    asset: String,
    profile: Option<String>,
    cadence: Option<String>,
    detail: String,
}

fn small(n: i64) -> u16 {
    u16::try_from(n).unwrap_or(u16::MAX)
}

impl AssetRow {
    fn read(self) -> Result<Option<Register>, StoreError> {
        let asset: Asset = self.asset.parse().map_err(|e| unreadable("asset", &self.asset, &e))?;
        let wrong = |e: serde_json::Error| unreadable("asset", &self.asset, &e);
        let number = asset.number;
        Ok(match (asset.kind, self.profile, self.cadence) {
            (AssetKind::Unit, Some(profile), Some(cadence)) => Some(Register::Unit {
                number,
                profile,
                cadence: serde_json::from_str(&cadence).map_err(wrong)?,
                // Whether it has been accepted is among its grounds; registering it again must not ask anew.
                in_use: true,
                serials: serde_json::from_str(&self.detail).map_err(wrong)?,
            }),
            (AssetKind::Unit, ..) => None,
            (AssetKind::Facepiece, ..) => {
                Some(Register::Facepiece { number, size: serde_json::from_str(&self.detail).map_err(wrong)? })
            }
            (AssetKind::Cylinder, ..) => {
                Some(Register::Cylinder { number, rated: serde_json::from_str(&self.detail).map_err(wrong)? })
            }
        })
    }
}

impl Store {
    /// Records that changed the register and have this word in them, oldest first, the newest 200.
    pub async fn register_records(&self, word: &str) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let mut seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where kind in ('register', 'person_changed', 'left') and kind <> 'check'
             and instr(bytes, $1) > 0
             order by seq desc limit 200",
        )
        .bind(format!("\"{word}\"").into_bytes())
        .fetch_all(&mut *conn)
        .await?;
        seqs.reverse();
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// Records of what the department has set for itself, oldest first.
    pub async fn settings_records(&self) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let mut seqs = Vec::new();
        for what in ["department", "rotation", "drive", "countersigning", "identification"] {
            let found: Vec<i64> = sqlx::query_scalar(
                "select seq from logbook where kind = 'register' and kind <> 'check' and instr(bytes, $1) > 0",
            )
            .bind(format!("\"what\":\"{what}\"").into_bytes())
            .fetch_all(&mut *conn)
            .await?;
            seqs.extend(found);
        }
        seqs.sort_unstable();
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// Every entry of the register, each after those that it leans on.
    pub async fn entries(&self) -> Result<Vec<Register>, StoreError> {
        let mut out = Vec::new();
        let department: Option<(String, String, String, i64, i64, i64)> = sqlx::query_as(
            "select name, zone, shift_start, shift_hours, early_minutes, grace_minutes from department",
        )
        .fetch_optional(&self.read)
        .await?;
        out.extend(department.map(|(name, zone, shift_start, hours, early, grace)| Register::Department {
            name,
            zone,
            shift_start,
            shift_hours: u8::try_from(hours).unwrap_or(u8::MAX),
            early_minutes: small(early),
            grace_minutes: small(grace),
        }));
        let required: Option<bool> =
            sqlx::query_scalar("select required from countersigning").fetch_optional(&self.read).await?;
        out.extend(required.map(|required| Register::Countersigning { required }));
        let stations: Vec<(String, String, i64)> =
            sqlx::query_as("select id, name, place from station order by place, id")
                .fetch_all(&self.read)
                .await?;
        out.extend(stations.into_iter().map(|(id, name, order)| Register::Station {
            id,
            name,
            order: small(order),
        }));
        let rigs: Vec<(String, String, String, i64)> =
            sqlx::query_as("select id, name, station, place from rig order by station, place, id")
                .fetch_all(&self.read)
                .await?;
        out.extend(rigs.into_iter().map(|(id, name, station, order)| Register::Rig {
            id,
            name,
            station,
            order: small(order),
        }));
        let seats: Vec<(String, String, String, bool, i64)> =
            sqlx::query_as("select id, rig, name, kit, place from seat order by rig, kit, place, id")
                .fetch_all(&self.read)
                .await?;
        out.extend(seats.into_iter().map(|(id, rig, name, kit, order)| Register::Seat {
            id,
            rig,
            name,
            kit,
            order: small(order),
        }));
        let said = self.cadences().await?.set;
        out.extend(said.into_iter().map(|(at, c)| Register::Cadence { at, cadence: Some(c) }));
        // Units first: what is with one leans on it.
        let assets: Vec<AssetRow> = sqlx::query_as(
            "select asset, profile, cadence, detail from asset order by profile is null, asset",
        )
        .fetch_all(&self.read)
        .await?;
        for row in assets {
            out.extend(row.read()?);
        }
        for (asset, thing) in &self.upkeep().await?.things {
            let Thing { make, model, style, .. } = thing;
            let said = [make, model, style].iter().any(|part| !part.is_empty());
            if asset.kind == AssetKind::Facepiece && said {
                let [make, model, style] = [make, model, style].map(String::clone);
                out.push(Register::FacepieceModel { number: asset.number.clone(), make, model, style });
            }
        }
        out.extend(self.signers().await?.into_iter().map(|s| Register::Member {
            id: s.id,
            roles: s.roles.iter().map(|r| r.id().to_owned()).collect(),
            qualified: s.qualified.into_iter().collect(),
        }));
        let holders: Vec<(String, String, String)> =
            sqlx::query_as("select asset, at, place from holder order by asset")
                .fetch_all(&self.read)
                .await?;
        for (asset, at, place) in holders {
            let asset = asset.parse().map_err(|e| unreadable("holder", &asset, &e))?;
            out.extend(place_of(&at, place).map(|place| Register::Holder { asset, place }));
        }
        Ok(out)
    }
}
