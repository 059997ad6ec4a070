//! The ground table: what speaks against a unit, what raises it, and the only thing that clears
//! it. This file is the one place that says so; [`Kind::terms`] is the table and [`clears`] is
//! its third column as code.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use smol_str::SmolStr;
use uuid::Uuid;

use crate::Millis;
use crate::judge::{Answer, Finding, Judgement, Problem, Verdict, judge_readable};
use crate::proving::{needs_everything, proved};
use crate::record::{
    Asset, Body, Check, Condition, Correction, Desk, Digest, Field, Outcome, Record, RecordRef, Register,
};
use crate::rules::{Consequence, Form, FormStep, Purpose, Subject};
use crate::standing::State;

/// A class of ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// An answer outside its limit that takes the thing out of service.
    Finding,
    /// The unit's own facepiece or cylinder failed and no other has been tried with success.
    AnotherItem,
    /// An answer that the crew puts right.
    PutRight,
    /// A member's word.
    TakenOut,
    /// The same record id with other bytes.
    Contested,
    /// A record that cannot be judged: its time cannot be right, or this program cannot read it.
    Doubted,
    /// Held for an inquiry.
    Held,
    /// Came back dirty.
    Soiled,
    /// Came back exposed to something harmful.
    Contaminated,
    /// A new unit, or one that the register does not know.
    NotAccepted,
    /// A check stopped by a call, or a check corrected: it must be checked again. Also a use, where its
    /// record does not ask for the check after use.
    CheckAgain,
    /// Used: it must have the check after use.
    Used,
    /// A step that was misread: the reading stays, and somebody else takes it again.
    Misread,
    /// The department's cadence asks for a check. Computed from the time, never stored.
    CheckDue,
    /// Upkeep has lapsed, and the department has it said. Computed, never stored.
    Overdue,
    /// A cylinder past its requalification. Computed, never stored.
    NotToBeFilled,
    /// Upkeep has lapsed or failed. Computed, never stored.
    Lapsed,
    /// A cylinder past its life. Computed, never stored.
    PastLife,
    /// A cylinder filled from a source whose sample failed. Computed, never stored.
    BadAir,
    /// What is fitted to the unit is out of service for its upkeep. Computed, never stored.
    FittedOut,
    /// A notice says to stop using it, or its day to be inspected has passed. Computed, never stored.
    StopUsing,
    /// A notice says to inspect it by a day. Computed, never stored.
    InspectBy,
    /// It was at an outside repairer, or something on it was. Computed, never stored: the moment from
    /// which a check counts again.
    BeenAway,
    /// For good.
    Retired,
}

/// A row of the ground table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// The standing that this ground alone gives.
    pub state: State,
    /// What it is called on a screen.
    pub title: &'static str,
    /// What clears it, and nothing else does.
    pub cleared_by: &'static str,
    /// Who can do that.
    pub who: &'static str,
    /// Whether it is repaired on the bench, and so opens a ticket.
    pub bench: bool,
}

