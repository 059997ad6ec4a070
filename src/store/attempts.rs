//! Wrong PINs, by member and tablet: outside the logbook, kept over restarts.

use airmuster_domain::Millis;

use super::error::StoreError;
use super::open::Store;
use super::write::Write;

/// Names in nobody's register for which wrong PINs are counted at most; they are a day old at most.
const STRANGERS: i64 = 1000;
const DAY: Millis = 24 * 3600 * 1000;

/// Wrong PINs since the last right one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Failures {
    /// How many.
    pub count: i64,
    /// When the last one was given.
    pub last: Millis,
}

/// Wrong PINs as they concern one try.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tried {
    /// Of this member, wherever.
    pub member: Failures,
    /// On this tablet, whoever's.
    pub tablet: Failures,
    /// Whether there are any of this member on this tablet.
    pub any: bool,
}

/// Whose tries have been stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// The member's id, or the tablet's name.
    pub name: String,
    /// How many wrong PINs.
    pub count: i64,
    /// When the last one was given.
    pub last: Millis,
}

impl Store {
    /// Wrong PINs of a member and on a tablet, on pages or with seals.
    pub async fn tried(&self, member: &str, tablet: &str, sealed: bool) -> Result<Tried, StoreError> {
        let mut conn = self.read.acquire().await?;
        tried(&mut conn, member, tablet, sealed).await
    }

    /// Members whose tries have been stopped, by this many wrong PINs of one kind.
    pub async fn stopped_members(&self, most: i64) -> Result<Vec<Stopped>, StoreError> {
        let rows: Vec<(String, i64, Millis)> = sqlx::query_as(
            "select member, max(n), max(t) from
               (select f.member, sum(failures) n, max(last_at) t from pin_failure f
                join person p on p.member = f.member group by f.member, sealed)
             group by member having max(n) >= $1 order by member",
        )
        .bind(most)
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(stopped).collect())
    }

    /// Tablets on which tries have been stopped.
    pub async fn stopped_tablets(&self, most: i64) -> Result<Vec<Stopped>, StoreError> {
        let rows: Vec<(String, i64, Millis)> = sqlx::query_as(
            "select tablet, max(n), max(t) from
               (select tablet, sum(failures) n, max(last_at) t from pin_failure
                where tablet <> '' group by tablet, sealed)
             group by tablet having max(n) >= $1 order by tablet",
        )
        .bind(most)
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(stopped).collect())
    }
}

fn stopped((name, count, last): (String, i64, Millis)) -> Stopped {
    Stopped { name, count, last }
}

impl Write {
    /// Counts a wrong PIN, and answers how many there are now.
    pub async fn note_failure(
        &mut self,
        member: &str,
        tablet: &str,
        sealed: bool,
        now: Millis,
    ) -> Result<Tried, StoreError> {
        // Names that nobody has must not fill the disk.
        sqlx::query(
            "delete from pin_failure where last_at < $1 and member not in (select member from person)",
        )
        .bind(now - DAY)
        .execute(self.conn().await?)
        .await?;
        sqlx::query(
            "insert into pin_failure (member, tablet, sealed, failures, last_at)
             select $1, $2, $3, 1, $4
             where exists (select 1 from person where member = $1)
                or (select count(*) from pin_failure
                    where member not in (select member from person)) < $5
             on conflict (member, tablet, sealed)
             do update set failures = pin_failure.failures + 1, last_at = excluded.last_at",
        )
        .bind(member)
        .bind(tablet)
        .bind(sealed)
        .bind(now)
        .bind(STRANGERS)
        .execute(self.conn().await?)
        .await?;
        tried(self.conn().await?, member, tablet, sealed).await
    }

    /// Forgets a member's wrong PINs on a tablet, where the right one was given since.
    pub async fn forget_failures(&mut self, member: &str, tablet: &str) -> Result<(), StoreError> {
        sqlx::query("delete from pin_failure where member = $1 and tablet = $2")
            .bind(member)
            .bind(tablet)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Forgets all wrong PINs of a member, or on a tablet.
    pub async fn allow_again(
        &mut self,
        member: Option<&str>,
        tablet: Option<&str>,
    ) -> Result<(), StoreError> {
        sqlx::query("delete from pin_failure where member = $1 or tablet = $2")
            .bind(member)
            .bind(tablet)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }
}

async fn tried(
    conn: &mut sqlx::SqliteConnection,
    member: &str,
    tablet: &str,
    sealed: bool,
) -> Result<Tried, StoreError> {
    let (m, m_last, t, t_last, any): (i64, Millis, i64, Millis, bool) = sqlx::query_as(
        "select coalesce(sum(case when member = $1 and sealed = $3 then failures end), 0),
                coalesce(max(case when member = $1 and sealed = $3 then last_at end), 0),
                coalesce(sum(case when tablet = $2 and sealed = $3 then failures end), 0),
                coalesce(max(case when tablet = $2 and sealed = $3 then last_at end), 0),
                coalesce(max(member = $1 and tablet = $2), 0)
         from pin_failure where member = $1 or tablet = $2",
    )
    .bind(member)
    .bind(tablet)
    .bind(sealed)
    .fetch_one(conn)
    .await?;
    let of = |count, last| Failures { count, last };
    // What has no name is not one tablet.
    let tablet = if tablet.is_empty() { Failures::default() } else { of(t, t_last) };
    Ok(Tried { member: of(m, m_last), tablet, any })
}
