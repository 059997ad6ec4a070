//! The logbook: appending a record with its link of the chain, and reading records back.

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Digest, Field, Record, RecordRef, decode, link};
use sqlx::FromRow as _;
use sqlx::sqlite::{SqliteConnection, SqliteRow};
use uuid::Uuid;

use super::error::{StoreError, undecodable, unreadable};
use super::open::Store;
use super::write::Write;

/// The end of the chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Names the history; new after a restore.
    pub epoch: String,
    /// Records so far.
    pub seq: i64,
    /// The last link.
    pub hash: Digest,
    /// Records up to this number are in a backup that was proved.
    pub backed_up: i64,
}

impl Head {
    pub(super) async fn read(conn: &mut SqliteConnection) -> Result<Self, StoreError> {
        let (epoch, seq, hash, backed_up): (String, i64, Vec<u8>, i64) =
            sqlx::query_as("select epoch, seq, hash, backed_up from logbook_head").fetch_one(conn).await?;
        Ok(Self { epoch, seq, hash: digest_of(&hash, "logbook_head", "1")?, backed_up })
    }
}

/// Where a stored record stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Its number in the logbook.
    pub seq: i64,
    /// When it was received.
    pub received: Millis,
}

/// A record with its place.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Where it stands.
    pub place: Place,
    /// What it says.
    pub record: Record,
}

/// A row as the database gave it: reading it is work that another core can do.
#[derive(Debug)]
pub struct Unread(SqliteRow);

impl Unread {
    /// Reads it, without copying what it holds.
    ///
    /// # Errors
    /// When a column holds something else than this program writes there.
    pub fn read(&self) -> Result<Row<'_>, StoreError> {
        Ok(Row::from_row(&self.0)?)
    }
}

/// A row as it is stored, for proving the chain.
#[derive(Debug, Clone, Copy, sqlx::FromRow)]
pub struct Row<'r> {
    /// Number.
    pub seq: i64,
    /// Record id.
    pub id: &'r str,
    /// Hash of the bytes.
    pub digest: &'r [u8],
    /// Kind.
    pub kind: &'r str,
    /// Version of the kind.
    pub version: i64,
    /// Tablet.
    pub tablet: &'r str,
    /// The tablet's incarnation.
    pub incarnation: Option<&'r str>,
    /// The tablet's count.
    pub number: Option<i64>,
    /// Event time.
    pub event_at: Millis,
    /// Received time.
    pub received_at: Millis,
    /// Rule table.
    pub rules: Option<&'r str>,
    /// Judge's version.
    pub engine: Option<i64>,
    /// Profile.
    pub profile: Option<&'r str>,
    /// The program that wrote it.
    pub client: &'r str,
    /// The link before.
    pub previous: &'r [u8],
    /// This link.
    pub hash: &'r [u8],
    /// As sent.
    pub bytes: &'r [u8],
}

pub(super) fn digest_of(bytes: &[u8], table: &'static str, row: &str) -> Result<Digest, StoreError> {
    bytes.try_into().map(Digest).map_err(|_| unreadable(table, row, &"a hash has 32 bytes"))
}

impl Write {
    /// Appends a record to the logbook. The caller has made sure that it is not there yet.
    pub fn append(&mut self, record: &Record, bytes: &[u8], received: Millis) -> Place {
        let e = &record.envelope;
        let seq = self.head.seq + 1;
        let previous = self.head.hash;
        let hash = link(&previous, u64::try_from(seq).unwrap_or(0), received, &e.tablet, bytes);
        let check = match &record.body {
            Body::Field(Field::Check(c)) => Some(c),
            _ => None,
        };
        self.later(
            "insert into logbook (seq, id, digest, kind, version, tablet, incarnation, number, event_at,
                                  received_at, rules, engine, profile, client, previous, hash, bytes)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(seq)
        .bind(e.id.hyphenated().to_string())
        .bind(&record.name.digest.0[..])
        .bind(&e.kind)
        .bind(i64::from(e.v))
        .bind(&e.tablet)
        .bind(e.incarnation.map(|i| i.hyphenated().to_string()))
        .bind(e.number.map(|n| i64::try_from(n).unwrap_or(i64::MAX)))
        .bind(e.time())
        .bind(received)
        .bind(check.map(|c| c.rules.to_string()))
        .bind(check.map(|c| i64::from(c.engine)))
        .bind(check.map(|c| c.profile.as_str()))
        .bind(&e.client)
        .bind(&previous.0[..])
        .bind(&hash.0[..])
        .bind(bytes);
        self.head.seq = seq;
        self.head.hash = hash;
        Place { seq, received }
    }