impl Kind {
    /// As written in a ground's key and in the database.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Finding => "finding",
            Self::AnotherItem => "another",
            Self::PutRight => "put-right",
            Self::TakenOut => "taken-out",
            Self::Contested => "contested",
            Self::Doubted => "doubted",
            Self::Held => "held",
            Self::Soiled => "soiled",
            Self::Contaminated => "contaminated",
            Self::NotAccepted => "not-accepted",
            Self::CheckAgain => "check-again",
            Self::Used => "used",
            Self::Misread => "misread",
            Self::CheckDue => "check-due",
            Self::Overdue => "overdue",
            Self::NotToBeFilled => "not-to-be-filled",
            Self::Lapsed => "lapsed",
            Self::PastLife => "past-life",
            Self::BadAir => "bad-air",
            Self::FittedOut => "fitted-out",
            Self::StopUsing => "stop-using",
            Self::InspectBy => "inspect-by",
            Self::BeenAway => "been-away",
            Self::Retired => "retired",
        }
    }

    /// The row of the table.
    pub const fn terms(self) -> Terms {
        use State::{CheckDue, Held, OutOfService, PutRight, Retired};
        match self {
            Self::Finding => row(
                OutOfService,
                "Finding",
                "a return that lists it, with a proving check",
                "a technician qualified for this profile",
                true,
            ),
            Self::AnotherItem => row(
                OutOfService,
                "Needs another one",
                "a good answer at that step with another one, in a signed check",
                "the crew",
                false,
            ),
            Self::PutRight => row(
                PutRight,
                "To be put right",
                "a good answer at that step, in a signed check",
                "the crew",
                false,
            ),
            Self::TakenOut => row(
                OutOfService,
                "Taken out of service",
                "a return that lists it, with a full proving check",
                "a technician qualified for this profile",
                true,
            ),
            Self::Contested => row(
                OutOfService,
                "Two versions of one record",
                "a settlement that names every version",
                "an officer",
                false,
            ),
            Self::Doubted => {
                row(OutOfService, "A record in doubt", "a settlement that names it", "an officer", false)
            }
            Self::Held => row(Held, "Held for an inquiry", "a release", "an administrator", false),
            Self::Soiled => {
                row(PutRight, "Soiled", "cleaning, written down", "a technician or officer", false)
            }
            Self::Contaminated => {
                row(OutOfService, "Contaminated", "cleaning, written down", "a technician or officer", false)
            }
            Self::NotAccepted => row(
                OutOfService,
                "Not yet accepted",
                "acceptance, with an acceptance check",
                "a technician or administrator",
                false,
            ),
            Self::CheckAgain => row(
                CheckDue,
                "Check again",
                "a complete good check by someone who knew of this",
                "the crew",
                false,
            ),
            Self::Used => row(
                CheckDue,
                "Used",
                "a complete good check after use by someone who knew of this",
                "the crew",
                false,
            ),
            Self::Misread => row(
                CheckDue,
                "Read again",
                "a good answer at that step by another member, in a signed check that knew of this",
                "the crew, but not who misread it",
                false,
            ),
            Self::CheckDue => row(CheckDue, "Check due", "a complete good check", "the crew", false),
            Self::Retired => row(Retired, "Retired", "nothing", "nobody", false),
            Self::Overdue
            | Self::NotToBeFilled
            | Self::Lapsed
            | Self::PastLife
            | Self::BadAir
            | Self::FittedOut
            | Self::StopUsing
            | Self::InspectBy
            | Self::BeenAway => self.upkeep_terms(),
        }
    }

    /// Whether a good check of this kind clears it, so that nothing else has to be done first.
    pub fn cleared_by_a_check(self, purpose: Purpose) -> bool {
        match self {
            Self::AnotherItem
            | Self::PutRight
            | Self::CheckAgain
            | Self::Misread
            | Self::CheckDue
            | Self::BeenAway => true,
            Self::Used => purpose.looks_after_use(),
            _ => false,
        }
    }

    /// The rows of what is computed from upkeep.
    const fn upkeep_terms(self) -> Terms {
        use State::{CheckDue, InService, OutOfService};
        match self {
            Self::StopUsing => row(
                OutOfService,
                "Stopped by a notice",
                "what the notice asks for, written down",
                "a technician qualified for this profile",
                false,
            ),
            Self::InspectBy => row(
                InService,
                "To be inspected",
                "what the notice asks for, written down",
                "a technician qualified for this profile",
                false,
            ),
            Self::BeenAway => {
                row(CheckDue, "Was away", "a complete good check made since", "the crew", false)
            }
            Self::Overdue => {
                row(InService, "Upkeep overdue", "the work, written down", "a technician", false)
            }
            Self::NotToBeFilled => row(
                InService,
                "Not to be filled",
                "requalification, written down",
                "a technician or administrator",
                false,
            ),
            Self::Lapsed => row(
                OutOfService,
                "Upkeep lapsed",
                "the work, done and passed, written down",
                "a technician or administrator",
                false,
            ),
            Self::PastLife => row(
                OutOfService,
                "Past its life",
                "a life extension under its special permit, written down",
                "a technician or administrator",
                false,
            ),
            Self::BadAir => row(
                OutOfService,
                "Air in doubt",
                "emptying and flushing, written down",
                "a technician or administrator",
                false,
            ),
            _ => row(
                OutOfService,
                "Fitted with what is out of service",
                "fitting another one",
                "a technician or officer",
                false,
            ),
        }
    }
}

