//! What is to be known before a record is taken in, asked for in one question: a station hands in many at once,
//! and nearly all of them are of the simple kind.

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Field, Record};

use super::error::StoreError;
use super::logbook::Place;
use super::tablets::{self, TabletRow};
use super::write::Write;

/// What the database knows that bears on a record.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "answers to several questions")]
pub struct Beforehand {
    /// Where the record stands, if it is there already.
    pub place: Option<Place>,
    /// Whether there is any record with its id.
    pub has_variants: bool,
    /// Whether a part of the same check has taken something out of service.
    pub has_parts: bool,
    /// The tablet that it names, if one was enrolled under that name.
    pub tablet: Option<TabletRow>,
    /// Whether another rule table was put in force after the one that a check names.
    pub has_newer_rules: bool,
    /// Whether a crew's good check waits for an officer's countersignature.
    pub countersigning: bool,
}

#[derive(sqlx::FromRow)]
#[expect(clippy::struct_excessive_bools, reason = "answers to several questions")]
struct Row {
    seq: Option<i64>,
    received: Option<Millis>,
    variants: bool,
    parts: bool,
    newer: bool,
    countersigning: bool,
    #[sqlx(flatten)]
    tablet: tablets::Columns,
}

const ASK: &str = "select
    (select seq from logbook where id = ? and digest = ?) as seq,
    (select received_at from logbook where id = ? and digest = ?) as received,
    exists (select 1 from logbook where id = ?) as variants,
    exists (select 1 from ground where run = ?) as parts,
    exists (select 1 from rule_table where seq > coalesce((select seq from rule_table where digest = ?), 0)) as newer,
    coalesce((select required from countersigning), 0) as countersigning,
    t.id, t.name, t.station, t.public_key, t.enrolled_at, t.enrolled_by, t.revoked_at,
    t.trusted_incarnation, t.trusted_number, a.seen_at, a.holding, a.oldest_at, a.incarnation, a.number
    from (select 1) left join tablet t on t.id = ? left join tablet_access a on a.tablet = t.id";

impl Write {
    /// Asks.
    pub async fn beforehand(&mut self, record: &Record) -> Result<Beforehand, StoreError> {
        let id = record.name.id.hyphenated().to_string();
        let rules = match &record.body {
            Body::Field(Field::Check(c)) => Some(c.rules.to_string()),
            _ => None,
        };
        let row: Row = self
            .ask(ASK, |q| {
                q.bind(&*id).bind(&record.name.digest.0[..]).bind(&*id).bind(&record.name.digest.0[..]);
                q.bind(&*id).bind(&*id).bind(rules).bind(&record.envelope.tablet);
            })
            .await?;
        Ok(Beforehand {
            place: row.seq.zip(row.received).map(|(seq, received)| Place { seq, received }),
            has_variants: row.variants,
            has_parts: row.parts,
            tablet: tablets::tablet(row.tablet)?,
            has_newer_rules: row.newer,
            countersigning: row.countersigning,
        })
    }
}
