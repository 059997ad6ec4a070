//! The answers of one check: everything good, with readings as a person takes them off a gauge.

use airmuster_domain::judge::{Answer, Raw, Values};
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::rules::{Ask, Form, StagesOf, Subject};
use rand::Rng as _;
use rand::rngs::StdRng;

/// What the gauges show during a check, in psi.
#[derive(Debug, Clone, Copy)]
pub struct Gauges {
    /// The cylinder's, before the valve is opened.
    pub pressure: i64,
    /// The cylinder's and the remote one, under pressure.
    pub pair: (i64, i64),
    /// Where the low-air alarm starts.
    pub trip: i64,
}

/// One try at a step. In `item`, `own` is what belongs to the unit and `other` a full cylinder
/// from the station's; anything else is the number itself.
#[derive(Debug, Clone, Copy)]
pub struct Try {
    pub item: Option<&'static str>,
    pub values: &'static [(&'static str, &'static str)],
    pub note: &'static str,
}

/// What goes another way than well.
#[derive(Debug, Clone, Copy)]
pub enum Wrong {
    /// These tries at a step.
    At(&'static str, &'static [Try]),
    /// The gauges are this far apart.
    Apart(i64, &'static str),
    /// The cylinder reads this much.
    Pressure(i64, &'static str),
}

/// `what` in psi, as it is entered.
pub fn psi(what: i64) -> Raw {
    Raw::Text(format!("{what} {}", PressureUnit::Psi.symbol()).into())
}

/// Rounded to what a person reads off.
pub fn read_off(what: i64, step: i64) -> i64 {
    (what + step / 2).div_euclid(step) * step
}

/// Whether the cylinder is to be changed at this reading.
pub fn is_low(form: &Form, reading: i64) -> bool {
    let read = Pressure::whole(reading, PressureUnit::Psi).map(Pressure::amount);
    form.steps.iter().any(|s| match &s.ask {
        Ask::Reading { above: Some(l), .. } => read.is_some_and(|r| r <= l.amount(form.profile.rated)),
        _ => false,
    })
}

/// Every step answered, nothing wrong.
pub fn good(form: &Form, g: &Gauges, rng: &mut StdRng, counts: bool) -> Vec<Answer> {
    form.steps.iter().map(|s| answer(&s.step.id, values(&s.ask, g, rng, counts))).collect()
}

fn answer(step: &str, values: Values) -> Answer {
    Answer { step: step.into(), attempt: 1, item: None, values, note: None }
}

fn one(field: &str, value: Raw) -> Values {
    Values::from_iter([(field.into(), value)])
}

fn values(ask: &Ask, g: &Gauges, rng: &mut StdRng, counts: bool) -> Values {
    let seconds = |n: i64| Raw::Text(format!("{n} s").into());
    match ask {
        Ask::Reading { .. } => one("at", psi(g.pressure)),
        Ask::Pair { .. } => {
            Values::from_iter([("cylinder".into(), psi(g.pair.0)), ("remote".into(), psi(g.pair.1))])
        }
        Ask::Drop { within, .. } => Values::from_iter([
            ("start".into(), psi(g.pair.1)),
            ("end".into(), psi(g.pair.1)),
            ("seconds".into(), seconds(within.millis() / 1000)),
        ]),
        Ask::Hold { at_least } => one("held", seconds(at_least.millis() / 1000 + rng.random_range(0..4))),
        Ask::Stages { of: StagesOf::Motion, want } if counts => Values::from_iter([
            ("count".into(), Raw::Whole(i64::from(want.count))),
            ("first".into(), seconds(rng.random_range(19..=22))),
            ("full".into(), seconds(rng.random_range(29..=32))),
        ]),
        Ask::Identity | Ask::Confirm | Ask::Stages { .. } => one("good", Raw::Flag(true)),
        Ask::Trip(_) => one("at", psi(g.trip)),
    }
}

/// Puts what goes wrong in the place of what would have been good.
pub fn spoil(answers: &mut Vec<Answer>, form: &Form, wrong: &Wrong, own: impl Fn(Subject, &str) -> String) {
    match *wrong {
        Wrong::Apart(by, note) => {
            for (step, a) in form.steps.iter().zip(answers) {
                if let (Ask::Pair { .. }, Some(Raw::Text(t))) = (&step.ask, a.values.get("cylinder")) {
                    let cylinder = t.split(' ').next().and_then(|n| n.parse::<i64>().ok()).unwrap_or(0);
                    a.values.insert("remote".into(), psi(cylinder - by));
                    a.note = Some(note.to_owned());
                }
            }
        }
        Wrong::Pressure(at, note) => {
            for (step, a) in form.steps.iter().zip(answers) {
                match &step.ask {
                    Ask::Reading { .. } => {
                        a.values = one("at", psi(at));
                        a.note = Some(note.to_owned());
                    }
                    Ask::Pair { .. } => {
                        a.values.insert("cylinder".into(), psi(at));
                        a.values.insert("remote".into(), psi(at - 50));
                    }
                    _ => {}
                }
            }
        }
        Wrong::At(step, tries) => {
            let Some(place) = answers.iter().position(|a| a.step == step) else { return };
            let subject = form.step(step).map_or(Subject::Unit, airmuster_domain::rules::FormStep::subject);
            let given = (1..).zip(tries).map(|(attempt, t)| Answer {
                step: step.into(),
                attempt,
                item: t.item.map(|i| own(subject, i)),
                values: t.values.iter().map(|(k, v)| ((*k).into(), entered(v))).collect(),
                note: (!t.note.is_empty()).then(|| t.note.to_owned()),
            });
            answers.splice(place..=place, given.collect::<Vec<_>>());
        }
    }
}

fn entered(text: &str) -> Raw {
    match text {
        "yes" => Raw::Flag(true),
        "no" => Raw::Flag(false),
        t => t.parse().map_or_else(|_| Raw::Text(t.into()), Raw::Whole),
    }
}