const fn row(
    state: State,
    title: &'static str,
    cleared_by: &'static str,
    who: &'static str,
    bench: bool,
) -> Terms {
    Terms { state, title, cleared_by, who, bench }
}

/// A ground as it was raised.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Raise {
    /// What it speaks against.
    pub asset: Asset,
    /// Names it for ever.
    pub key: String,
    /// Its class.
    pub kind: Kind,
    /// The record that raised it.
    pub from: RecordRef,
    /// The run of the check, which knows of it by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Uuid>,
    /// The step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// The facepiece or cylinder that failed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// When, by the record. Never decides whether it counts.
    pub at: Millis,
    /// By whom, where it was signed; for a misread step, who read it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// In a sentence.
    pub say: String,
    /// What was entered.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub entered: String,
    /// The limit.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub limit: String,
    /// Where the limit comes from.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub basis: String,
    /// The number of the unit on which a facepiece or cylinder failed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
}

/// A signed, complete check as far as it can clear something.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Done {
    /// The record.
    pub name: RecordRef,
    /// The unit.
    pub unit: Asset,
    /// The facepiece and cylinder checked with it, unless answers speak of another one.
    pub with: BTreeSet<Asset>,
    /// When.
    pub at: Millis,
    /// Who signed.
    pub by: Option<String>,
    /// Why it was made.
    pub purpose: Purpose,
    /// The profile as which it was made.
    pub profile: String,
    /// Complete, with nothing to put right and nothing out of service. In a proving check nothing
    /// may have failed at all, not even a thing that was then exchanged: it would prove that thing.
    pub clean: bool,
    /// Steps whose last answer is good, in the order of the form.
    pub good: Vec<SmolStr>,
    /// Steps whose repair it proves though it may not have asked everything ([`crate::proving`]).
    pub proved: Vec<SmolStr>,
    /// By step, the number of the facepiece or cylinder that the good answer is about.
    pub items: BTreeMap<String, String>,
    /// Grounds that the member knew of.
    pub seen: BTreeSet<String>,
}

impl Done {
    /// Whether the last answer to this step is good.
    pub fn is_good(&self, step: &str) -> bool {
        self.good.iter().any(|good| good == step)
    }

    /// Whether it shows that what raised this is dealt with: everything was asked and is good, or what the
    /// repair can have touched.
    pub fn proves(&self, raise: &Raise) -> bool {
        self.purpose == Purpose::Proving
            && match &raise.step {
                None => self.clean,
                Some(step) if self.clean => self.is_good(step),
                Some(step) => self.proved.iter().any(|proved| proved == step),
            }
    }
}

/// Something that may clear a ground.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Act {
    /// A check.
    Check(Done),
    /// A return and its proving check, where that is there and counts.
    Return {
        /// What is returned.
        asset: Asset,
        /// The grounds it lists.
        clears: BTreeSet<String>,
        /// The proving check.
        proving: Option<Done>,
    },
    /// The end of a hold.
    Release(BTreeSet<String>),
    /// Cleaning.
    Cleaned(BTreeSet<String>),
    /// Acceptance of a unit.
    Accepted(Asset),
}