    /// All records with this id.
    pub async fn variants(&mut self, id: Uuid) -> Result<Vec<Kept>, StoreError> {
        variants(self.conn().await?, id).await
    }

    /// A check by its name.
    pub async fn check_record(&mut self, name: &RecordRef) -> Result<Option<Kept>, StoreError> {
        by_digest(self.conn().await?, &name.digest).await.map(|k| k.filter(|k| k.record.name == *name))
    }

    /// The end of the chain, with what this transaction has added.
    pub fn head(&self) -> &Head {
        &self.head
    }
}

pub(super) async fn variants(conn: &mut SqliteConnection, id: Uuid) -> Result<Vec<Kept>, StoreError> {
    let rows: Vec<(i64, Millis, Vec<u8>)> =
        sqlx::query_as("select seq, received_at, bytes from logbook where id = $1 order by digest")
            .bind(id.hyphenated().to_string())
            .fetch_all(conn)
            .await?;
    rows.into_iter().map(kept).collect()
}

pub(super) async fn by_seq(conn: &mut SqliteConnection, seq: i64) -> Result<Option<Kept>, StoreError> {
    let row: Option<(i64, Millis, Vec<u8>)> =
        sqlx::query_as("select seq, received_at, bytes from logbook where seq = $1")
            .bind(seq)
            .fetch_optional(conn)
            .await?;
    row.map(kept).transpose()
}

/// The records of these numbers, in their order.
pub(super) async fn all_by_seq(
    conn: &mut SqliteConnection,
    seqs: impl IntoIterator<Item = i64>,
) -> Result<Vec<Kept>, StoreError> {
    let mut out = Vec::new();
    for seq in seqs {
        out.extend(by_seq(conn, seq).await?);
    }
    Ok(out)
}

pub(super) async fn by_digest(
    conn: &mut SqliteConnection,
    digest: &Digest,
) -> Result<Option<Kept>, StoreError> {
    // Only checks are looked up by hash alone; their rows have an index for it.
    let row: Option<(i64, Millis, Vec<u8>)> = sqlx::query_as(
        "select l.seq, l.received_at, l.bytes from check_row c join logbook l on l.seq = c.seq where c.digest = $1",
    )
    .bind(&digest.0[..])
    .fetch_optional(conn)
    .await?;
    row.map(kept).transpose()
}

pub(super) fn kept((seq, received, bytes): (i64, Millis, Vec<u8>)) -> Result<Kept, StoreError> {
    let record = decode(&bytes).map_err(|e| undecodable(seq, &e))?;
    Ok(Kept { place: Place { seq, received }, record })
}

impl Store {
    /// The end of the chain.
    pub async fn head(&self) -> Result<Head, StoreError> {
        let mut conn = self.read.acquire().await?;
        Head::read(&mut conn).await
    }

    /// Rows after `seq`, in order, at most `count`.
    pub async fn rows_after(&self, seq: i64, count: i64) -> Result<Vec<Unread>, StoreError> {
        Ok(sqlx::query(
            "select seq, id, digest, kind, version, tablet, incarnation, number, event_at, received_at,
                    rules, engine, profile, client, previous, hash, bytes
             from logbook where seq > $1 order by seq limit $2",
        )
        .bind(seq)
        .bind(count)
        .try_map(|row| Ok(Unread(row)))
        .fetch_all(&self.read)
        .await?)
    }

    /// All records with this id.
    pub async fn variants(&self, id: Uuid) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        variants(&mut conn, id).await
    }

    /// A record by its number.
    pub async fn record(&self, seq: i64) -> Result<Option<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        by_seq(&mut conn, seq).await
    }

    /// The link of a record, for showing it.
    pub async fn hash_of(&self, seq: i64) -> Result<Option<Digest>, StoreError> {
        let hash: Option<Vec<u8>> = sqlx::query_scalar("select hash from logbook where seq = $1")
            .bind(seq)
            .fetch_optional(&self.read)
            .await?;
        hash.map(|h| digest_of(&h, "logbook", &seq.to_string())).transpose()
    }

    /// Records about an asset, newest first by event time, at most `count`.
    pub async fn about(&self, asset: &str, count: i64) -> Result<Vec<Kept>, StoreError> {
        let rows: Vec<(i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select l.seq, l.received_at, l.bytes from about a join logbook l on l.seq = a.seq
             where a.asset = $1 order by l.event_at desc, l.seq desc limit $2",
        )
        .bind(asset)
        .bind(count)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(kept).collect()
    }
}
