//! Tickets: repair jobs, and what happened on them.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::desk::{Facts, Other};
use airmuster_domain::ground::{Kind, Raise};
use airmuster_domain::record::{Asset, Desk, Record, Sent, Stage, TicketStage};
use airmuster_domain::standing::SLACK;
use uuid::Uuid;

use super::error::{StoreError, unreadable};
use super::logbook::{self, Kept, Place};
use super::open::Store;
use super::write::Write;

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
    /// The ticket that it is worked on under.
    pub under: Option<u64>,
    /// To whom it was sent, while it is there.
    pub sent: Option<Sent>,
}

/// The same thing found on the same thing again and again.
#[derive(Debug, Clone)]
pub struct Repeated {
    /// How often.
    pub times: usize,
    /// The last time.
    pub last: Raise,
    /// Nobody has said that it was read.
    pub unread: bool,
    /// Where the last record is in the logbook.
    pub seq: Option<i64>,
}

/// From so many times on it goes to the administrator.
const THIRD: usize = 3;

type Row = (i64, String, Millis, String, Millis, Option<i64>, Option<String>);

fn ticket((ticket, asset, opened_at, stage, stage_at, under, sent): Row) -> Result<Ticket, StoreError> {
    let row = ticket.to_string();
    let sent = sent.as_deref().map(serde_json::from_str).transpose();
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
        under: under.and_then(|n| u64::try_from(n).ok()),
        sent: sent.map_err(|e| unreadable("ticket", &row, &e))?,
    })
}

fn number(ticket: u64) -> i64 {
    i64::try_from(ticket).unwrap_or(i64::MAX)
}

