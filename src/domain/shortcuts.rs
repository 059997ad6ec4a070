//! Questions that checks raise by their numbers alone: made faster than their steps can be done, the
//! same reading day after day where other units' readings move, made by somebody who was on no crew
//! then. Each is a question and never an accusation: there are good answers to all of them.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::Millis;
use crate::judge::Answer;
use crate::quantity::Pressure;
use crate::rules::Form;

const DAY: Millis = 24 * 60 * 60_000;

/// The same reading so often in a row, over so many days, is looked at.
const SAME: usize = 8;
const SAME_DAYS: Millis = 6 * DAY;
/// Asked about only where it would come by chance less than once in so many looks.
const BY_CHANCE: f64 = 1.0e-4;
/// A member is asked about from so many hurried checks on: one may be a form that was opened late.
const HURRIED: usize = 3;
/// And from so many checks on no crew: one or two may be a swap that nobody wrote down.
const OFF_CREW: usize = 3;

/// A complete check as far as the questions go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    /// The unit.
    pub unit: Arc<str>,
    /// Its kind: readings are compared with those of the same kind.
    pub profile: Arc<str>,
    /// When it was signed.
    pub at: Millis,
    /// Who signed.
    pub by: Option<Arc<str>>,
    /// From the first step shown to the signature, in milliseconds.
    pub took: Millis,
    /// The least time that the steps answered take physically, in milliseconds.
    pub least: Millis,
    /// The cylinder's pressure as read.
    pub pressure: Option<Pressure>,
    /// Whether the signer was on a crew of that house in that shift; none where no crew was entered.
    pub on_crew: Option<bool>,
}

/// A question, with its numbers.
#[derive(Debug, Clone, PartialEq)]
pub enum Question {
    /// A member's checks that took less time than their steps.
    Hurried {
        /// Who signed.
        member: String,
        /// How many took less.
        hurried: usize,
        /// Of how many.
        of: usize,
        /// The shortest, in milliseconds.
        shortest: Millis,
        /// What its steps take at least, in milliseconds.
        least: Millis,
    },
    /// A unit whose reading did not move.
    SameReading {
        /// The unit.
        unit: String,
        /// The reading.
        pressure: Pressure,
        /// How often in a row.
        times: usize,
        /// From the first to the last.
        between: (Millis, Millis),
        /// Of a hundred readings of other units of its kind, how many were as the one before.
        others: u8,
    },
    /// A member's checks in shifts in which the member was on no crew.
    OffCrew {
        /// Who signed.
        member: String,
        /// How many.
        checks: usize,
        /// The last one.
        last: Millis,
    },
}

/// The least time that the steps answered take physically, in milliseconds.
pub fn least(form: &Form, answers: &[Answer]) -> Millis {
    answers.iter().filter_map(|a| form.step(&a.step)).map(|s| s.step.least.millis()).sum()
}

/// What the checks of a period ask. Those of a unit are taken in the order of their time.
pub fn questions(seen: &[Seen]) -> Vec<Question> {
    let mut out = hurried(seen);
    out.extend(same_readings(seen));
    out.extend(off_crew(seen));
    out
}

fn by_member(seen: &[Seen]) -> BTreeMap<&str, Vec<&Seen>> {
    let mut out: BTreeMap<&str, Vec<&Seen>> = BTreeMap::new();
    for s in seen {
        if let Some(by) = &s.by {
            out.entry(by).or_default().push(s);
        }
    }
    out
}

fn hurried(seen: &[Seen]) -> Vec<Question> {
    let of_one = |(member, all): (&str, Vec<&Seen>)| {
        // A clock that was set back in the middle tells nothing.
        let quick: Vec<&&Seen> = all.iter().filter(|s| s.took >= 0 && s.took < s.least).collect();
        let shortest = quick.iter().min_by_key(|s| s.took)?;
        (quick.len() >= HURRIED).then(|| Question::Hurried {
            member: member.to_owned(),
            hurried: quick.len(),
            of: all.len(),
            shortest: shortest.took,
            least: shortest.least,
        })
    };
    by_member(seen).into_iter().filter_map(of_one).collect()
}

fn off_crew(seen: &[Seen]) -> Vec<Question> {
    let of_one = |(member, all): (&str, Vec<&Seen>)| {
        let off: Vec<&&Seen> = all.iter().filter(|s| s.on_crew == Some(false)).collect();
        let last = off.iter().map(|s| s.at).max()?;
        let (member, checks) = (member.to_owned(), off.len());
        (checks >= OFF_CREW).then_some(Question::OffCrew { member, checks, last })
    };
    by_member(seen).into_iter().filter_map(of_one).collect()
}

fn same_readings(seen: &[Seen]) -> Vec<Question> {
    let mut units: BTreeMap<&str, Vec<(&Seen, Pressure)>> = BTreeMap::new();
    for s in seen {
        if let Some(p) = s.pressure {
            units.entry(&s.unit).or_default().push((s, p));
        }
    }
    // Readings that were as the one before, and all that have one before: by unit, and by kind.
    let mut pairs: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    let mut kinds: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    for (unit, read) in &mut units {
        read.sort_by_key(|(s, _)| s.at);
        let same = read.windows(2).filter(|w| w[0].1 == w[1].1).count();
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let (same, all) = (count(same), count(read.len().saturating_sub(1)));
        pairs.insert(unit, (same, all));
        if let Some((s, _)) = read.first() {
            let kind = kinds.entry(&s.profile).or_default();
            *kind = (kind.0 + same, kind.1 + all);
        }
    }
    let mut out = Vec::new();
    for (unit, read) in &units {
        let kind = read.first().and_then(|(s, _)| kinds.get(&*s.profile));
        let Some((of_kind, own)) = kind.zip(pairs.get(unit)) else { continue };
        let (same, all) = (of_kind.0 - own.0, of_kind.1 - own.1);
        // With nothing to compare with, nothing is asked. One is added, so that never is not for ever.
        if all < 20 {
            continue;
        }
        let share = f64::from(same + 1) / f64::from(all + 1);
        for run in read.chunk_by(|a, b| a.1 == b.1).filter(|run| run.len() >= SAME) {
            let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
            let again = i32::try_from(run.len() - 1).unwrap_or(i32::MAX);
            if last.0.at - first.0.at < SAME_DAYS || share.powi(again) > BY_CHANCE {
                continue;
            }
            out.push(Question::SameReading {
                unit: (*unit).to_owned(),
                pressure: first.1,
                times: run.len(),
                between: (first.0.at, last.0.at),
                others: u8::try_from(u64::from(same) * 100 / u64::from(all)).unwrap_or(100),
            });
        }
    }
    out
}