/// Whether an act clears a ground: the third column of the ground table.
///
/// [`Kind::Contested`] and [`Kind::Doubted`] are cleared by settlements, which
/// [`crate::standing::Word`] weighs; [`Kind::CheckDue`] is computed and never raised.
pub fn clears(act: &Act, raise: &Raise) -> bool {
    let knew = |d: &Done| d.seen.contains(&raise.key) || raise.run == Some(d.name.id);
    let good_there = |d: &Done| raise.step.as_ref().is_none_or(|s| d.is_good(s));
    match (raise.kind, act) {
        (Kind::Finding | Kind::TakenOut, Act::Return { asset, clears, proving: Some(p) }) => {
            *asset == raise.asset
                && clears.contains(&raise.key)
                && (p.unit == raise.asset || p.with.contains(&raise.asset))
                && p.proves(raise)
        }
        (Kind::PutRight, Act::Check(d)) => {
            d.unit == raise.asset && knew(d) && raise.step.is_some() && good_there(d)
        }
        (Kind::AnotherItem, Act::Check(d)) => {
            let item = raise.step.as_ref().and_then(|s| d.items.get(s));
            d.unit == raise.asset && knew(d) && good_there(d) && item.is_some() && item != raise.item.as_ref()
        }
        (Kind::CheckAgain, Act::Check(d)) => d.unit == raise.asset && d.clean && knew(d),
        (Kind::Used, Act::Check(d)) => {
            d.unit == raise.asset && d.clean && knew(d) && d.purpose.looks_after_use()
        }
        (Kind::Misread, Act::Check(d)) => {
            d.unit == raise.asset && knew(d) && raise.step.is_some() && good_there(d) && d.by != raise.by
        }
        (Kind::Held, Act::Release(keys)) | (Kind::Soiled | Kind::Contaminated, Act::Cleaned(keys)) => {
            keys.contains(&raise.key)
        }
        (Kind::NotAccepted, Act::Accepted(asset)) => *asset == raise.asset,
        _ => false,
    }
}

/// What a record brings: grounds raised and, for a signed check, what it can clear.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Effects {
    /// Grounds.
    pub raises: Vec<Raise>,
    /// The check, where it is complete.
    pub done: Option<Done>,
    /// Why the record cannot be judged here, where it cannot.
    pub attention: Option<String>,
    /// The verdict, where it was judged.
    pub verdict: Option<Verdict>,
}

/// Where rule tables are found by the hash of their text.
pub trait Forms {
    /// The form for a table, profile and purpose. `None` when the table or profile is not known.
    fn form(&mut self, rules: &Digest, profile: &str, purpose: Purpose) -> Option<std::sync::Arc<Form>>;
}

/// What was entered, in a ground that work on a part has raised.
pub const FITTED: &str = "work on a part";

