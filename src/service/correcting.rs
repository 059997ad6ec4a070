//! A check that is to be corrected, with what was corrected in it already.

use std::collections::BTreeSet;

use airmuster_domain::record::{Body, Correction, Desk, RecordRef, heads};

use super::history::Event;
use crate::store::{Kept, Store, StoreError};

/// A check and the corrections of it.
#[derive(Debug, Clone)]
pub struct Correcting {
    /// The check.
    pub event: Event,
    /// The corrections of it that hold by now.
    pub before: Vec<Kept>,
}

impl Correcting {
    /// Gathers it. `None` when the record is not a check.
    pub async fn load(store: &Store, kept: Kept) -> Result<Option<Self>, StoreError> {
        let event = Event::of(store, kept).await?;
        if event.check().is_none() {
            return Ok(None);
        }
        let name = event.kept.record.name;
        let said = store.said(name.id).await?;
        let all: Vec<(RecordRef, &Correction)> = said
            .iter()
            .filter_map(|k| match &k.record.body {
                Body::Desk(Desk::Correction(c)) if c.of == name => Some((k.record.name, c)),
                _ => None,
            })
            .collect();
        let hold = heads(all);
        let before = said.into_iter().filter(|k| hold.contains(&k.record.name)).collect();
        Ok(Some(Self { event, before }))
    }

    /// The names of the corrections that hold.
    pub fn heads(&self) -> BTreeSet<RecordRef> {
        self.before.iter().map(|k| k.record.name).collect()
    }
}
