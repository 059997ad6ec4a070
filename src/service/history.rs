//! What happened to a thing: its records, and for each check what the judge made of it.

use std::sync::Arc;

use airmuster_domain::ground::Forms;
use airmuster_domain::judge::{Judgement, judge_readable};
use airmuster_domain::proving::proved;
use airmuster_domain::record::{Asset, Body, Check, Field, Record};
use airmuster_domain::rules::Form;
use smol_str::SmolStr;

use crate::store::{Kept, Store, StoreError};

/// A check with the form it was made on and what the judge makes of it.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The form.
    pub form: Arc<Form>,
    /// The judgement.
    pub judgement: Judgement,
    /// The steps whose repair it proves without having asked everything.
    pub proved: Vec<SmolStr>,
}

/// A record and, for a check that can be judged here, its judgement.
#[derive(Debug, Clone)]
pub struct Event {
    /// The record.
    pub kept: Kept,
    /// What the judge says.
    pub judged: Option<Judged>,
    /// Whether it is a check that counts: signed, proven, in no doubt and not corrected.
    pub counts: bool,
}

impl Event {
    /// Looks at a record.
    pub async fn of(store: &Store, kept: Kept) -> Result<Self, StoreError> {
        let judged = check_in(&kept.record).and_then(|check| judge(store, check));
        let signed = kept.record.envelope.by.is_some();
        let counts = match &judged {
            Some(_) if signed => store.check_row(kept.place.seq).await?.is_some_and(|row| row.counts),
            _ => false,
        };
        Ok(Self { kept, judged, counts })
    }

    /// The check, where it is one.
    pub fn check(&self) -> Option<&Check> {
        check_in(&self.kept.record)
    }
}

/// Everything that happened to an asset, newest first, at most `count`.
pub async fn events(store: &Store, asset: &Asset, count: i64) -> Result<Vec<Event>, StoreError> {
    let history = store.history(asset, count).await?;
    let mut out = Vec::with_capacity(history.len());
    for kept in history {
        out.push(Event::of(store, kept).await?);
    }
    Ok(out)
}

fn check_in(record: &Record) -> Option<&Check> {
    match &record.body {
        Body::Field(Field::Check(check)) => Some(check),
        _ => None,
    }
}

fn judge(store: &Store, check: &Check) -> Option<Judged> {
    let form = store.tables().form(&check.rules, &check.profile, check.purpose)?;
    let (judgement, problems) = judge_readable(&form, &check.answers);
    let proved = proved(&form, &judgement, &problems);
    Some(Judged { form, judgement, proved })
}