/// What a record raises and what it can clear.
pub fn effects(record: &Record, forms: &mut dyn Forms) -> Effects {
    let mut out = Effects::default();
    let raise = |asset: Asset, kind: Kind, say: String| plain_raise(record, &asset, kind, say);
    match &record.body {
        Body::Field(Field::Check(check)) => check_effects(record, check, forms, &mut out),
        Body::Field(Field::TakenOut(b)) => {
            out.raises.push(raise(b.asset.clone(), Kind::TakenOut, b.why.clone()));
        }
        Body::Field(Field::Hold(b)) => {
            out.raises.push(raise(b.asset.clone(), Kind::Held, b.why.clone()));
        }
        Body::Field(Field::Used(b)) => {
            let unit = Asset::unit(&b.unit);
            let again = if b.after_use { Kind::Used } else { Kind::CheckAgain };
            out.raises.push(raise(unit.clone(), again, format!("used: {}", b.what)));
            match b.condition {
                Condition::Clean => {}
                Condition::Soiled => {
                    out.raises.push(raise(unit, Kind::Soiled, format!("soiled: {}", b.what)));
                }
                Condition::Contaminated => {
                    out.raises.push(raise(unit, Kind::Contaminated, format!("contaminated: {}", b.what)));
                }
            }
        }
        Body::Field(Field::Unknown { asset, why }) => {
            out.attention = Some(why.clone());
            if let Some(asset) = asset {
                out.raises.push(raise(asset.clone(), Kind::Doubted, why.clone()));
            }
        }
        Body::Desk(Desk::Retired(b)) => {
            out.raises.push(raise(b.asset.clone(), Kind::Retired, b.why.clone()));
        }
        Body::Desk(Desk::Condemned(b)) => {
            out.raises.push(raise(b.asset.clone(), Kind::Retired, format!("condemned: {}", b.why)));
        }
        // Whoever works on what breathing hangs on proves the unit before it rides.
        Body::Desk(Desk::Fitting(f)) if !f.was_there => {
            let fitted = raise(Asset::unit(&f.unit), Kind::TakenOut, f.words());
            out.raises.push(Raise { entered: FITTED.to_owned(), ..fitted });
        }
        Body::Desk(Desk::Register(Register::Unit { number, in_use: false, .. })) => {
            let unit = Asset::unit(number);
            let say = "new: not yet accepted into service".to_owned();
            // Registering a unit anew does not open the question again: the key is the unit's.
            out.raises
                .push(Raise { key: format!("not-accepted/{number}"), ..raise(unit, Kind::NotAccepted, say) });
        }
        Body::Desk(Desk::Rules(b)) => {
            for one in &b.again {
                let say = format!("the rule table changed and the last check does not pass it: {}", one.why);
                out.raises.push(raise(Asset::unit(&one.unit), Kind::CheckAgain, say));
            }
        }
        Body::Field(Field::Note(_) | Field::Photo(_) | Field::RigAccepted(_)) | Body::Desk(_) => {}
    }
    out
}

fn check_effects(record: &Record, check: &Check, forms: &mut dyn Forms, out: &mut Effects) {
    let unit = Asset::unit(&check.unit);
    let Some(form) = forms.form(&check.rules, &check.profile, check.purpose) else {
        let say = format!("made with a rule table or profile ({}) that is not known here", check.profile);
        out.attention = Some(say.clone());
        out.raises.push(plain_raise(record, &unit, Kind::Doubted, say));
        return;
    };
    let (judgement, problems) = judge_readable(&form, &check.answers);
    out.verdict = Some(judgement.verdict);
    if let Some(say) = not_judged(check, &judgement, &problems) {
        out.raises.push(plain_raise(record, &unit, Kind::Doubted, say.clone()));
        out.attention = Some(say);
    }
    raise_findings(record, check, &unit, &judgement, out);
    match check.outcome {
        Outcome::BrokenOff => {}
        Outcome::Stopped => out.raises.push(Raise {
            run: Some(check.run),
            ..plain_raise(
                record,
                &unit,
                Kind::CheckAgain,
                "the check was stopped by a call; read the gauge before it rides".to_owned(),
            )
        }),
        // Unsigned it raises like any other, and clears nothing.
        Outcome::Complete if record.envelope.by.is_none() => {}
        Outcome::Complete => {
            let failed = judgement.findings.iter().any(|f| f.consequence == Consequence::OutOfService);
            let proved = proved(&form, &judgement, &problems);
            out.done = Some(Done {
                name: record.name,
                unit,
                with: tried_with(check, &form),
                at: record.envelope.time(),
                by: record.envelope.by.clone(),
                purpose: check.purpose,
                profile: check.profile.clone(),
                // A table may ask nothing of this kind of check; then nothing was looked at.
                clean: judgement.verdict == Verdict::InService
                    && !form.steps.is_empty()
                    && problems.is_empty()
                    && !(failed && check.purpose == Purpose::Proving),
                items: good_items(check, &form, &judgement.good),
                good: judgement.good.into_iter().map(|(step, _)| step).collect(),
                proved,
                seen: check.seen.iter().cloned().collect(),
            });
        }
    }
}

