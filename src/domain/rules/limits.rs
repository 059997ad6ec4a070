//! A form's limits worked out into plain exact numbers: what the tablet's script judges with.
//!
//! Pressures are fractions of grains, written as decimal digits because a JSON number cannot hold
//! them; times are milliseconds. The words come along, so that the script has no constant and no
//! wording of a limit of its own, and says what the judge here says.

use std::collections::BTreeMap;

use serde::Serialize;

use super::resolve::{Ask, Band, Form, FormStep, Sequence};
use super::table::{Consequence, Subject};
use crate::judge::{band_words, sequence_words};
use crate::quantity::{Amount, Limit, Pressure, PressureUnit, Seconds};

/// An exact pressure: grains, and what they are divided by.
pub type Exact = (String, String);

/// The limits of one check for one kind of unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Limits<'a> {
    /// The symbol of the profile's unit of pressure.
    pub unit: &'static str,
    /// Grains in a thousandth of each unit of pressure, by symbol.
    pub grains: BTreeMap<&'static str, String>,
    /// The rated pressure.
    pub rated: Wall,
    /// What one division of the gauges is worth.
    pub division: Wall,
    /// Above this a reading is not one that a gauge on this unit gives.
    pub absurd: Exact,
    /// Steps, in order.
    pub steps: Vec<StepLimits<'a>>,
    /// Ids of the table's other steps.
    pub not_asked: &'a [String],
}

/// A limit on a pressure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Wall {
    /// The pressure.
    pub at: Exact,
    /// In the profile's unit, in words: `450 psi`.
    pub words: String,
    /// Where the table gives it as a share, the share in words: `10 % of 5,500`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share: Option<String>,
}

/// A step and its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StepLimits<'a> {
    /// The step's id.
    pub id: &'a str,
    /// Its title.
    pub title: &'a str,
    /// What it looks at.
    pub subject: Subject,
    /// Whether another one can be tried in the same check.
    pub separate: bool,
    /// What follows from a failure.
    pub consequence: Consequence,
    /// How many failing answers at one thing the crew may give.
    pub tries: u8,
    /// What is right, where no number says it.
    pub right: &'a str,
    /// Where the limit comes from.
    pub basis: &'a str,
    /// The fields that an answer may have.
    pub fields: &'static [&'static str],
    /// The kind and its numbers.
    #[serde(flatten)]
    pub want: Want,
}

/// What is right, by kind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Want {
    /// The number read off the thing.
    Identity,
    /// Good, or not good.
    Confirm,
    /// One pressure.
    Reading {
        /// Must be higher than this.
        #[serde(skip_serializing_if = "Option::is_none")]
        above: Option<Wall>,
        /// Must be this or higher.
        #[serde(skip_serializing_if = "Option::is_none")]
        at_least: Option<Wall>,
        /// Must be this or lower.
        #[serde(skip_serializing_if = "Option::is_none")]
        at_most: Option<Wall>,
    },
    /// Two gauges.
    Pair {
        /// The largest difference: the strictest limit, which governs.
        largest: Wall,
        /// All limits as the table gives them, in words.
        all: Vec<String>,
    },
    /// A fall over a time.
    Drop {
        /// The largest fall.
        largest: Wall,
        /// Over at least this many milliseconds.
        within: i64,
    },
    /// A timed wait.
    Hold {
        /// At least this many milliseconds.
        at_least: i64,
    },
    /// A sequence; times in milliseconds.
    Stages {
        /// How many stages.
        count: u8,
        /// The first no earlier than this, else a remark.
        #[serde(skip_serializing_if = "Option::is_none")]
        first_from: Option<i64>,
        /// The first by this.
        #[serde(skip_serializing_if = "Option::is_none")]
        first_by: Option<i64>,
        /// The full alarm by this.
        #[serde(skip_serializing_if = "Option::is_none")]
        full_by: Option<i64>,
        /// All of it in words.
        limit: String,
    },
    /// The pressure at which the low-air alarm starts.
    Trip {
        /// Below this: out of service.
        low: Wall,
        /// Above this: a remark.
        #[serde(skip_serializing_if = "Option::is_none")]
        remark: Option<Wall>,
        /// Above this: out of service.
        out: Wall,
        /// Within this below `low` one slower repeat is allowed.
        repeat: Exact,
        /// The alarm generation, in words.
        alarm: String,
        /// The band in words.
        limit: String,
    },
}

