//! What is computed from the logbook and kept: grounds with the moment from which something
//! clears them, one row a check, which records concern what. Nothing here depends on now, and
//! everything can be made anew; `airmuster verify` compares it with [`Account`], its reference.
//!
//! [`Account`]: airmuster_domain::standing::Account

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

use airmuster_domain::ground::{Done, Effects, Kind, Raise, correction_effects, effects};
use airmuster_domain::readings::readings;
use airmuster_domain::record::{
    Asset, Body, Check, Correction, Desk, Digest, Field, Outcome, Record, RecordRef, Register,
};
use airmuster_domain::standing::{
    Claim, Tables, Word, assets_of, cleared_assets, cleared_at, contested_raise, doubted_raise, registered,
    speaks_about,
};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::error::{StoreError, unreadable};
use super::lately::times;
use super::logbook::{self, Kept, Place, digest_of};
use super::open::Store;
use super::write::Write;

/// A ground's name: the asset and the key.
type Named = (Asset, String);

/// What a record has come to.
#[derive(Debug, Default)]
pub struct Projected {
    /// Why it cannot be judged here.
    pub attention: Option<String>,
    /// Assets on which something that the bench repairs was raised, or is open again.
    pub for_bench: BTreeSet<Asset>,
}

impl Write {
    /// Brings everything that is kept up to date with a record just appended.
    pub async fn project(&mut self, record: &Record, place: Place) -> Result<Projected, StoreError> {
        match &record.body {
            Body::Field(_) => {
                let id = record.name.id.hyphenated().to_string();
                let sql = "select (select count(*) from logbook where id = ?) > 1,
                                  exists (select 1 from ground where run = ?)";
                let before: (bool, bool) = self.ask(sql, |q| _ = q.bind(&*id).bind(&*id)).await?;
                self.project_after(record, place, before).await
            }
            Body::Desk(desk) => self.project_desk(record, desk, place).await,
        }
    }

    /// As [`Write::project`], where it is known already whether there are other records with its id, and whether
    /// a part of the same check has raised something.
    pub async fn project_after(
        &mut self,
        record: &Record,
        place: Place,
        before: (bool, bool),
    ) -> Result<Projected, StoreError> {
        match &record.body {
            Body::Field(field) => self.project_field(record, field, place, before).await,
            Body::Desk(desk) => self.project_desk(record, desk, place).await,
        }
    }

    async fn project_field(
        &mut self,
        record: &Record,
        field: &Field,
        place: Place,
        (has_variants, has_parts): (bool, bool),
    ) -> Result<Projected, StoreError> {
        let mut out = Projected::default();
        let e = effects(record, &mut *self.tables());
        self.write_about(&assets_of(field), place.seq);
        self.write_attention(&e, place.seq).await?;
        out.attention.clone_from(&e.attention);
        self.write_late(record, &e.raises, place).await?;
        if let Field::RigAccepted(a) = field {
            self.write_accepted(a, place.seq).await?;
        }
        let mut touched = self.write_raises(&e.raises, place.seq).await?;
        if let Field::Photo(photo) = field {
            self.name_photo(photo, place.seq).await?;
        }
        if let Field::Check(check) = field {
            self.write_check(record, check, &e, place.seq);
            if let Some(done) = &e.done {
                for key in &done.seen {
                    self.write_claim(&done.unit, key, place.seq, None).await?;
                    touched.insert((done.unit.clone(), key.clone()));
                }
                if has_parts {
                    touched.extend(self.raised_by_run(done.name.id).await?);
                }
            }
        }
        if has_variants || e.raises.iter().any(|r| r.kind == Kind::Doubted) {
            touched.extend(self.weigh_word(record.name.id, place.seq).await?);
        }
        self.refresh(touched, &mut out).await?;
        Ok(out)
    }

