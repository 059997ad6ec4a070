//! Names, PINs and sign-ins: outside the logbook, because they can be changed and erased.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use airmuster_domain::Millis;
use airmuster_domain::desk::Signer;

use super::error::StoreError;
use super::open::Store;
use super::register::signer_of;
use super::write::Write;

/// How long the PIN before the one in force proves what was signed with no network.
const PREVIOUS: Millis = 30 * 24 * 3600 * 1000;

/// A member by name.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Person {
    /// The id that records name.
    pub member: String,
    /// What the member is called.
    pub name: String,
}

/// A signed-in member.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Who, and with which roles.
    pub member: Signer,
    /// What the member is called; the id, where no name is kept.
    pub name: String,
    /// Since when.
    pub began_at: Millis,
    /// When it was last used.
    pub used_at: Millis,
}

/// Sessions that were looked up since something was written, by their tokens' hashes.
#[derive(Debug, Default)]
struct Sessions(Mutex<HashMap<[u8; 32], Session>>);

impl Sessions {
    fn all(&self) -> MutexGuard<'_, HashMap<[u8; 32], Session>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The hashes of the PINs that a member has, PHC strings.
#[derive(Debug, Clone, Default, PartialEq, Eq, sqlx::FromRow)]
pub struct PinHashes {
    /// The one in force.
    pub pin_hash: Option<String>,
    /// The one before, while it proves what was signed with no network.
    pub previous_hash: Option<String>,
}

impl Write {
    /// Names a member and, given its hash and the time, sets the PIN. The PIN before it is kept for
    /// a while, wrong ones are forgotten, and the member's sessions end.
    pub async fn set_person(
        &mut self,
        member: &str,
        name: &str,
        pin: Option<(&str, Millis)>,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into person (member, name, pin_hash) values ($1, $2, $3)
             on conflict (member) do update set name = excluded.name,
                 pin_hash = coalesce(excluded.pin_hash, person.pin_hash),
                 previous_hash = case when excluded.pin_hash is null then person.previous_hash else person.pin_hash end,
                 previous_until = case when excluded.pin_hash is null then person.previous_until else $4 end",
        )
        .bind(member)
        .bind(name)
        .bind(pin.map(|(hash, _)| hash))
        .bind(pin.map(|(_, now)| now.saturating_add(PREVIOUS)))
        .execute(self.conn().await?)
        .await?;
        if pin.is_some() {
            sqlx::query("delete from session where member = $1")
                .bind(member)
                .execute(self.conn().await?)
                .await?;
            self.allow_again(Some(member), None).await?;
        }
        Ok(())
    }