impl Write {
    /// The open tickets of an asset, the first first.
    pub async fn open_tickets(&mut self, asset: &Asset) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket
             where asset = $1 and stage not in ('returned', 'retired') order by ticket",
        )
        .bind(asset.to_string())
        .fetch_all(self.conn().await?)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// Which of these grounds of an asset are whose: its first open ticket has all that were given to
    /// no other open one.
    async fn shared(
        &mut self,
        asset: &Asset,
        grounds: Vec<Raise>,
    ) -> Result<Vec<(Ticket, Vec<Raise>)>, StoreError> {
        let mut out: Vec<(Ticket, Vec<Raise>)> =
            self.open_tickets(asset).await?.into_iter().map(|t| (t, Vec::new())).collect();
        let given: Vec<(String, i64)> =
            sqlx::query_as("select key, ticket from ticket_ground where asset = $1")
                .bind(asset.to_string())
                .fetch_all(self.conn().await?)
                .await?;
        for raise in grounds {
            let own = given.iter().find(|(key, _)| *key == raise.key).map(|(_, n)| *n);
            let at = out.iter().position(|(t, _)| own == Some(number(t.ticket))).unwrap_or(0);
            if let Some((_, of)) = out.get_mut(at) {
                of.push(raise);
            }
        }
        Ok(out)
    }

    /// What deciding about a ticket needs.
    pub async fn gather_ticket(
        &mut self,
        desk: &Desk,
        facts: &mut Facts,
        now: Millis,
    ) -> Result<Option<Asset>, StoreError> {
        let about = match desk {
            Desk::TicketStage(t) => t.ticket,
            Desk::Worked(w) => w.ticket,
            Desk::TicketJoined(t) => t.ticket,
            Desk::TicketApart(t) => t.ticket,
            Desk::TicketSplit(t) => t.ticket,
            _ => return Ok(None),
        };
        let Some(ticket) = self.ticket(about).await? else { return Ok(None) };
        facts.stage = Some(ticket.stage);
        facts.under = ticket.under;
        if let Desk::TicketJoined(t) = desk {
            facts.has_joined = sqlx::query_scalar("select exists (select 1 from ticket where under = $1)")
                .bind(number(t.ticket))
                .fetch_one(self.conn().await?)
                .await?;
            facts.other = match self.ticket(t.under).await? {
                Some(o) => {
                    let open = self.open_grounds(&o.asset, now).await?;
                    let held = open.iter().any(|g| g.kind == Kind::Held)
                        || self.held_with(&o.asset, now).await?.is_some();
                    Some(Other { stage: Some(o.stage), under: o.under, held })
                }
                None => None,
            };
        }
        if let Desk::TicketStage(TicketStage { sent: Some(sent), .. }) = desk {
            let loaner = Asset::unit(sent.loaner.trim());
            let rides: bool =
                sqlx::query_scalar("select exists (select 1 from holder where asset = $1 and at = 'seat')")
                    .bind(loaner.to_string())
                    .fetch_one(self.conn().await?)
                    .await?;
            // One that was borrowed stands where it is used.
            let ours = rides && self.thing(&loaner).await?.is_none_or(|t| t.owner.is_empty());
            facts.our_loaner = ours.then_some(loaner.number);
        }
        if let Desk::TicketSplit(_) = desk {
            facts.next_ticket = self.next_ticket().await?;
            let open = self.open_grounds(&ticket.asset, now).await?;
            let open = open.into_iter().filter(|g| g.kind.terms().bench).collect();
            let own = self.shared(&ticket.asset, open).await?.into_iter().find(|(t, _)| t.ticket == about);
            facts.on_ticket = own.into_iter().flat_map(|(_, of)| of).map(|g| g.key).collect();
        }
        Ok(Some(ticket.asset))
    }

    /// A ticket.
    pub async fn ticket(&mut self, ticket_: u64) -> Result<Option<Ticket>, StoreError> {
        let row: Option<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket where ticket = $1",
        )
        .bind(number(ticket_))
        .fetch_optional(self.conn().await?)
        .await?;
        row.map(ticket).transpose()
    }

    /// The number that the next ticket gets.
    pub async fn next_ticket(&mut self) -> Result<u64, StoreError> {
        let n: i64 = sqlx::query_scalar("select coalesce(max(ticket), 0) + 1 from ticket")
            .fetch_one(self.conn().await?)
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
                self.insert_ticket(t.ticket, &t.asset, at).await?;
                self.note(t.ticket, place.seq).await
            }
            Desk::TicketStage(t) => {
                self.set_stage(t.ticket, t.stage, t.sent.as_ref(), at).await?;
                self.note(t.ticket, place.seq).await?;
                for joined in self.joined_to(t.ticket).await? {
                    self.set_stage(joined, t.stage, t.sent.as_ref(), at).await?;
                    self.note(joined, place.seq).await?;
                }
                Ok(())
            }
            Desk::TicketJoined(t) => {
                let lead = self.ticket(t.under).await?;
                self.set_under(t.ticket, Some(t.under)).await?;
                if let Some(lead) = lead {
                    self.set_stage(t.ticket, lead.stage, lead.sent.as_ref(), at).await?;
                }
                self.note(t.ticket, place.seq).await?;
                self.note(t.under, place.seq).await
            }
            Desk::TicketApart(t) => {
                if let Some(under) = self.ticket(t.ticket).await?.and_then(|t| t.under) {
                    self.note(under, place.seq).await?;
                }
                self.set_under(t.ticket, None).await?;
                self.note(t.ticket, place.seq).await
            }
            Desk::TicketSplit(t) => {
                let Some(from) = self.ticket(t.ticket).await? else { return Ok(()) };
                self.insert_ticket(t.into, &from.asset, at).await?;
                for key in &t.grounds {
                    sqlx::query(
                        "insert into ticket_ground (asset, key, ticket) values ($1, $2, $3)
                         on conflict (asset, key) do update set ticket = excluded.ticket",
                    )
                    .bind(from.asset.to_string())
                    .bind(key)
                    .bind(number(t.into))
                    .execute(self.conn().await?)
                    .await?;
                }
                self.note(t.ticket, place.seq).await?;
                self.note(t.into, place.seq).await
            }
            Desk::Worked(w) => self.note(w.ticket, place.seq).await,
            Desk::Fitting(f) if !f.was_there => {
                for t in self.open_tickets(&Asset::unit(&f.unit)).await? {
                    self.note(t.ticket, place.seq).await?;
                }
                Ok(())
            }
            Desk::Return(r) => {
                let open = self.open_grounds(&r.asset, at.saturating_add(SLACK)).await?;
                let open = open.into_iter().filter(|g| g.kind.terms().bench).collect();
                // Whatever the return did not list keeps its job open.
                for (t, left) in self.shared(&r.asset, open).await? {
                    self.note(t.ticket, place.seq).await?;
                    if left.is_empty() {
                        self.close(t.ticket, Stage::Returned, at).await?;
                    }
                }
                Ok(())
            }
            Desk::Retired(r) | Desk::Condemned(r) => {
                for t in self.open_tickets(&r.asset).await? {
                    self.note(t.ticket, place.seq).await?;
                    self.close(t.ticket, Stage::Retired, at).await?;
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    async fn insert_ticket(&mut self, ticket: u64, asset: &Asset, at: Millis) -> Result<(), StoreError> {
        sqlx::query(
            "insert into ticket (ticket, asset, opened_at, stage, stage_at) values ($1, $2, $3, $4, $3)",
        )
        .bind(number(ticket))
        .bind(asset.to_string())
        .bind(at)
        .bind(Stage::Reported.id())
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    async fn joined_to(&mut self, ticket: u64) -> Result<Vec<u64>, StoreError> {
        let rows: Vec<i64> = sqlx::query_scalar("select ticket from ticket where under = $1 order by ticket")
            .bind(number(ticket))
            .fetch_all(self.conn().await?)
            .await?;
        Ok(rows.into_iter().filter_map(|n| u64::try_from(n).ok()).collect())
    }

    async fn set_under(&mut self, ticket: u64, under: Option<u64>) -> Result<(), StoreError> {
        sqlx::query("update ticket set under = $1 where ticket = $2")
            .bind(under.map(number))
            .bind(number(ticket))
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// A closed ticket is worked on under no other, and no other under it.
    async fn close(&mut self, ticket: u64, stage: Stage, at: Millis) -> Result<(), StoreError> {
        for joined in self.joined_to(ticket).await? {
            self.set_under(joined, None).await?;
        }
        self.set_under(ticket, None).await?;
        self.set_stage(ticket, stage, None, at).await
    }

    async fn set_stage(
        &mut self,
        ticket: u64,
        stage: Stage,
        sent: Option<&Sent>,
        at: Millis,
    ) -> Result<(), StoreError> {
        let sent = sent.map(serde_json::to_string).transpose();
        let sent = sent.map_err(|e| unreadable("ticket", &ticket.to_string(), &e))?;
        sqlx::query("update ticket set stage = $1, stage_at = $2, sent = $3 where ticket = $4")
            .bind(stage.id())
            .bind(at)
            .bind(sent)
            .bind(number(ticket))
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    async fn note(&mut self, ticket: u64, seq: i64) -> Result<(), StoreError> {
        sqlx::query("insert into ticket_entry (ticket, seq) values ($1, $2) on conflict do nothing")
            .bind(number(ticket))
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }
}

impl Store {
    /// Returns to service, of one asset or of all, in the order in which they happened.
    pub async fn returns(&self, of: Option<&Asset>) -> Result<Vec<Kept>, StoreError> {
        let rows: Vec<(i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select seq, received_at, bytes from logbook l
             where kind = 'return' and kind <> 'check'
               and ($1 is null or exists (select 1 from about a where a.asset = $1 and a.seq = l.seq))
             order by event_at, seq",
        )
        .bind(of.map(Asset::to_string))
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(logbook::kept).collect()
    }

    /// All tickets there ever were.
    pub async fn tickets(&self) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket order by ticket",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// All open tickets.
    pub async fn open_tickets(&self) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket
             where stage not in ('returned', 'retired') order by ticket",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// The tickets of an asset, newest first.
    pub async fn tickets_of(&self, asset: &Asset) -> Result<Vec<Ticket>, StoreError> {
        let rows: Vec<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket where asset = $1 order by ticket desc",
        )
        .bind(asset.to_string())
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(ticket).collect()
    }

    /// A ticket.
    pub async fn ticket(&self, ticket_: u64) -> Result<Option<Ticket>, StoreError> {
        let row: Option<Row> = sqlx::query_as(
            "select ticket, asset, opened_at, stage, stage_at, under, sent from ticket where ticket = $1",
        )
        .bind(number(ticket_))
        .fetch_optional(&self.read)
        .await?;
        row.map(ticket).transpose()
    }

    /// Keys of grounds that were given a ticket of their own, with that ticket.
    pub async fn split_off(&self, asset: &Asset) -> Result<Vec<(String, u64)>, StoreError> {
        let rows: Vec<(String, i64)> =
            sqlx::query_as("select key, ticket from ticket_ground where asset = $1 order by key")
                .bind(asset.to_string())
                .fetch_all(&self.read)
                .await?;
        Ok(rows.into_iter().filter_map(|(key, n)| Some((key, u64::try_from(n).ok()?))).collect())
    }

    /// Things that failed at the same step in three runs or more since then, and the newest of those
    /// records where nobody has said that it was read.
    pub async fn repeated(&self, since: Millis) -> Result<Vec<Repeated>, StoreError> {
        let rows: Vec<(String, String)> =
            sqlx::query_as("select key, detail from ground where kind = 'finding'")
                .fetch_all(&self.read)
                .await?;
        let read: BTreeSet<String> = sqlx::query_scalar("select digest from acknowledged")
            .fetch_all(&self.read)
            .await?
            .into_iter()
            .collect();
        let mut by_step: BTreeMap<(Asset, String), BTreeMap<Uuid, Raise>> = BTreeMap::new();
        for (key, detail) in rows {
            let raise: Raise = serde_json::from_str(&detail).map_err(|e| unreadable("ground", &key, &e))?;
            if let Some(step) = raise.step.clone().filter(|_| raise.at >= since) {
                // A broken-off part and the check that it belongs to are one finding.
                let run = raise.run.unwrap_or(raise.from.id);
                by_step.entry((raise.asset.clone(), step)).or_default().insert(run, raise);
            }
        }
        let mut out = Vec::new();
        for runs in by_step.into_values().filter(|runs| runs.len() >= THIRD) {
            let times = runs.len();
            let Some(last) = runs.into_values().max_by_key(|r| (r.at, r.from)) else { continue };
            let unread = !read.contains(&last.from.digest.to_string());
            let seq = self.seq_of(&last.from).await?;
            out.push(Repeated { times, last, unread, seq });
        }
        out.sort_by_key(|r| std::cmp::Reverse(r.last.at));
        Ok(out)
    }

    /// What happened on a ticket, oldest first.
    pub async fn ticket_entries(&self, ticket: u64) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from ticket_entry where ticket = $1 order by seq")
                .bind(number(ticket))
                .fetch_all(&mut *conn)
                .await?;
        logbook::all_by_seq(&mut conn, seqs).await
    }
}