    async fn project_desk(
        &mut self,
        record: &Record,
        desk: &Desk,
        place: Place,
    ) -> Result<Projected, StoreError> {
        let mut out = Projected::default();
        let e = self.desk_effects(record, desk).await?;
        let mut about: BTreeSet<Asset> = e.raises.iter().map(|r| r.asset.clone()).collect();
        about.extend(cleared_assets(desk));
        about.extend(desk.entries().iter().filter_map(entered));
        match desk {
            Desk::Upkeep(u) => about.extend([u.asset.clone()]),
            Desk::Fill(f) => about.extend([Asset::cylinder(&f.cylinder)]),
            Desk::CylinderRead(r) => about.extend([Asset::cylinder(&r.cylinder)]),
            Desk::Sealed(s) => about.extend([s.asset.clone()]),
            Desk::HandedOver(h) => about.extend([h.asset.clone()]),
            Desk::Fitting(f) => about.extend([Asset::unit(&f.unit)]),
            Desk::NoticeDone(d) => about.extend([d.asset.clone()]),
            Desk::Moved(m) => about.extend(m.moves.iter().map(|one| one.asset.clone())),
            _ => {}
        }
        self.write_about(&about, place.seq);
        let mut touched = self.write_raises(&e.raises, place.seq).await?;
        touched.extend(self.write_clearings(desk, place.seq).await?);
        if let Some(id) = speaks_about(desk) {
            sqlx::query("insert into said (id, seq) values ($1, $2)")
                .bind(id.hyphenated().to_string())
                .bind(place.seq)
                .execute(self.conn().await?)
                .await?;
            touched.extend(self.weigh_word(id, place.seq).await?);
        }
        for entry in desk.entries().iter() {
            self.write_register(entry, &record.envelope, place.seq).await?;
        }
        match desk {
            Desk::GapDealt(_) => {
                sqlx::query("insert into gap_dealt (seq) values ($1)")
                    .bind(place.seq)
                    .execute(self.conn().await?)
                    .await?;
            }
            Desk::TabletRevoked(t) => self.write_revoked(t, &record.envelope).await?,
            Desk::Rules(r) => touched.extend(self.take_rules(&r.text, place.seq).await?),
            Desk::Crew(c) => self.write_crew(c, place.seq).await?,
            Desk::Moved(m) => self.write_moved(m, record.envelope.time(), place.seq).await?,
            Desk::RigStatus(s) => self.write_rig_status(s).await?,
            Desk::Left(l) => self.write_left(l).await?,
            Desk::Acknowledged(a) => self.write_acknowledged(a, place.seq).await?,
            _ => {}
        }
        self.refresh(touched, &mut out).await?;
        self.write_upkeep(desk, record, place.seq).await?;
        self.write_ticket(desk, record, place).await?;
        Ok(out)
    }

    async fn desk_effects(&mut self, record: &Record, desk: &Desk) -> Result<Effects, StoreError> {
        Ok(match desk {
            Desk::Correction(c) => match self.check_record(&c.of).await? {
                Some(of) => correction_effects(record, c, &of.record, &mut *self.tables()),
                None => Effects::default(),
            },
            _ => effects(record, &mut *self.tables()),
        })
    }

    async fn write_attention(&mut self, e: &Effects, seq: i64) -> Result<(), StoreError> {
        if let Some(why) = &e.attention {
            sqlx::query("insert into attention (seq, why) values ($1, $2)")
                .bind(seq)
                .bind(why)
                .execute(self.conn().await?)
                .await?;
        }
        Ok(())
    }

    fn write_about(&mut self, assets: &BTreeSet<Asset>, seq: i64) {
        for asset in assets {
            self.later("insert into about (asset, seq) values (?, ?) on conflict do nothing")
                .bind(asset.to_string())
                .bind(seq);
        }
    }

    async fn write_raises(&mut self, raises: &[Raise], seq: i64) -> Result<BTreeSet<Named>, StoreError> {
        for raise in raises {
            let detail = serde_json::to_string(raise).map_err(|e| unreadable("ground", &raise.key, &e))?;
            sqlx::query(
                "insert into ground (asset, key, kind, from_id, run, detail, seq) values ($1, $2, $3, $4, $5, $6, $7)
                 on conflict (asset, key) do nothing",
            )
            .bind(raise.asset.to_string())
            .bind(&raise.key)
            .bind(raise.kind.id())
            .bind(raise.from.id.hyphenated().to_string())
            .bind(raise.run.map(|r| r.hyphenated().to_string()))
            .bind(detail)
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        }
        Ok(raises.iter().map(|r| (r.asset.clone(), r.key.clone())).collect())
    }

