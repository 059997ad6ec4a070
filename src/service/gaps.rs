//! Records that a tablet must have written and that are not here.
//!
//! A tablet counts its records and names in each the one before it. So a record that was lost, was
//! taken away, or was written twice is seen as soon as a later one arrives. What is missing at the
//! end is seen only when the tablet writes again, or begins anew.

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Desk, GapDealt, Misfit};
use uuid::Uuid;

use crate::store::{Kept, Store, StoreError};

/// A place at which a tablet's records do not follow one another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// The tablet, as its records name it.
    pub tablet: String,
    /// Which life of its storage.
    pub incarnation: Option<Uuid>,
    /// What does not fit.
    pub what: Misfit,
    /// When the record was received at which it shows.
    pub seen: Millis,
}

/// Every gap there is now and nobody has dealt with, newest first. One that is filled by a record that
/// arrives late is gone.
///
/// # Errors
/// When the database cannot be read.
pub async fn gaps(store: &Store) -> Result<Vec<Gap>, StoreError> {
    let mut out = Vec::new();
    let life = |text: &Option<String>| text.as_deref().and_then(|t| t.parse().ok());
    let count = |n: i64| u64::try_from(n).unwrap_or(0);
    for step in store.missteps().await? {
        let number = count(step.number);
        let incarnation = life(&step.incarnation);
        let mut add = |what| {
            out.push(Gap { tablet: step.tablet.clone(), incarnation, what, seen: step.received });
        };
        if step.twice {
            add(Misfit::Twice { number });
        } else if step.number - step.prior > 1 {
            add(Misfit::Missing { from: count(step.prior + 1), to: number - 1 });
        }
        if step.breaks {
            add(Misfit::Breaks { number });
        }
    }
    let lives = store.tablet_lives().await?;
    for (before, next) in lives.iter().zip(lives.iter().skip(1)).filter(|(a, b)| a.tablet == b.tablet) {
        let what = Misfit::BeganAnew { last: count(before.last) };
        let incarnation = life(&next.incarnation);
        out.push(Gap { tablet: next.tablet.clone(), incarnation, what, seen: next.began });
    }
    let dealt = dealt_with(store).await?;
    out.retain(|gap| !dealt.iter().any(|(kept, d)| is_of(kept, d, gap)));
    out.sort_by_key(|g| std::cmp::Reverse(g.seen));
    Ok(out)
}

/// Whether this is about the gap. What is left of missing numbers shows at another record once some
/// of them have arrived; anything else that shows later was not looked into then.
fn is_of(kept: &Kept, dealt: &GapDealt, gap: &Gap) -> bool {
    let then = gap.seen <= kept.place.received || matches!(gap.what, Misfit::Missing { .. });
    then && dealt.tablet == gap.tablet && dealt.incarnation == gap.incarnation && dealt.what.covers(&gap.what)
}

/// What was found out about gaps, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn dealt_with(store: &Store) -> Result<Vec<(Kept, GapDealt)>, StoreError> {
    let dealt = |kept: Kept| match &kept.record.body {
        Body::Desk(Desk::GapDealt(d)) => {
            let d = d.clone();
            Some((kept, d))
        }
        _ => None,
    };
    Ok(store.gaps_dealt().await?.into_iter().filter_map(dealt).collect())
}
