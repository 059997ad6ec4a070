//! Tokens with which programs read, and which notices were sent: outside the logbook.

use std::collections::BTreeSet;

use airmuster_domain::Millis;

use super::error::StoreError;
use super::open::Store;
use super::write::Write;

/// A token, without what it is.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct TokenRow {
    /// Counted from 1.
    pub id: i64,
    /// What it is for.
    pub name: String,
    /// Who made it.
    pub made_by: String,
    /// When.
    pub made_at: Millis,
    /// When it was last used, to the minute.
    pub used_at: Option<Millis>,
    /// When it was taken back.
    pub revoked_at: Option<Millis>,
}

impl Write {
    /// Makes a token known by its hash.
    pub async fn add_token(
        &mut self,
        hash: &[u8; 32],
        name: &str,
        by: &str,
        now: Millis,
    ) -> Result<(), StoreError> {
        sqlx::query("insert into api_token (token_hash, name, made_by, made_at) values ($1, $2, $3, $4)")
            .bind(&hash[..])
            .bind(name)
            .bind(by)
            .bind(now)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Notes that a token was used.
    pub async fn use_token(&mut self, id: i64, now: Millis) -> Result<(), StoreError> {
        sqlx::query("update api_token set used_at = $1 where id = $2")
            .bind(now)
            .bind(id)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Takes a token back. Whether there was one to take back.
    pub async fn revoke_token(&mut self, id: i64, now: Millis) -> Result<bool, StoreError> {
        let done = sqlx::query("update api_token set revoked_at = $1 where id = $2 and revoked_at is null")
            .bind(now)
            .bind(id)
            .execute(self.conn().await?)
            .await?;
        Ok(done.rows_affected() > 0)
    }

    /// Notes of which things a notice was sent, and forgets those that hold no longer.
    pub async fn keep_notices(
        &mut self,
        sent: &BTreeSet<String>,
        over: &BTreeSet<String>,
        now: Millis,
    ) -> Result<(), StoreError> {
        for key in sent {
            sqlx::query("insert into notice_sent (key, sent_at) values ($1, $2) on conflict do nothing")
                .bind(key)
                .bind(now)
                .execute(self.conn().await?)
                .await?;
        }
        for key in over {
            sqlx::query("delete from notice_sent where key = $1")
                .bind(key)
                .execute(self.conn().await?)
                .await?;
        }
        Ok(())
    }
}

const TOKEN: &str = "select id, name, made_by, made_at, used_at, revoked_at from api_token";

impl Store {
    /// All tokens, the newest first.
    pub async fn tokens(&self) -> Result<Vec<TokenRow>, StoreError> {
        let mut q = sqlx::QueryBuilder::new(TOKEN);
        q.push(" order by revoked_at is not null, made_at desc, id desc");
        Ok(q.build_query_as().fetch_all(&self.read).await?)
    }

    /// The token of this hash, unless it was taken back.
    pub async fn token(&self, hash: &[u8; 32]) -> Result<Option<TokenRow>, StoreError> {
        let mut q = sqlx::QueryBuilder::new(TOKEN);
        q.push(" where revoked_at is null and token_hash = ").push_bind(&hash[..]);
        Ok(q.build_query_as().fetch_optional(&self.read).await?)
    }

    /// Of which things a notice was sent.
    pub async fn notices_sent(&self) -> Result<BTreeSet<String>, StoreError> {
        let keys: Vec<String> =
            sqlx::query_scalar("select key from notice_sent").fetch_all(&self.read).await?;
        Ok(keys.into_iter().collect())
    }
}