/// What in a check cannot be judged and so speaks against the unit: an answer that cannot be read,
/// and "not good" at a step that the check does not ask.
fn not_judged(check: &Check, j: &Judgement, problems: &[Problem]) -> Option<String> {
    let not_good = |a: &&Answer| j.not_asked.iter().any(|s| *s == a.step) && a.says_not_good();
    let unasked =
        check.answers.iter().filter(not_good).map(|a| format!("{}: not good, and not asked", a.step));
    let all: Vec<String> = problems.iter().map(ToString::to_string).chain(unasked).collect();
    (!all.is_empty()).then(|| all.join("; "))
}

/// The thing of its own, if any, that a check tried at a step of this subject.
fn own_item(check: &Check, subject: Subject) -> Option<&String> {
    match subject {
        Subject::Facepiece => check.facepiece.as_ref(),
        Subject::Cylinder => check.cylinder.as_ref(),
        Subject::Unit | Subject::Accessory => None,
    }
}

fn tried_with(check: &Check, form: &Form) -> BTreeSet<Asset> {
    let another = |subject: Subject| {
        check.answers.iter().any(|a| {
            a.item.is_some()
                && a.item.as_ref() != own_item(check, subject)
                && form.step(&a.step).is_some_and(|s| s.step.subject == subject)
        })
    };
    let facepiece = check.facepiece.as_deref().filter(|_| !another(Subject::Facepiece)).map(Asset::facepiece);
    let cylinder = check.cylinder.as_deref().filter(|_| !another(Subject::Cylinder)).map(Asset::cylinder);
    facepiece.into_iter().chain(cylinder).collect()
}

fn good_items(check: &Check, form: &Form, good: &[(SmolStr, Option<String>)]) -> BTreeMap<String, String> {
    // Most checks name nothing with an answer; then only what has a number of its own is looked up.
    let named = check.answers.iter().any(|a| a.item.is_some());
    let mut good = good.iter().peekable();
    let about = |step: &FormStep| {
        let (id, item) = good.next_if(|(id, _)| *id == step.step.id)?;
        let item = item.as_ref().or_else(|| own_item(check, step.subject()));
        item.filter(|_| named || step.subject().is_separate()).map(|item| (id.to_string(), item.clone()))
    };
    form.steps.iter().filter_map(about).collect()
}

fn plain_raise(record: &Record, asset: &Asset, kind: Kind, say: String) -> Raise {
    Raise {
        asset: asset.clone(),
        key: format!("{}/{}", kind.id(), record.name.digest),
        kind,
        from: record.name,
        run: None,
        step: None,
        item: None,
        at: record.envelope.time(),
        by: record.envelope.by.clone(),
        say,
        entered: String::new(),
        limit: String::new(),
        basis: String::new(),
        on: None,
    }
}

/// Each finding tags its subject; where that is a facepiece or cylinder with a number, the thing
/// itself is out of service and the unit asks for another one until it has it.
fn raise_findings(record: &Record, check: &Check, unit: &Asset, j: &Judgement, out: &mut Effects) {
    for f in &j.findings {
        // Only a number given with the answer itself says which thing failed.
        let item = f.item.as_deref().and_then(|n| match f.subject {
            Subject::Facepiece => Some(Asset::facepiece(n)),
            Subject::Cylinder => Some(Asset::cylinder(n)),
            Subject::Unit | Subject::Accessory => None,
        });
        match (f.consequence, item) {
            (Consequence::Remark, _) => {}
            (Consequence::PutRight, _) if f.settled => {}
            (Consequence::PutRight, _) => {
                out.raises.push(finding_raise(record, check, unit, Kind::PutRight, f));
            }
            (Consequence::OutOfService, None) => {
                out.raises.push(finding_raise(record, check, unit, Kind::Finding, f));
            }
            (Consequence::OutOfService, Some(item)) => {
                let failed = finding_raise(record, check, &item, Kind::Finding, f);
                out.raises.push(Raise { on: Some(unit.number.clone()), ..failed });
                if !f.settled {
                    out.raises.push(finding_raise(record, check, unit, Kind::AnotherItem, f));
                }
            }
        }
    }
}