    /// Forgets PINs that prove nothing any more.
    pub async fn forget_previous_pins(&mut self, now: Millis) -> Result<(), StoreError> {
        sqlx::query(
            "update person set previous_hash = null, previous_until = null where previous_until <= $1",
        )
        .bind(now)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Erases everything personal that is kept of a member; the id in the register stays.
    pub async fn erase_person(&mut self, member: &str) -> Result<(), StoreError> {
        for sql in [
            "delete from session where member = $1",
            "delete from pin_failure where member = $1",
            "update seal set bytes = null, outcome = 'let-go', told = 1
             where bytes is not null and seq in (select seq from check_row where by = $1)",
            "delete from person where member = $1",
        ] {
            sqlx::query(sql).bind(member).execute(self.conn().await?).await?;
        }
        self.erase_fitness(member).await
    }

    /// Begins a session. Only the token's hash is kept.
    pub async fn begin_session(
        &mut self,
        token_hash: &[u8; 32],
        member: &str,
        now: Millis,
    ) -> Result<(), StoreError> {
        sqlx::query("insert into session (token_hash, member, began_at, used_at) values ($1, $2, $3, $3)")
            .bind(&token_hash[..])
            .bind(member)
            .bind(now)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    async fn use_session(&mut self, token_hash: &[u8; 32], now: Millis) -> Result<(), StoreError> {
        sqlx::query("update session set used_at = $1 where token_hash = $2")
            .bind(now)
            .bind(&token_hash[..])
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Ends a session.
    pub async fn end_session(&mut self, token_hash: &[u8; 32]) -> Result<(), StoreError> {
        sqlx::query("delete from session where token_hash = $1")
            .bind(&token_hash[..])
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }
}

impl Store {
    /// Everyone with a name, by name.
    pub async fn people(&self) -> Result<Vec<Person>, StoreError> {
        Ok(sqlx::query_as("select member, name from person order by name, member")
            .fetch_all(&self.read)
            .await?)
    }

    /// Whether there is anybody who can sign in.
    pub async fn has_somebody(&self) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar("select exists (select 1 from person where pin_hash is not null)")
            .fetch_one(&self.read)
            .await?)
    }

    /// Names by member id.
    pub async fn names(&self) -> Result<HashMap<String, String>, StoreError> {
        Ok(self.people().await?.into_iter().map(|p| (p.member, p.name)).collect())
    }

    /// The hash of a member's PIN.
    pub async fn pin_hash(&self, member: &str) -> Result<Option<String>, StoreError> {
        let hash: Option<Option<String>> =
            sqlx::query_scalar("select pin_hash from person where member = $1")
                .bind(member)
                .fetch_optional(&self.read)
                .await?;
        Ok(hash.flatten())
    }

    /// The hashes of a member's PINs that prove a signature made with no network.
    pub async fn pin_hashes(&self, member: &str, now: Millis) -> Result<PinHashes, StoreError> {
        let hashes = sqlx::query_as(
            "select pin_hash, case when previous_until > $2 then previous_hash end as previous_hash
             from person where member = $1",
        )
        .bind(member)
        .bind(now)
        .fetch_optional(&self.read)
        .await?;
        Ok(hashes.unwrap_or_default())
    }

    /// Whether there are PINs that prove nothing any more.
    pub async fn has_spent_pins(&self, now: Millis) -> Result<bool, StoreError> {
        let spent = sqlx::query_scalar("select exists (select 1 from person where previous_until <= $1)");
        Ok(spent.bind(now).fetch_one(&self.read).await?)
    }

    /// The session of a member, by its token.
    pub async fn session(&self, now: Millis, token_hash: &[u8; 32]) -> Result<Option<Session>, StoreError> {
        let sessions = self.kept(now, async { Ok(Sessions::default()) }).await?;
        if let Some(known) = sessions.all().get(token_hash) {
            return Ok(Some(known.clone()));
        }
        let read = self.read_session(token_hash).await?;
        if let Some(session) = &read {
            sessions.all().insert(*token_hash, session.clone());
        }
        Ok(read)
    }

    /// Notes that a session was used.
    pub async fn use_session(&self, now: Millis, token_hash: &[u8; 32]) -> Result<(), StoreError> {
        let mut write = self.begin().await?;
        write.use_session(token_hash, now).await?;
        write.commit_aside().await?;
        let sessions = self.kept(now, async { Ok(Sessions::default()) }).await?;
        sessions.all().remove(token_hash);
        Ok(())
    }

    async fn read_session(&self, token_hash: &[u8; 32]) -> Result<Option<Session>, StoreError> {
        let row: Option<(String, String, String, Option<String>, Millis, Millis)> = sqlx::query_as(
            "select m.id, m.roles, m.qualified, p.name, s.began_at, s.used_at
             from session s join member m on m.id = s.member left join person p on p.member = s.member
             where s.token_hash = $1",
        )
        .bind(&token_hash[..])
        .fetch_optional(&self.read)
        .await?;
        let Some((id, roles, qualified, name, began_at, used_at)) = row else { return Ok(None) };
        let name = name.unwrap_or_else(|| id.clone());
        Ok(Some(Session { member: signer_of((id, roles, qualified))?, name, began_at, used_at }))
    }
}