    fn write_check(&mut self, record: &Record, check: &Check, e: &Effects, seq: i64) {
        use airmuster_domain::ground::Forms;
        let form = self.tables().form(&check.rules, &check.profile, check.purpose);
        let read = form.as_ref().map(|f| readings(f, &check.answers)).unwrap_or_default();
        let (took, least) = times(check, record.envelope.time(), form.as_deref());
        let outcome = match check.outcome {
            Outcome::Complete => "complete",
            Outcome::BrokenOff => "broken_off",
            Outcome::Stopped => "stopped",
        };
        self.later(
            "insert into check_row (seq, id, digest, unit, at, by, profile, purpose, outcome, verdict, clean, counts,
                                    pressure, gauges, trip, took, least)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(seq)
        .bind(record.name.id.hyphenated().to_string())
        .bind(&record.name.digest.0[..])
        .bind(&check.unit)
        .bind(record.envelope.time())
        .bind(&record.envelope.by)
        .bind(&check.profile)
        .bind(check.purpose.id())
        .bind(outcome)
        .bind(e.verdict.map(airmuster_domain::judge::Verdict::id))
        .bind(e.done.as_ref().is_some_and(|d| d.clean))
        .bind(true)
        .bind(read.pressure.map(|p| p.to_string()))
        .bind(read.gauges.map(|(a, b)| format!("{a}|{b}")))
        .bind(read.trip.map(|p| p.to_string()))
        .bind(took)
        .bind(least);
    }

    async fn write_claim(
        &mut self,
        asset: &Asset,
        key: &str,
        seq: i64,
        proving: Option<&RecordRef>,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into claim (asset, key, seq, proving) values ($1, $2, $3, $4) on conflict do nothing",
        )
        .bind(asset.to_string())
        .bind(key)
        .bind(seq)
        .bind(proving.map(|p| p.digest.0.to_vec()))
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Notes which grounds a desk record clears, or would.
    async fn write_clearings(&mut self, desk: &Desk, seq: i64) -> Result<BTreeSet<Named>, StoreError> {
        let (asset, keys, proving) = match desk {
            Desk::Return(r) => (r.asset.clone(), r.clears.clone(), Some(r.proving)),
            Desk::Release(c) | Desk::Cleaned(c) => (c.asset.clone(), c.clears.clone(), None),
            Desk::Accepted(a) => (Asset::unit(&a.unit), vec![format!("not-accepted/{}", a.unit)], None),
            _ => return Ok(BTreeSet::new()),
        };
        for key in &keys {
            self.write_claim(&asset, key, seq, proving.as_ref()).await?;
        }
        Ok(keys.into_iter().map(|k| (asset.clone(), k)).collect())
    }

    async fn raised_by_run(&mut self, run: Uuid) -> Result<Vec<Named>, StoreError> {
        let rows: Vec<(String, String)> = sqlx::query_as("select asset, key from ground where run = $1")
            .bind(run.hyphenated().to_string())
            .fetch_all(self.conn().await?)
            .await?;
        rows.into_iter().map(named).collect()
    }

