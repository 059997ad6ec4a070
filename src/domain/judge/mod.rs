//! What the answers of a check mean: findings with their arithmetic, and a verdict.
//!
//! An out-of-service answer counts from the moment it is given and is not taken back by a later
//! one, with two exceptions that the rules name: a trip point within one gauge division below its
//! bound may be tried once more, slower; and a failed facepiece or cylinder tags *itself*, so that
//! the unit's step can be answered again with another one.

mod read;
mod weigh;
mod words;

use std::borrow::Cow;
use std::fmt;

use litemap::LiteMap;
use serde::de::Visitor;
use serde::{Deserialize, Deserializer, Serialize};
use smol_str::SmolStr;

use crate::rules::{Consequence, Form, FormStep, Subject};

use read::{Read, Try, read_all};
use weigh::{Outcome, basis, weigh};
pub use weigh::{band_words, sequence_words};
pub use words::ask_words;

/// One value of an answer as it came in: a yes or no, a number without a unit, or a text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Raw {
    /// Yes or no.
    Flag(bool),
    /// A whole number.
    Whole(i64),
    /// A number with decimals.
    Decimal(f64),
    /// A text: a reading with its unit, or the number of a thing.
    Text(SmolStr),
}

impl Raw {
    fn text(&self) -> Cow<'_, str> {
        match self {
            Self::Flag(b) => b.to_string().into(),
            Self::Whole(n) => n.to_string().into(),
            Self::Decimal(n) => n.to_string().into(),
            Self::Text(t) => t.as_str().into(),
        }
    }
}

/// By hand, because what is derived for an untagged choice copies each value before it tries.
impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Any;
        impl Visitor<'_> for Any {
            type Value = Raw;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a yes or no, a number, or a text")
            }
            fn visit_bool<E>(self, b: bool) -> Result<Raw, E> {
                Ok(Raw::Flag(b))
            }
            fn visit_i64<E>(self, n: i64) -> Result<Raw, E> {
                Ok(Raw::Whole(n))
            }
            #[expect(clippy::cast_precision_loss, reason = "far outside of what any step takes, so refused")]
            fn visit_u64<E>(self, n: u64) -> Result<Raw, E> {
                Ok(i64::try_from(n).map_or(Raw::Decimal(n as f64), Raw::Whole))
            }
            fn visit_f64<E>(self, n: f64) -> Result<Raw, E> {
                Ok(Raw::Decimal(n))
            }
            fn visit_str<E>(self, text: &str) -> Result<Raw, E> {
                Ok(Raw::Text(text.into()))
            }
        }
        d.deserialize_any(Any)
    }
}

/// The values of an answer by field. They are few, and the whole logbook is read again when it is
/// verified: so they lie beside each other, and short texts in themselves.
pub type Values = LiteMap<SmolStr, Raw>;

/// An answer to a step. The second attempt at a step is a second answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// The step's id.
    pub step: SmolStr,
    /// 1 for the first answer to this step, 2 for the next.
    #[serde(rename = "try", default = "first", skip_serializing_if = "is_first")]
    pub attempt: u8,
    /// The facepiece or cylinder that was tried, where it has a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// What was entered.
    #[serde(with = "in_braces")]
    pub values: Values,
    /// In the member's own words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl Answer {
    /// Whether it says "not good", whatever else it says.
    pub fn says_not_good(&self) -> bool {
        match self.values.get("good") {
            Some(Raw::Flag(good)) => !good,
            Some(Raw::Text(t)) => t == "no",
            _ => false,
        }
    }
}

/// Values as an object, also where there are none: the library would write and read a list then.
mod in_braces {
    use std::fmt;

    use serde::de::{MapAccess, Visitor};
    use serde::{Deserializer, Serializer};

    use super::Values;

    pub(super) fn serialize<S: Serializer>(values: &Values, s: S) -> Result<S::Ok, S::Error> {
        s.collect_map(values.iter())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Values, D::Error> {
        struct Braces;

        impl<'de> Visitor<'de> for Braces {
            type Value = Values;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("values by field")
            }

            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Values, M::Error> {
                let mut values = Values::new();
                while let Some((field, value)) = map.next_entry()? {
                    values.insert(field, value);
                }
                Ok(values)
            }
        }

        d.deserialize_map(Braces)
    }
}

const fn first() -> u8 {
    1
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for a reference")]
const fn is_first(attempt: &u8) -> bool {
    *attempt == 1
}

/// What was wrong with an entry, at its field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("{step}: {say}")]
pub struct Problem {
    /// The step's id.
    pub step: String,
    /// Which attempt.
    pub attempt: u8,
    /// The field of the answer, or empty for the answer as a whole.
    pub field: String,
    /// What to do.
    pub say: String,
}

/// An answer outside its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The step's id.
    pub step: String,
    /// The step's title.
    pub title: String,
    /// Which attempt, from 1.
    #[serde(rename = "try")]
    pub attempt: u8,
    /// The facepiece or cylinder that failed, where it was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// What the step looks at.
    pub subject: Subject,
    /// What follows.
    pub consequence: Consequence,
    /// Whether a later answer in the same check settled it, so that the unit's step stands as done.
    pub settled: bool,
    /// Whether the rules allow one slower repeat before this stands.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub repeat: bool,
    /// What was entered, as it was read.
    pub entered: String,
    /// The limit that governs.
    pub limit: String,
    /// The arithmetic, in words.
    pub working: String,
    /// Where the limit comes from.
    pub basis: String,
}

/// The outcome of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Everything asked is answered and nothing speaks against it.
    InService,
    /// Something is to be put right and answered again.
    PutRight,
    /// Answers are missing.
    Incomplete,
    /// The unit does not ride.
    OutOfService,
}

