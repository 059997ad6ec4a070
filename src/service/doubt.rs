//! What is in doubt about a record, and so waits for an officer.

use airmuster_domain::ground::{Kind, effects};
use airmuster_domain::record::{Body, Desk};
use airmuster_domain::standing::Word;
use uuid::Uuid;

use crate::store::{Kept, Store, StoreError};

/// A record in doubt.
#[derive(Debug, Clone)]
pub struct InDoubt {
    /// Every version of it that was handed in.
    pub variants: Vec<Kept>,
    /// What is in doubt about it.
    pub reasons: Vec<String>,
}

/// What is in doubt about a field record; `None` when nothing is.
pub async fn in_doubt(store: &Store, id: Uuid) -> Result<Option<InDoubt>, StoreError> {
    let variants = store.variants(id).await?;
    let said = store.said(id).await?;
    let mut word = Word::default();
    let mut unread: Vec<String> = Vec::new();
    for k in variants.iter().filter(|k| matches!(k.record.body, Body::Field(_))) {
        word.variants.insert(k.record.name.digest);
        let raises = effects(&k.record, &mut *store.tables()).raises;
        if let Some(raise) = raises.into_iter().find(|r| r.kind == Kind::Doubted) {
            word.unreadable.insert(k.record.name.digest);
            unread.push(raise.say);
        }
    }
    let mut doubts: Vec<String> = Vec::new();
    for k in &said {
        if let Body::Desk(desk) = &k.record.body {
            word.hear(u64::try_from(k.place.seq).unwrap_or(0), desk);
            if let Desk::Doubt(d) = desk {
                doubts.push(d.why.clone());
            }
        }
    }
    let mut reasons = Vec::new();
    if word.contested() {
        reasons.push(format!("{} versions of one record were handed in", word.variants.len()));
    }
    if word.variants.iter().any(|d| word.doubted(d)) {
        reasons.append(&mut doubts);
        reasons.append(&mut unread);
    }
    if !word.unproven.is_empty() {
        reasons.push(
            "the signature is not proven yet: the member gives the PIN, or an officer settles it".to_owned(),
        );
    }
    Ok((!reasons.is_empty()).then_some(InDoubt { variants, reasons }))
}
