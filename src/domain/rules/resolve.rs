//! A rule table for one profile and one purpose: every limit worked out into plain pressures and
//! times. The judge reads this, the form shows it, the tablet's script gets it as data.

use serde::Serialize;

use super::table::{Consequence, Group, Kind, Profile, Purpose, StagesOf, Step, Subject, Table};
use crate::quantity::{Amount, Limit, Pressure, Seconds};

/// The table has no profile of that name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("there is no profile “{name}”; the table has {known}")]
pub struct UnknownProfile {
    /// What was asked for.
    pub name: String,
    /// The names there are.
    pub known: String,
}

/// The steps of one check for one kind of unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Form {
    /// SHA-256 of the table's text.
    pub table: String,
    /// The profile's name.
    pub profile_name: String,
    /// The profile.
    pub profile: Profile,
    /// Why the check is made.
    pub purpose: Purpose,
    /// Sections that have steps, in order.
    pub groups: Vec<Group>,
    /// Steps, in order.
    pub steps: Vec<FormStep>,
    /// Ids of the table's other steps, which this check does not ask.
    pub not_asked: Vec<String>,
}

impl Form {
    /// The step with this id.
    pub fn step(&self, id: &str) -> Option<&FormStep> {
        self.steps.iter().find(|s| s.step.id == id)
    }

    /// A pressure above this is not a reading any gauge on this unit gives: half as much again as
    /// rated. A warm cylinder honestly reads up to 120 % (computed with CoolProp's air).
    pub fn absurd_above(&self) -> Amount {
        self.profile.rated.amount().share(crate::quantity::Fraction::HALF_AS_MUCH_AGAIN)
    }

    /// Id and title of every step, for lists of what is missing.
    pub fn titles(&self) -> impl Iterator<Item = (&str, &str)> {
        self.steps.iter().map(|s| (s.step.id.as_str(), s.step.title.as_str()))
    }
}

/// A step with its limit worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormStep {
    /// The row of the table.
    pub step: Step,
    /// What is asked.
    pub ask: Ask,
}

/// A band with a second bound above.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Band {
    /// Below this: out of service.
    pub at_least: Limit,
    /// Above this: a remark.
    pub remark_above: Option<Limit>,
    /// Above this: out of service.
    pub out_above: Limit,
    /// Within this below the lower bound one slower repeat is allowed.
    pub repeat_within: Pressure,
    /// The alarm generation, in words.
    pub title: String,
    /// Where the figures come from.
    pub basis: String,
}

/// A sequence and its times.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sequence {
    /// The sequence, in words.
    pub title: String,
    /// Stages in order; for a motion alarm, warnings before the full alarm.
    pub count: u8,
    /// The first no earlier than this, else a remark.
    pub first_from: Option<Seconds>,
    /// The first by this.
    pub first_by: Option<Seconds>,
    /// The full alarm by this.
    pub full_by: Option<Seconds>,
    /// Where the figures come from.
    pub basis: String,
}

/// What a step asks, its limits being those of this unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    /// The number read off the thing.
    Identity,
    /// Good, or not good.
    Confirm,
    /// One pressure.
    Reading {
        /// Must be higher than this.
        above: Option<Limit>,
        /// Must be this or higher.
        at_least: Option<Limit>,
        /// Must be this or lower.
        at_most: Option<Limit>,
    },
    /// Two gauges.
    Pair {
        /// All limits of the table.
        largest: Vec<Limit>,
        /// Index of the strictest, which governs.
        governs: usize,
    },
    /// A fall over a time.
    Drop {
        /// Largest fall.
        largest: Limit,
        /// At least this long.
        within: Seconds,
    },
    /// A timed wait.
    Hold {
        /// At least this long.
        at_least: Seconds,
    },
    /// A sequence.
    Stages {
        /// Which.
        of: StagesOf,
        /// What it must do.
        want: Sequence,
    },
    /// The low-air alarm.
    Trip(Band),
}

impl Ask {
    /// As written in the table.
    pub fn id(&self) -> &'static str {
        match self {
            Self::Identity => "identity",
            Self::Confirm => "confirm",
            Self::Reading { .. } => "reading",
            Self::Pair { .. } => "pair",
            Self::Drop { .. } => "drop",
            Self::Hold { .. } => "hold",
            Self::Stages { .. } => "stages",
            Self::Trip(_) => "trip",
        }
    }
}

/// Works out the table for a profile and a purpose.
///
/// # Errors
/// When the table has no such profile.
pub fn resolve(table: &Table, profile: &str, purpose: Purpose) -> Result<Form, UnknownProfile> {
    let Some(p) = table.profiles.get(profile) else {
        let known = table.profiles.keys().cloned().collect::<Vec<_>>().join(", ");
        return Err(UnknownProfile { name: profile.to_owned(), known });
    };
    let mut steps = Vec::new();
    let mut not_asked = Vec::new();
    for step in &table.steps {
        let wanted = step.checks.contains(&purpose)
            && (step.profiles.is_empty() || step.profiles.iter().any(|n| n == profile))
            && step.needs.iter().all(|part| p.fitted.contains(part));
        match wanted.then(|| ask(table, p, &step.kind)).flatten() {
            Some(ask) => steps.push(FormStep { step: step.clone(), ask }),
            None => not_asked.push(step.id.clone()),
        }
    }
    let groups =
        table.groups.iter().filter(|g| steps.iter().any(|s| s.step.group == g.id)).cloned().collect();
    Ok(Form {
        table: table.digest.clone(),
        profile_name: profile.to_owned(),
        profile: p.clone(),
        purpose,
        groups,
        steps,
        not_asked,
    })
}

/// `None` where the profile lacks the thing: a sequence it does not have is not asked.
fn ask(table: &Table, p: &Profile, kind: &Kind) -> Option<Ask> {
    Some(match kind {
        Kind::Identity => Ask::Identity,
        Kind::Confirm => Ask::Confirm,
        &Kind::Reading { above, at_least, at_most } => Ask::Reading { above, at_least, at_most },
        Kind::Pair { largest } => {
            let governs = (0..largest.len()).min_by_key(|&i| largest[i].amount(p.rated))?;
            Ask::Pair { largest: largest.clone(), governs }
        }
        &Kind::Drop { largest, within } => Ask::Drop { largest, within },
        &Kind::Hold { at_least } => Ask::Hold { at_least },
        &Kind::Stages(of) => {
            let name = match of {
                StagesOf::Motion => p.motion.as_ref(),
                StagesOf::Display => p.display.as_ref(),
            }?;
            let s = table.stages.get(name)?;
            Ask::Stages {
                of,
                want: Sequence {
                    title: s.title.clone(),
                    count: s.count,
                    first_from: s.first_from,
                    first_by: s.first_by,
                    full_by: s.full_by,
                    basis: s.basis.clone(),
                },
            }
        }
        Kind::Trip => {
            let a = table.alarms.get(&p.alarm)?;
            Ask::Trip(Band {
                at_least: a.at_least,
                remark_above: a.remark_above,
                out_above: a.out_above,
                repeat_within: p.division,
                title: a.title.clone(),
                basis: a.basis.clone(),
            })
        }
    })
}

/// What a failing item of a step is called on a form: the subject, or the unit.
impl FormStep {
    /// Whether the crew may put it right and answer again.
    pub fn may_put_right(&self) -> bool {
        self.step.consequence == Consequence::PutRight
    }

    /// Whether another facepiece or cylinder may be tried.
    pub fn may_try_another(&self) -> bool {
        self.step.subject.is_separate()
    }

    /// The thing that the step looks at.
    pub fn subject(&self) -> Subject {
        self.step.subject
    }
}
