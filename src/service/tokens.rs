//! Tokens with which programs read. A token is shown once; kept is its hash.

use airmuster_domain::Millis;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};

use crate::clock::Clock;
use crate::store::{Store, StoreError, TokenRow};

/// What a token begins with, so that it is known for what it is wherever it turns up.
pub const PREFIX: &str = "airmuster_";
/// Use is noted at most once in this time.
const NOTED: Millis = 60_000;

/// 256 random bits need no slow hash.
fn hash(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// Makes a token; it can never be shown again.
///
/// # Errors
/// When it cannot be stored.
pub async fn make(store: &Store, clock: &Clock, name: &str, by: &str) -> Result<String, StoreError> {
    let token = format!("{PREFIX}{}", URL_SAFE_NO_PAD.encode(clock.random::<32>()));
    let mut write = store.begin().await?;
    write.add_token(&hash(&token), name, by, clock.now()).await?;
    write.commit().await?;
    Ok(token)
}

/// The token that this is, unless it was taken back; that it was used is noted.
///
/// # Errors
/// When the database cannot be used.
pub async fn find(store: &Store, clock: &Clock, token: &str) -> Result<Option<TokenRow>, StoreError> {
    if !token.starts_with(PREFIX) {
        return Ok(None);
    }
    let found = store.token(&hash(token)).await?;
    let now = clock.now();
    if let Some(t) = found.as_ref().filter(|t| t.used_at.is_none_or(|at| now - at > NOTED)) {
        let mut write = store.begin().await?;
        write.use_token(t.id, now).await?;
        write.commit().await?;
    }
    Ok(found)
}