impl Verdict {
    /// As written in a record and in the database.
    pub fn id(self) -> &'static str {
        match self {
            Self::InService => "in_service",
            Self::PutRight => "put_right",
            Self::Incomplete => "incomplete",
            Self::OutOfService => "out_of_service",
        }
    }
}

/// What the judge says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Judgement {
    /// The outcome.
    pub verdict: Verdict,
    /// Findings in the order of the form.
    pub findings: Vec<Finding>,
    /// Steps without an answer, in the order of the form.
    pub missing: Vec<String>,
    /// Steps answered that this profile or this check does not ask.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_asked: Vec<String>,
    /// Steps whose last answer is good, or only a remark, in the order of the form, with the number of the
    /// thing that it is about where one was given.
    #[serde(skip)]
    pub good: Vec<(SmolStr, Option<String>)>,
}

impl Judgement {
    /// Whether the last answer to this step is good, or only a remark.
    pub fn is_good(&self, step: &str) -> bool {
        self.good.iter().any(|(good, _)| good == step)
    }
}

/// Judges the answers of one check.
///
/// An out-of-service finding decides even where answers are missing; what is missing is looked at
/// before what is to be put right.
///
/// # Errors
/// Every entry that cannot be read, with its field. Nothing is judged then.
pub fn judge(form: &Form, answers: &[Answer]) -> Result<Judgement, Vec<Problem>> {
    let (read, problems) = read_all(form, answers);
    if problems.is_empty() { Ok(judge_read(form, read)) } else { Err(problems) }
}

/// Judges what can be read; an answer that cannot counts as missing. For records: they are kept
/// whatever they hold, and what cannot be read must never count as good.
pub fn judge_readable(form: &Form, answers: &[Answer]) -> (Judgement, Vec<Problem>) {
    let (read, problems) = read_all(form, answers);
    (judge_read(form, read), problems)
}

fn judge_read(form: &Form, read: Read<'_>) -> Judgement {
    let mut findings = Vec::new();
    let mut missing = Vec::new();
    let mut good = Vec::with_capacity(form.steps.len());
    let mut worst = Verdict::InService;
    let mut rest = read.tries.as_slice();
    for (i, step) in form.steps.iter().enumerate() {
        let (tries, after) = rest.split_at(rest.iter().take_while(|t| t.step == i).count());
        rest = after;
        let Some(last) = tries.last() else {
            missing.push(step.step.id.clone());
            continue;
        };
        let done = judge_step(form, step, tries, &mut findings);
        if done.satisfied {
            good.push((last.answer.step.clone(), last.answer.item.clone()));
        }
        worst = worst.max(done.verdict);
    }
    if worst != Verdict::OutOfService && !missing.is_empty() {
        worst = Verdict::Incomplete;
    }
    Judgement { verdict: worst, findings, missing, not_asked: read.not_asked, good }
}

struct StepDone {
    satisfied: bool,
    verdict: Verdict,
}

fn judge_step(form: &Form, step: &FormStep, tries: &[Try<'_>], findings: &mut Vec<Finding>) -> StepDone {
    let from = findings.len();
    let mut satisfied = false;
    for (i, Try { answer, entry, .. }) in tries.iter().enumerate() {
        let outcome = weigh(form, step, entry);
        let Outcome::Bad { mut consequence, repeat, entered, limit, mut working } = outcome else {
            // A thing that failed for good in this check does not become good by trying again.
            satisfied = !findings[from..].iter().any(|f| stands_against(f, answer));
            continue;
        };
        let failed = findings[from..].iter().filter(|f| f.consequence > Consequence::Remark);
        let failed = 1 + failed.filter(|f| may_be_the_same(f, answer)).count();
        if consequence == Consequence::PutRight && failed >= usize::from(step.step.tries) {
            consequence = Consequence::OutOfService;
            working.push_str("; it could not be put right");
        }
        satisfied =
            consequence == Consequence::Remark && !findings[from..].iter().any(|f| stands_against(f, answer));
        findings.push(Finding {
            step: step.step.id.clone(),
            title: step.step.title.clone(),
            attempt: answer.attempt,
            item: answer.item.clone(),
            subject: step.step.subject,
            consequence,
            settled: consequence == Consequence::Remark,
            // The allowance is for the first try only.
            repeat: repeat && i == 0,
            entered,
            limit,
            working,
            basis: basis(step),
        });
    }
    let mut verdict = Verdict::InService;
    for f in &mut findings[from..] {
        f.settled |= satisfied;
        if f.repeat && tries.len() > 1 {
            // The slower repeat has been made: it decides.
            f.repeat = false;
            if satisfied {
                f.consequence = Consequence::Remark;
            }
        } else if f.repeat {
            f.working.push_str("; within one gauge division: one slower repeat is allowed");
        }
        if !f.settled {
            verdict = verdict.max(match f.consequence {
                Consequence::OutOfService => Verdict::OutOfService,
                Consequence::PutRight => Verdict::PutRight,
                Consequence::Remark => Verdict::InService,
            });
        }
    }
    StepDone { satisfied, verdict }
}

/// Whether an earlier finding of the step cannot be settled by this answer, had it been good.
fn stands_against(f: &Finding, answer: &Answer) -> bool {
    f.consequence == Consequence::OutOfService && !f.repeat && may_be_the_same(f, answer)
}

/// Whether finding and answer may be about the same thing: only another number of a thing that can
/// be exchanged says that they are not.
fn may_be_the_same(f: &Finding, answer: &Answer) -> bool {
    let other = f.item.as_ref().zip(answer.item.as_ref()).is_some_and(|(a, b)| a != b);
    !(f.subject.is_separate() && other)
}
