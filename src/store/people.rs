//! Names, PINs and sign-ins: outside the logbook, because they can be changed and erased.

use std::collections::HashMap;

use airmuster_domain::Millis;

use super::error::StoreError;
use super::open::{Store, Write};

/// A member by name.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Person {
    /// The id that records name.
    pub member: String,
    /// What the member is called.
    pub name: String,
}

/// A signed-in member.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Session {
    /// Who.
    pub member: String,
    /// Since when.
    pub began_at: Millis,
    /// When it was last used.
    pub used_at: Millis,
}

impl Write {
    /// Names a member and sets the hash of the PIN. With a new PIN the member's sessions end.
    pub async fn set_person(
        &mut self,
        member: &str,
        name: &str,
        pin_hash: Option<&str>,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into person (member, name, pin_hash) values ($1, $2, $3)
             on conflict (member) do update set name = excluded.name,
                 pin_hash = coalesce(excluded.pin_hash, person.pin_hash)",
        )
        .bind(member)
        .bind(name)
        .bind(pin_hash)
        .execute(&mut *self.tx)
        .await?;
        if pin_hash.is_some() {
            sqlx::query("delete from session where member = $1").bind(member).execute(&mut *self.tx).await?;
        }
        Ok(())
    }

    /// Erases everything personal that is kept of a member; the id in the register stays.
    pub async fn erase_person(&mut self, member: &str) -> Result<(), StoreError> {
        for sql in ["delete from session where member = $1", "delete from person where member = $1"] {
            sqlx::query(sql).bind(member).execute(&mut *self.tx).await?;
        }
        Ok(())
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
            .execute(&mut *self.tx)
            .await?;
        Ok(())
    }

    /// Notes that a session was used.
    pub async fn use_session(&mut self, token_hash: &[u8; 32], now: Millis) -> Result<(), StoreError> {
        sqlx::query("update session set used_at = $1 where token_hash = $2")
            .bind(now)
            .bind(&token_hash[..])
            .execute(&mut *self.tx)
            .await?;
        Ok(())
    }

    /// Ends a session.
    pub async fn end_session(&mut self, token_hash: &[u8; 32]) -> Result<(), StoreError> {
        sqlx::query("delete from session where token_hash = $1")
            .bind(&token_hash[..])
            .execute(&mut *self.tx)
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

    /// A session by its token.
    pub async fn session(&self, token_hash: &[u8; 32]) -> Result<Option<Session>, StoreError> {
        Ok(sqlx::query_as("select member, began_at, used_at from session where token_hash = $1")
            .bind(&token_hash[..])
            .fetch_optional(&self.read)
            .await?)
    }
}