    /// Weighs anew what the desk has said about a record id: whether its variants count, and the
    /// grounds that contest or doubt raises. Returns every ground that may change by it.
    async fn weigh_word(&mut self, id: Uuid, seq: i64) -> Result<BTreeSet<Named>, StoreError> {
        let (word, kept) = self.word(id).await?;
        let mut raises = Vec::new();
        for k in &kept {
            let Body::Field(field) = &k.record.body else { continue };
            let name = k.record.name;
            for asset in assets_of(field) {
                if word.variants.len() > 1 {
                    raises.push(contested_raise(&asset, &k.record));
                }
                if let Some(why) = word.doubt_of(&name.digest) {
                    raises.push(doubted_raise(&asset, &k.record, why));
                }
            }
            let waits = [
                if word.unproven.contains(&name.digest) {
                    "insert into unproven (seq) values ($1) on conflict do nothing"
                } else {
                    "delete from unproven where seq = $1"
                },
                if word.uncountersigned.contains(&name.digest) {
                    "insert into uncountersigned (seq) values ($1) on conflict do nothing"
                } else {
                    "delete from uncountersigned where seq = $1"
                },
            ];
            for sql in waits {
                sqlx::query(sql).bind(k.place.seq).execute(self.conn().await?).await?;
            }
            sqlx::query("update check_row set counts = $1 where digest = $2")
                .bind(word.counts(&name.digest))
                .bind(&name.digest.0[..])
                .execute(self.conn().await?)
                .await?;
        }
        let mut touched = self.write_raises(&raises, seq).await?;
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select asset, key from ground where from_id = $1 or run = $1
             union select asset, key from claim where seq in (select seq from logbook where id = $1)
             union select asset, key from claim where proving in (select digest from logbook where id = $1)",
        )
        .bind(id.hyphenated().to_string())
        .fetch_all(self.conn().await?)
        .await?;
        for row in rows {
            touched.insert(named(row)?);
        }
        Ok(touched)
    }

    /// All that was said about a record id, and the records that have it.
    async fn word(&mut self, id: Uuid) -> Result<(Word, Vec<Kept>), StoreError> {
        let tables = Arc::clone(&self.tables);
        word(self.conn().await?, &tables, id).await
    }

    /// All corrections of a record, in order.
    pub async fn corrections_of(
        &mut self,
        of: &RecordRef,
    ) -> Result<Vec<(RecordRef, Correction)>, StoreError> {
        let correction = |k: Kept| match k.record.body {
            Body::Desk(Desk::Correction(c)) if c.of == *of => Some((k.record.name, c)),
            _ => None,
        };
        Ok(said(self.conn().await?, of.id).await?.into_iter().filter_map(correction).collect())
    }

    /// A complete check, if it is there and counts.
    pub async fn done(&mut self, name: &RecordRef) -> Result<Option<Done>, StoreError> {
        let Some(kept) = self.check_record(name).await? else {
            return Ok(None);
        };
        let counts: bool = sqlx::query_scalar("select counts from check_row where seq = $1")
            .bind(kept.place.seq)
            .fetch_one(self.conn().await?)
            .await?;
        Ok(effects(&kept.record, &mut *self.tables()).done.filter(|_| counts))
    }

    /// The grounds of an asset that were raised by something that came in after this record.
    pub async fn raised_after(
        &mut self,
        asset: &Asset,
        name: &RecordRef,
    ) -> Result<BTreeSet<String>, StoreError> {
        let Some(kept) = self.check_record(name).await? else {
            return Ok(BTreeSet::new());
        };
        let keys: Vec<String> = sqlx::query_scalar("select key from ground where asset = $1 and seq > $2")
            .bind(asset.to_string())
            .bind(kept.place.seq)
            .fetch_all(self.conn().await?)
            .await?;
        Ok(keys.into_iter().collect())
    }

    /// Finds out anew from when on each of these grounds is cleared.
    async fn refresh(&mut self, touched: BTreeSet<Named>, out: &mut Projected) -> Result<(), StoreError> {
        for (asset, key) in touched {
            let detail: Option<String> =
                sqlx::query_scalar("select detail from ground where asset = $1 and key = $2")
                    .bind(asset.to_string())
                    .bind(&key)
                    .fetch_optional(self.conn().await?)
                    .await?;
            let Some(detail) = detail else { continue };
            let raise: Raise = serde_json::from_str(&detail).map_err(|e| unreadable("ground", &key, &e))?;
            let at = match raise.kind {
                Kind::Contested | Kind::Doubted => {
                    let (word, _) = self.word(raise.from.id).await?;
                    let open = match raise.kind {
                        Kind::Contested => word.contested(),
                        _ => word.doubted(&raise.from.digest),
                    };
                    // Settled grounds have no moment of their own: the word holds whenever asked.
                    (!open).then_some(0)
                }
                _ => cleared_at(&raise, &self.claims(&raise).await?),
            };
            // Also what was cleared and is open again, because its proof no longer counts.
            if at.is_none() && raise.kind.terms().bench {
                out.for_bench.insert(asset.clone());
            }
            sqlx::query("update ground set cleared_at = $1 where asset = $2 and key = $3")
                .bind(at)
                .bind(asset.to_string())
                .bind(&key)
                .execute(self.conn().await?)
                .await?;
        }
        Ok(())
    }

    /// Everything that may clear a ground.
    async fn claims(&mut self, raise: &Raise) -> Result<Vec<Claim>, StoreError> {
        let mut seqs: Vec<i64> = sqlx::query_scalar("select seq from claim where asset = $1 and key = $2")
            .bind(raise.asset.to_string())
            .bind(&raise.key)
            .fetch_all(self.conn().await?)
            .await?;
        if let Some(run) = raise.run {
            let own: Vec<i64> =
                sqlx::query_scalar("select seq from check_row where id = $1 and outcome = 'complete'")
                    .bind(run.hyphenated().to_string())
                    .fetch_all(self.conn().await?)
                    .await?;
            seqs.extend(own);
        }
        let mut claims = Vec::with_capacity(seqs.len());
        for seq in seqs {
            let Some(kept) = logbook::by_seq(self.conn().await?, seq).await? else { continue };
            match &kept.record.body {
                Body::Field(_) => {
                    let done = self.done(&kept.record.name).await?;
                    claims.extend(done.map(Claim::check));
                }
                Body::Desk(d) => {
                    let proving = match d {
                        Desk::Return(r) => self.done(&r.proving).await?,
                        _ => None,
                    };
                    claims.extend(Claim::desk(d, kept.record.envelope.time(), |_| proving));
                }
            }
        }
        Ok(claims)
    }

    /// Takes in a rule table, and judges the records that waited for it.
    async fn take_rules(&mut self, text: &str, seq: i64) -> Result<BTreeSet<Named>, StoreError> {
        let (digest, name, edition) = {
            let mut tables = self.tables();
            let digest = tables.add(text).map_err(|e| unreadable("rule_table", "new", &e))?;
            let table = tables.get(&digest).cloned();
            (digest, table.as_ref().map(|t| t.name.clone()), table.map(|t| t.edition.clone()))
        };
        sqlx::query(
            "insert into rule_table (digest, name, edition, text, seq) values ($1, $2, $3, $4, $5)
             on conflict (digest) do update set seq = excluded.seq",
        )
        .bind(digest.to_string())
        .bind(name.unwrap_or_default())
        .bind(edition.unwrap_or_default())
        .bind(text)
        .bind(seq)
        .execute(self.conn().await?)
        .await?;
        let waiting: Vec<(i64, Vec<u8>)> = sqlx::query_as(
            "select l.seq, l.digest from attention a join logbook l on l.seq = a.seq where l.rules = $1",
        )
        .bind(digest.to_string())
        .fetch_all(self.conn().await?)
        .await?;
        let mut touched = BTreeSet::new();
        for (waited, digest) in waiting {
            touched.extend(self.judge_again(waited, &digest_of(&digest, "logbook", "digest")?).await?);
        }
        let corrections: Vec<i64> = sqlx::query_scalar(
            "select s.seq from logbook l join said s on s.id = l.id join logbook d on d.seq = s.seq
             where l.rules = $1 and d.kind = 'correction' order by s.seq",
        )
        .bind(digest.to_string())
        .fetch_all(self.conn().await?)
        .await?;
        for correction in corrections {
            touched.extend(self.correct_again(correction).await?);
        }
        Ok(touched)
    }

    /// A check that was moved to its right unit and could not be judged there can be now.
    async fn correct_again(&mut self, seq: i64) -> Result<BTreeSet<Named>, StoreError> {
        let Some(Kept { record, .. }) = logbook::by_seq(self.conn().await?, seq).await? else {
            return Ok(BTreeSet::new());
        };
        let Body::Desk(desk) = &record.body else {
            return Ok(BTreeSet::new());
        };
        let e = self.desk_effects(&record, desk).await?;
        sqlx::query("delete from ground where seq = $1 and kind in ('taken-out', 'misread')")
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        self.write_about(&e.raises.iter().map(|r| r.asset.clone()).collect(), seq);
        self.write_raises(&e.raises, seq).await
    }

    /// A record that could not be judged can be now: it is projected as if it came in anew.
    async fn judge_again(&mut self, seq: i64, digest: &Digest) -> Result<BTreeSet<Named>, StoreError> {
        let Some(kept) = logbook::by_seq(self.conn().await?, seq).await? else {
            return Ok(BTreeSet::new());
        };
        let Body::Field(Field::Check(check)) = &kept.record.body else {
            return Ok(BTreeSet::new());
        };
        let e = effects(&kept.record, &mut *self.tables());
        if e.verdict.is_none() {
            return Ok(BTreeSet::new());
        }
        sqlx::query("delete from attention where seq = $1").bind(seq).execute(self.conn().await?).await?;
        self.write_attention(&e, seq).await?;
        sqlx::query("delete from ground where seq = $1 and kind = 'doubted'")
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        sqlx::query("delete from check_row where digest = $1")
            .bind(&digest.0[..])
            .execute(self.conn().await?)
            .await?;
        self.write_check(&kept.record, check, &e, seq);
        let mut touched = self.write_raises(&e.raises, seq).await?;
        if let Some(done) = &e.done {
            for key in &done.seen {
                self.write_claim(&done.unit, key, seq, None).await?;
                touched.insert((done.unit.clone(), key.clone()));
            }
        }
        touched.extend(self.weigh_word(kept.record.name.id, seq).await?);
        Ok(touched)
    }
}