fn finding_raise(record: &Record, check: &Check, asset: &Asset, kind: Kind, f: &Finding) -> Raise {
    let item = f.item.as_deref().unwrap_or("-");
    Raise {
        key: format!("{}/{}/{}/{}/{item}", kind.id(), record.name.digest, f.step, f.attempt),
        run: Some(check.run),
        step: Some(f.step.clone()),
        item: f.item.clone(),
        say: if f.working.starts_with(&f.title) {
            f.working.clone()
        } else {
            format!("{}: {}", f.title, f.working)
        },
        entered: f.entered.clone(),
        limit: f.limit.clone(),
        basis: f.basis.clone(),
        ..plain_raise(record, asset, kind, String::new())
    }
}

/// What a correction raises, given the check that it names. It takes the check's power to clear
/// away, leaves its unit to be checked again, asks for each misread step to be done again by
/// somebody else, and raises on the right unit what was found there. What the check found stays
/// found: only what clears a finding clears it.
pub fn correction_effects(
    record: &Record,
    correction: &Correction,
    of: &Record,
    forms: &mut dyn Forms,
) -> Effects {
    let mut out = Effects::default();
    let Body::Field(Field::Check(check)) = &of.body else {
        return out;
    };
    let say = format!("the check was corrected: {}", correction.why);
    out.raises.push(plain_raise(record, &Asset::unit(&check.unit), Kind::CheckAgain, say));
    for step in &correction.misread {
        let by_whom = (check, of.envelope.by.as_ref());
        out.raises.push(misread_raise(record, correction, by_whom, step, forms));
    }
    if let Some((number, profile)) = &correction.right_unit {
        let unit = Asset::unit(number);
        let unjudged = match forms.form(&check.rules, profile, check.purpose) {
            Some(form) => {
                let (judgement, problems) = judge_readable(&form, &check.answers);
                // Keys carry the correction's hash: the same answers raise anew on this unit.
                raise_findings(record, check, &unit, &judgement, &mut out);
                not_judged(check, &judgement, &problems)
            }
            None => Some("that profile is not known here".to_owned()),
        };
        // Nobody can say what was found on it, so it is proved before it rides.
        if let Some(why) = unjudged {
            let say = format!("a check moved here cannot be judged as {profile}: {why}");
            out.raises.push(plain_raise(record, &unit, Kind::TakenOut, say));
        }
    }
    out
}

fn misread_raise(
    record: &Record,
    correction: &Correction,
    (check, signer): (&Check, Option<&String>),
    step: &str,
    forms: &mut dyn Forms,
) -> Raise {
    let form = forms.form(&check.rules, &check.profile, check.purpose);
    let title = form.and_then(|f| f.step(step).map(|s| s.step.title.clone()));
    Raise {
        key: format!("{}/{}/{step}", Kind::Misread.id(), record.name.digest),
        step: Some(step.to_owned()),
        by: signer.cloned(),
        say: format!(
            "{}: misread ({}); somebody else does this step again",
            title.as_deref().unwrap_or(step),
            correction.why
        ),
        ..plain_raise(record, &Asset::unit(&check.unit), Kind::Misread, String::new())
    }
}

/// What a desk record clears, as an act; the proving check of a return is looked up by the caller.
pub fn act_of(desk: &Desk, proving: impl FnOnce(&RecordRef) -> Option<Done>) -> Option<Act> {
    let keys = |k: &[String]| k.iter().cloned().collect();
    match desk {
        Desk::Return(r) => Some(Act::Return {
            asset: r.asset.clone(),
            clears: keys(&r.clears),
            proving: proving(&r.proving).filter(|p| p.clean || !needs_everything(r)),
        }),
        Desk::Release(c) => Some(Act::Release(keys(&c.clears))),
        Desk::Cleaned(c) => Some(Act::Cleaned(keys(&c.clears))),
        Desk::Accepted(a) => Some(Act::Accepted(Asset::unit(&a.unit))),
        _ => None,
    }
}
