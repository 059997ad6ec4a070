//! Tickets: repair jobs, and what happened on them.

use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, Desk, Record, Stage};
use airmuster_domain::standing::SLACK;

use super::error::{StoreError, unreadable};
use super::logbook::{self, Kept, Place};
use super::open::{Store, Write};

/// A ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ticket {
    /// Counted from 1.
    pub ticket: u64,
    /// What is to be repaired.
    pub asset: Asset,
    /// When it was opened.
    pub opened_at: Millis,
    /// Where it stands.
    pub stage: Stage,
    /// Since when.
    pub stage_at: Millis,
}

type Row = (i64, String, Millis, String, Millis);

fn ticket((ticket, asset, opened_at, stage, stage_at): Row) -> Result<Ticket, StoreError> {
    let row = ticket.to_string();
    let stage = Stage::ALL
        .into_iter()
        .find(|s| s.id() == stage)
        .ok_or_else(|| unreadable("ticket", &row, &"its stage is not known"))?;
    Ok(Ticket {
        ticket: u64::try_from(ticket).unwrap_or(0),
        asset: asset.parse().map_err(|e| unreadable("ticket", &row, &e))?,
        opened_at,
        stage,
        stage_at,
    })
}

fn number(ticket: u64) -> i64 {
    i64::try_from(ticket).unwrap_or(i64::MAX)
}

impl Write {
    /// The open ticket of an asset.
    pub async fn open_ticket(&mut self, asset: &Asset) -> Result<Option<Ticket>, StoreError> {
        let row: Option<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at from ticket
             where asset = $1 and stage not in ('returned', 'retired') order by ticket desc limit 1",
        )
        .bind(asset.to_string())
        .fetch_optional(&mut *self.tx)
        .await?;
        row.map(ticket).transpose()
    }

    /// A ticket.
    pub async fn ticket(&mut self, ticket_: u64) -> Result<Option<Ticket>, StoreError> {
        let row: Option<Row> =
            sqlx::query_as("select ticket, asset, opened_at, stage, stage_at from ticket where ticket = $1")
                .bind(number(ticket_))
                .fetch_optional(&mut *self.tx)
                .await?;
        row.map(ticket).transpose()
    }

    /// The number that the next ticket gets.
    pub async fn next_ticket(&mut self) -> Result<u64, StoreError> {
        let n: i64 = sqlx::query_scalar("select coalesce(max(ticket), 0) + 1 from ticket")
            .fetch_one(&mut *self.tx)
            .await?;
        Ok(u64::try_from(n).unwrap_or(1))
    }

    /// Keeps tickets up to date with a desk record.
    pub(super) async fn write_ticket(
        &mut self,
        desk: &Desk,
        record: &Record,
        place: Place,
    ) -> Result<(), StoreError> {
        let at = record.envelope.time();
        match desk {
            Desk::TicketOpened(t) => {
                sqlx::query("insert into ticket (ticket, asset, opened_at, stage, stage_at) values ($1, $2, $3, $4, $3)")
                    .bind(number(t.ticket))
                    .bind(t.asset.to_string())
                    .bind(at)
                    .bind(Stage::Reported.id())
                    .execute(&mut *self.tx)
                    .await?;
                self.note(t.ticket, place.seq).await
            }
            Desk::TicketStage(t) => {
                self.set_stage(t.ticket, t.stage, at).await?;
                self.note(t.ticket, place.seq).await
            }
            Desk::Worked(w) => self.note(w.ticket, place.seq).await,
            Desk::Return(r) => {
                let Some(t) = self.open_ticket(&r.asset).await? else { return Ok(()) };
                self.note(t.ticket, place.seq).await?;
                // Whatever the return did not list keeps the job open.
                let open = self.open_grounds(&r.asset, at.saturating_add(SLACK)).await?;
                if open.iter().all(|g| !g.kind.terms().bench) {
                    self.set_stage(t.ticket, Stage::Returned, at).await?;
                }
                Ok(())
            }
            Desk::Retired(r) | Desk::Condemned(r) => {
                let Some(t) = self.open_ticket(&r.asset).await? else { return Ok(()) };
                self.note(t.ticket, place.seq).await?;
                self.set_stage(t.ticket, Stage::Retired, at).await
            }
            _ => Ok(()),
        }
    }

    async fn set_stage(&mut self, ticket: u64, stage: Stage, at: Millis) -> Result<(), StoreError> {
        sqlx::query("update ticket set stage = $1, stage_at = $2 where ticket = $3")
            .bind(stage.id())
            .bind(at)
            .bind(number(ticket))
            .execute(&mut *self.tx)
            .await?;
        Ok(())
    }

    async fn note(&mut self, ticket: u64, seq: i64) -> Result<(), StoreError> {
        sqlx::query("insert into ticket_entry (ticket, seq) values ($1, $2) on conflict do nothing")
            .bind(number(ticket))
            .bind(seq)
            .execute(&mut *self.tx)
            .await?;
        Ok(())
    }
}

impl Store {
    /// All returns to service, in the order in which they happened.
    pub async fn returns(&self) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from logbook where kind = 'return' order by event_at, seq")
                .fetch_all(&mut *conn)
                .await?;
        let mut out = Vec::with_capacity(seqs.len());
        for seq in seqs {
            out.extend(logbook::by_seq(&mut conn, seq).await?);
        }
        Ok(out)
    }

    /// All tickets there ever were.
    pub async fn tickets(&self) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> =
            sqlx::query_as("select ticket, asset, opened_at, stage, stage_at from ticket order by ticket")
                .fetch_all(&self.read)
                .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// All open tickets.
    pub async fn open_tickets(&self) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at from ticket
             where stage not in ('returned', 'retired') order by ticket",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// The tickets of an asset, newest first.
    pub async fn tickets_of(&self, asset: &Asset) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at from ticket where asset = $1 order by ticket desc",
        )
        .bind(asset.to_string())
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// A ticket.
    pub async fn ticket(&self, ticket_: u64) -> Result<Option<Ticket>, StoreError> {
        let row: Option<Row> =
            sqlx::query_as("select ticket, asset, opened_at, stage, stage_at from ticket where ticket = $1")
                .bind(number(ticket_))
                .fetch_optional(&self.read)
                .await?;
        row.map(ticket).transpose()
    }

    /// What happened on a ticket, oldest first.
    pub async fn ticket_entries(&self, ticket: u64) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from ticket_entry where ticket = $1 order by seq")
                .bind(number(ticket))
                .fetch_all(&mut *conn)
                .await?;
        let mut out = Vec::with_capacity(seqs.len());
        for seq in seqs {
            out.extend(logbook::by_seq(&mut conn, seq).await?);
        }
        Ok(out)
    }
}