/// What the desk has said about a record id, with everything that was handed in under it.
async fn word(
    conn: &mut SqliteConnection,
    tables: &Mutex<Tables>,
    id: Uuid,
) -> Result<(Word, Vec<Kept>), StoreError> {
    let kept = logbook::variants(conn, id).await?;
    let mut word = Word::default();
    for k in kept.iter().filter(|k| matches!(k.record.body, Body::Field(_))) {
        word.variants.insert(k.record.name.digest);
        let e = effects(&k.record, &mut *tables.lock().unwrap_or_else(PoisonError::into_inner));
        if e.raises.iter().any(|r| r.kind == Kind::Doubted) {
            word.unreadable.insert(k.record.name.digest);
        }
    }
    for k in said(conn, id).await? {
        if let Body::Desk(d) = &k.record.body {
            word.hear(u64::try_from(k.place.seq).unwrap_or(0), d);
        }
    }
    Ok((word, kept))
}

/// All that the desk has said about a record id, in order.
async fn said(conn: &mut SqliteConnection, id: Uuid) -> Result<Vec<Kept>, StoreError> {
    let seqs: Vec<i64> = sqlx::query_scalar("select seq from said where id = $1 order by seq")
        .bind(id.hyphenated().to_string())
        .fetch_all(&mut *conn)
        .await?;
    logbook::all_by_seq(conn, seqs).await
}

impl Store {
    /// Whether a record stands as what its signer says, whatever an officer has still to say to it.
    pub async fn stands(&self, name: &RecordRef) -> Result<bool, StoreError> {
        let mut conn = self.read.acquire().await?;
        let (word, _) = word(&mut conn, &self.tables, name.id).await?;
        Ok(word.stands(&name.digest))
    }
}

/// The asset that an entry of the register is about.
fn entered(r: &Register) -> Option<Asset> {
    match r {
        Register::Holder { asset, .. } => Some(asset.clone()),
        Register::CylinderMarks { number, .. } => Some(Asset::cylinder(number)),
        Register::FacepieceModel { number, .. } => Some(Asset::facepiece(number)),
        _ => registered(r).map(|(asset, _)| asset),
    }
}

fn named((asset, key): (String, String)) -> Result<Named, StoreError> {
    let read = asset.parse().map_err(|e| unreadable("ground", &asset, &e))?;
    Ok((read, key))
}
