//! Records that a tablet must have written and that are not here.
//!
//! A tablet counts its records and names in each the one before it. So a record that was lost, was
//! taken away, or was written twice is seen as soon as a later one arrives. What is missing at the
//! end is seen only when the tablet writes again, or begins anew.

use std::fmt;

use airmuster_domain::Millis;

use crate::store::{Store, StoreError};

/// What does not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// These numbers never arrived, both ends included.
    Missing {
        /// The first.
        from: i64,
        /// The last.
        to: i64,
    },
    /// Different records with the same number.
    Twice {
        /// The number.
        number: i64,
    },
    /// This record names another one before it than the one that is here.
    Breaks {
        /// Its number.
        number: i64,
    },
    /// The tablet lost its storage, and began to count anew.
    BeganAnew {
        /// The last number of the storage before, as far as it is here.
        last: i64,
    },
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { from, to } if from == to => write!(f, "number {from} never arrived"),
            Self::Missing { from, to } => write!(f, "numbers {from} to {to} never arrived"),
            Self::Twice { number } => write!(f, "number {number} arrived as two different records"),
            Self::Breaks { number: 1 } => write!(f, "number 1 names a record before it"),
            Self::Breaks { number } => {
                write!(f, "number {number} does not follow the number {} that is here", number - 1)
            }
            Self::BeganAnew { last } => {
                write!(f, "its storage was lost after number {last}, and it counts from 1 again")
            }
        }
    }
}

/// A place at which a tablet's records do not follow one another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// The tablet, as its records name it.
    pub tablet: String,
    /// What does not fit.
    pub what: What,
    /// When the record was received at which it shows.
    pub seen: Millis,
}

/// Every gap there is now, newest first. One that is filled by a record that arrives late is gone.
///
/// # Errors
/// When the database cannot be read.
pub async fn gaps(store: &Store) -> Result<Vec<Gap>, StoreError> {
    let mut out = Vec::new();
    for step in store.missteps().await? {
        let number = step.number;
        let mut add = |what| out.push(Gap { tablet: step.tablet.clone(), what, seen: step.received });
        if step.twice {
            add(What::Twice { number });
        } else if number - step.prior > 1 {
            add(What::Missing { from: step.prior + 1, to: number - 1 });
        }
        if step.breaks {
            add(What::Breaks { number });
        }
    }
    let lives = store.tablet_lives().await?;
    for (life, next) in lives.iter().zip(lives.iter().skip(1)).filter(|(a, b)| a.tablet == b.tablet) {
        let what = What::BeganAnew { last: life.last };
        out.push(Gap { tablet: next.tablet.clone(), what, seen: next.began });
    }
    out.sort_by_key(|g| std::cmp::Reverse(g.seen));
    Ok(out)
}
