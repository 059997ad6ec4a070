//! Enrolled tablets: what the logbook says of them, and beside it their sessions, the codes with
//! which they are enrolled, and the signatures of their keys.

use airmuster_domain::Millis;
use airmuster_domain::record::{Digest, Envelope, TabletKey, TabletRevoked, Trusted};
use sqlx::sqlite::SqliteConnection;
use uuid::Uuid;

use super::error::{StoreError, unreadable};
use super::open::Store;
use super::write::Write;

/// A tablet that was enrolled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TabletRow {
    /// The id that its records name.
    pub id: String,
    /// What people call it.
    pub name: String,
    /// The station's id.
    pub station: String,
    /// The key with which it signs, if it has one.
    pub key: Option<TabletKey>,
    /// When it was enrolled.
    pub enrolled_at: Millis,
    /// By whom; nobody at the console.
    pub enrolled_by: Option<String>,
    /// When it was given up.
    pub revoked_at: Option<Millis>,
    /// Of one that was given up: what is still believed.
    pub trusted: Option<Trusted>,
    /// When it was last heard.
    pub seen_at: Option<Millis>,
    /// What it said of itself then.
    pub holding: Option<Holding>,
}

/// What a tablet still holds, by its own word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holding {
    /// Records that the server has not taken.
    pub count: i64,
    /// When the oldest of them was written.
    pub oldest_at: Option<Millis>,
    /// The last number that it has written, and in which incarnation.
    pub last: Option<Trusted>,
}

/// What a code stands for.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Code {
    /// The tablet's name.
    pub name: String,
    /// The station's id.
    pub station: String,
    /// Who made the code.
    pub made_by: String,
    /// Until when it can be used.
    pub ends_at: Millis,
}

const TABLET: &str =
    "select t.id, t.name, t.station, t.public_key, t.enrolled_at, t.enrolled_by, t.revoked_at,
        t.trusted_incarnation, t.trusted_number, a.seen_at, a.holding, a.oldest_at, a.incarnation, a.number
     from tablet t left join tablet_access a on a.tablet = t.id";

#[derive(sqlx::FromRow)]
pub(super) struct Columns {
    id: Option<String>,
    name: Option<String>,
    station: Option<String>,
    public_key: Option<String>,
    enrolled_at: Option<Millis>,
    enrolled_by: Option<String>,
    revoked_at: Option<Millis>,
    trusted_incarnation: Option<String>,
    trusted_number: Option<i64>,
    seen_at: Option<Millis>,
    holding: Option<i64>,
    oldest_at: Option<Millis>,
    incarnation: Option<String>,
    number: Option<i64>,
}

/// The tablet, where the columns are not all those of one that is not there.
pub(super) fn tablet(c: Columns) -> Result<Option<TabletRow>, StoreError> {
    let (Some(id), Some(name), Some(station), Some(enrolled_at)) = (c.id, c.name, c.station, c.enrolled_at)
    else {
        return Ok(None);
    };
    let numbered = |incarnation: Option<String>, number: Option<i64>| match (incarnation, number) {
        (Some(i), Some(n)) => {
            let incarnation = i.parse::<Uuid>().map_err(|e| unreadable("tablet", &id, &e))?;
            Ok::<_, StoreError>(Some(Trusted { incarnation, number: u64::try_from(n).unwrap_or(0) }))
        }
        _ => Ok(None),
    };
    Ok(Some(TabletRow {
        key: c.public_key.map(|k| k.parse().map_err(|e| unreadable("tablet", &id, &e))).transpose()?,
        trusted: numbered(c.trusted_incarnation, c.trusted_number)?,
        holding: match c.holding {
            Some(count) => {
                Some(Holding { count, oldest_at: c.oldest_at, last: numbered(c.incarnation, c.number)? })
            }
            None => None,
        },
        id,
        name,
        station,
        enrolled_at,
        enrolled_by: c.enrolled_by,
        revoked_at: c.revoked_at,
        seen_at: c.seen_at,
    }))
}