impl<'a> Limits<'a> {
    /// The limits of this form.
    pub fn of(form: &'a Form) -> Self {
        let rated = form.profile.rated;
        Self {
            unit: rated.unit().symbol(),
            grains: [PressureUnit::Psi, PressureUnit::Bar, PressureUnit::Kpa, PressureUnit::Mpa]
                .into_iter()
                .map(|u| (u.symbol(), grains_per_thousandth(u).to_string()))
                .collect(),
            rated: as_read(rated),
            division: as_read(form.profile.division),
            absurd: exact(form.absurd_above()),
            steps: form.steps.iter().map(|s| step_limits(s, rated)).collect(),
            not_asked: &form.not_asked,
        }
    }
}

/// One unit is a thousand thousandths.
fn grains_per_thousandth(unit: PressureUnit) -> i128 {
    Pressure::whole(1, unit).map_or(0, |one| one.amount().exact().0 / 1000)
}

fn exact(a: Amount) -> Exact {
    let (grains, parts) = a.exact();
    (grains.to_string(), parts.to_string())
}

fn as_read(p: Pressure) -> Wall {
    Wall { at: exact(p.amount()), words: p.words(), share: None }
}

fn wall(limit: Limit, rated: Pressure) -> Wall {
    let amount = limit.amount(rated);
    Wall {
        at: exact(amount),
        words: amount.words(rated.unit()),
        share: matches!(limit, Limit::OfRated(_)).then(|| limit.words(rated)),
    }
}

fn step_limits(s: &FormStep, rated: Pressure) -> StepLimits<'_> {
    let FormStep { step, ask } = s;
    StepLimits {
        id: &step.id,
        title: &step.title,
        subject: step.subject,
        separate: step.subject.is_separate(),
        consequence: step.consequence,
        tries: step.tries,
        right: &step.right,
        basis: match ask {
            Ask::Trip(band) => &band.basis,
            Ask::Stages { want, .. } => &want.basis,
            _ => &step.basis,
        },
        fields: fields(ask),
        want: want(ask, rated),
    }
}

/// The fields that the judge reads; the vectors fail if it reads others.
fn fields(ask: &Ask) -> &'static [&'static str] {
    match ask {
        Ask::Identity | Ask::Confirm => &["good"],
        Ask::Reading { .. } | Ask::Trip(_) => &["good", "at"],
        Ask::Pair { .. } => &["good", "cylinder", "remote"],
        Ask::Drop { .. } => &["good", "start", "end", "seconds"],
        Ask::Hold { .. } => &["good", "held"],
        Ask::Stages { .. } => &["good", "count", "first", "full"],
    }
}

fn want(ask: &Ask, rated: Pressure) -> Want {
    match ask {
        Ask::Identity => Want::Identity,
        Ask::Confirm => Want::Confirm,
        Ask::Reading { above, at_least, at_most } => {
            let [above, at_least, at_most] = [above, at_least, at_most].map(|l| l.map(|l| wall(l, rated)));
            Want::Reading { above, at_least, at_most }
        }
        Ask::Pair { largest, governs } => Want::Pair {
            largest: wall(largest[*governs], rated),
            all: largest.iter().map(|l| l.words(rated)).collect(),
        },
        Ask::Drop { largest, within } => {
            Want::Drop { largest: wall(*largest, rated), within: within.millis() }
        }
        Ask::Hold { at_least } => Want::Hold { at_least: at_least.millis() },
        Ask::Stages { want, .. } => stages(want),
        Ask::Trip(band) => trip(band, rated),
    }
}

fn stages(want: &Sequence) -> Want {
    let [first_from, first_by, full_by] =
        [want.first_from, want.first_by, want.full_by].map(|t| t.map(Seconds::millis));
    Want::Stages { count: want.count, first_from, first_by, full_by, limit: sequence_words(want) }
}

fn trip(band: &Band, rated: Pressure) -> Want {
    Want::Trip {
        low: wall(band.at_least, rated),
        remark: band.remark_above.map(|l| wall(l, rated)),
        out: wall(band.out_above, rated),
        repeat: exact(band.repeat_within.amount()),
        alarm: band.title.clone(),
        limit: band_words(band, rated),
    }
}