async fn by_id(conn: &mut SqliteConnection, id: &str) -> Result<Option<TabletRow>, StoreError> {
    let mut q = sqlx::QueryBuilder::new(TABLET);
    q.push(" where t.id = ").push_bind(id);
    let row: Option<Columns> = q.build_query_as().fetch_optional(conn).await?;
    Ok(row.map(tablet).transpose()?.flatten())
}

fn whole(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

impl Write {
    pub(super) async fn write_tablet(
        &mut self,
        id: &str,
        name: &str,
        station: &str,
        key: Option<&TabletKey>,
        e: &Envelope,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into tablet (id, name, station, public_key, enrolled_at, enrolled_by)
             values ($1, $2, $3, $4, $5, $6) on conflict (id) do nothing",
        )
        .bind(id)
        .bind(name)
        .bind(station)
        .bind(key.map(ToString::to_string))
        .bind(e.time())
        .bind(&e.by)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// The session ends in the same moment as the trust.
    pub(super) async fn write_revoked(&mut self, r: &TabletRevoked, e: &Envelope) -> Result<(), StoreError> {
        sqlx::query(
            "update tablet set revoked_at = $1, revoked_by = $2, trusted_incarnation = $3, trusted_number = $4
             where id = $5 and revoked_at is null",
        )
        .bind(e.time())
        .bind(&e.by)
        .bind(r.trusted.map(|t| t.incarnation.hyphenated().to_string()))
        .bind(r.trusted.map(|t| whole(t.number)))
        .bind(&r.tablet)
        .execute(self.conn().await?)
        .await?;
        sqlx::query("update tablet_access set token_hash = null where tablet = $1")
            .bind(&r.tablet)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// A tablet that was enrolled.
    pub async fn tablet(&mut self, id: &str) -> Result<Option<TabletRow>, StoreError> {
        by_id(self.conn().await?, id).await
    }

    /// How many other records of a tablet carry this number.
    pub async fn others_with_number(
        &mut self,
        tablet: &str,
        incarnation: &Uuid,
        number: u64,
        but: &Digest,
    ) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar(
            "select count(*) from logbook where tablet = $1 and incarnation = $2 and number = $3 and digest <> $4",
        )
        .bind(tablet)
        .bind(incarnation.hyphenated().to_string())
        .bind(whole(number))
        .bind(&but.0[..])
        .fetch_one(self.conn().await?)
        .await?)
    }

    /// Keeps the signature of a record that a tablet's key has made.
    pub async fn keep_signature(&mut self, seq: i64, signature: &[u8]) -> Result<(), StoreError> {
        sqlx::query("insert into tablet_signature (seq, signature) values ($1, $2) on conflict do nothing")
            .bind(seq)
            .bind(signature)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Makes a code known, and forgets those that have ended.
    pub async fn open_code(&mut self, hash: &[u8; 32], code: &Code, now: Millis) -> Result<(), StoreError> {
        sqlx::query("delete from tablet_code where ends_at <= $1")
            .bind(now)
            .execute(self.conn().await?)
            .await?;
        sqlx::query(
            "insert into tablet_code (code_hash, name, station, made_by, ends_at) values ($1, $2, $3, $4, $5)",
        )
        .bind(&hash[..])
        .bind(&code.name)
        .bind(&code.station)
        .bind(&code.made_by)
        .bind(code.ends_at)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// What a code stands for, if it is open: then it is used up. A wrong one is counted against
    /// every open code, and a code does not outlive `most` of them.
    pub async fn use_code(
        &mut self,
        hash: &[u8; 32],
        most: i64,
        now: Millis,
    ) -> Result<Option<Code>, StoreError> {
        let code: Option<Code> = sqlx::query_as(
            "delete from tablet_code where code_hash = $1 and ends_at > $2 and tries < $3
             returning name, station, made_by, ends_at",
        )
        .bind(&hash[..])
        .bind(now)
        .bind(most)
        .fetch_optional(self.conn().await?)
        .await?;
        if code.is_none() {
            sqlx::query("update tablet_code set tries = tries + 1").execute(self.conn().await?).await?;
        }
        Ok(code)
    }

    /// Begins a tablet's session. Only the token's hash is kept.
    pub async fn admit_tablet(
        &mut self,
        tablet: &str,
        token_hash: &[u8; 32],
        now: Millis,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into tablet_access (tablet, token_hash, seen_at) values ($1, $2, $3)
             on conflict (tablet) do update set token_hash = excluded.token_hash, seen_at = excluded.seen_at",
        )
        .bind(tablet)
        .bind(&token_hash[..])
        .bind(now)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Notes that a tablet was heard, and what it said of itself.
    pub async fn hear_tablet(
        &mut self,
        tablet: &str,
        holding: Option<&Holding>,
        now: Millis,
    ) -> Result<(), StoreError> {
        let last = holding.and_then(|h| h.last);
        sqlx::query(
            "update tablet_access set seen_at = $1, holding = coalesce($2, holding),
                 oldest_at = case when $2 is null then oldest_at else $3 end,
                 incarnation = coalesce($4, incarnation), number = coalesce($5, number)
             where tablet = $6",
        )
        .bind(now)
        .bind(holding.map(|h| h.count))
        .bind(holding.and_then(|h| h.oldest_at))
        .bind(last.map(|l| l.incarnation.hyphenated().to_string()))
        .bind(last.map(|l| whole(l.number)))
        .bind(tablet)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }
}

impl Store {
    /// A tablet that was enrolled.
    pub async fn tablet(&self, id: &str) -> Result<Option<TabletRow>, StoreError> {
        let mut conn = self.read.acquire().await?;
        by_id(&mut conn, id).await
    }

    /// All tablets, those in use first, by station and name.
    pub async fn tablets(&self) -> Result<Vec<TabletRow>, StoreError> {
        let mut q = sqlx::QueryBuilder::new(TABLET);
        q.push(
            " join station s on s.id = t.station order by t.revoked_at is not null, s.place, t.name, t.id",
        );
        let rows: Vec<Columns> = q.build_query_as().fetch_all(&self.read).await?;
        rows.into_iter().filter_map(|row| tablet(row).transpose()).collect()
    }

    /// The tablet whose session this is.
    pub async fn tablet_of_token(&self, token_hash: &[u8; 32]) -> Result<Option<TabletRow>, StoreError> {
        let mut q = sqlx::QueryBuilder::new(TABLET);
        q.push(" where t.revoked_at is null and a.token_hash = ").push_bind(&token_hash[..]);
        let row: Option<Columns> = q.build_query_as().fetch_optional(&self.read).await?;
        Ok(row.map(tablet).transpose()?.flatten())
    }

    /// The last number of a tablet that has arrived, in the incarnation that was heard last.
    pub async fn last_number(&self, tablet: &str) -> Result<Option<Trusted>, StoreError> {
        let row: Option<(String, i64)> = sqlx::query_as(
            "select incarnation, max(number) from logbook
             where tablet = $1 and incarnation is not null and number is not null
             group by incarnation order by max(seq) desc limit 1",
        )
        .bind(tablet)
        .fetch_optional(&self.read)
        .await?;
        row.map(|(i, n)| {
            let incarnation = i.parse().map_err(|e| unreadable("logbook", tablet, &e))?;
            Ok(Trusted { incarnation, number: u64::try_from(n).unwrap_or(0) })
        })
        .transpose()
    }

    /// The signature of a record by its tablet's key.
    pub async fn tablet_signature(&self, seq: i64) -> Result<Option<Vec<u8>>, StoreError> {
        Ok(sqlx::query_scalar("select signature from tablet_signature where seq = $1")
            .bind(seq)
            .fetch_optional(&self.read)
            .await?)
    }
}
