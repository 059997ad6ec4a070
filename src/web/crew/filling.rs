//! The check form as it is shown: the steps of the rule table, with what has been typed so far.

use airmuster_domain::bay::Bay;
use airmuster_domain::judge::{Finding, Judgement, Problem, ask_words};
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::readings::readings;
use airmuster_domain::rules::Consequence;
use airmuster_domain::rules::{Ask, Form, FormStep, StagesOf, Subject};

use super::input::{Input, Typed};
use crate::store::With;
use crate::web::present::{Scale, capital, step_state};
use crate::web::view::check::{Answer, Attempt, BayField, Group, ItemField, Measure, Step, StepState};
use crate::web::view::strip::{Size, Strip};
use crate::web::view::{ProblemLine, Problems};

/// Attempts offered at a step that may be tried again.
const MOST_TRIES: u8 = 3;

/// What the form is filled with.
pub struct Filling<'a> {
    /// The steps.
    pub form: &'a Form,
    /// The marks of the strip.
    pub scale: Scale,
    /// The facepiece and cylinder in the register.
    pub with: &'a With,
    /// What cylinders read in the cold and the heat.
    pub bay: Option<Bay>,
    /// What was typed so far.
    pub input: &'a Input,
    /// What the judge makes of it.
    pub judged: Option<&'a Judgement>,
}

/// The groups of the form.
pub fn groups(filling: &Filling<'_>) -> Vec<Group> {
    let form = filling.form;
    form.groups
        .iter()
        .map(|g| Group {
            id: g.id.clone(),
            title: g.title.clone(),
            caution: g.caution.clone(),
            steps: form.steps.iter().filter(|s| s.step.group == g.id).map(|s| step(filling, s)).collect(),
        })
        .collect()
}

fn step(filling: &Filling<'_>, s: &FormStep) -> Step {
    let Filling { form, scale, with, input, judged, .. } = filling;
    let id = &s.step.id;
    let findings: Vec<&Finding> =
        judged.map(|j| j.findings.iter().filter(|f| f.step == *id).collect()).unwrap_or_default();
    let good = judged.is_some_and(|j| j.is_good(id));
    let again = s.may_put_right() || s.may_try_another() || matches!(s.ask, Ask::Trip(_));
    let tried = input.attempts(id);
    let last = if again { (tried + 1).clamp(2, MOST_TRIES).max(tried) } else { tried.max(1) };
    let expected = match s.subject() {
        Subject::Facepiece => with.facepiece.clone(),
        Subject::Cylinder => with.cylinder.clone(),
        Subject::Unit | Subject::Accessory => None,
    };
    let attempts = (1..=last)
        .map(|n| attempt(form, s, n, input.at(id, n), expected.as_ref(), &findings, good))
        .collect();
    let unsettled = findings.iter().filter(|f| !f.settled).map(|f| step_state(f)).min();
    let state = match (unsettled, good) {
        (Some(state), _) => state,
        (None, true) if findings.is_empty() => StepState::Good,
        (None, true) => StepState::Remark,
        (None, false) => StepState::Missing,
    };
    let when_wrong = match s.step.tell.as_str() {
        "" => s.step.when_wrong.clone(),
        tell => format!("{} Tell: {tell}.", s.step.when_wrong),
    };
    Step {
        id: id.clone(),
        title: s.step.title.clone(),
        instruction: s.step.instruction.clone(),
        right: capital(&ask_words(s, form)),
        caution: s.step.caution.clone(),
        when_wrong,
        basis: basis(s),
        strip: strip(s, scale),
        bay: bay(filling, s),
        timer: timer(s),
        attempts,
        again: match s.subject() {
            Subject::Facepiece => "Try again, or another facepiece".to_owned(),
            Subject::Cylinder => "Try again, or another cylinder".to_owned(),
            Subject::Unit | Subject::Accessory => "Try again".to_owned(),
        },
        state,
    }
}

fn basis(s: &FormStep) -> String {
    match &s.ask {
        Ask::Trip(band) => band.basis.clone(),
        Ask::Stages { want, .. } => want.basis.clone(),
        _ => s.step.basis.clone(),
    }
}

fn strip(s: &FormStep, scale: &Scale) -> Option<Strip> {
    matches!(s.ask, Ask::Reading { .. } | Ask::Pair { .. } | Ask::Trip(_))
        .then(|| Strip { step: s.step.id.clone(), ..scale.empty(Size::Tall) })
}

/// Where the bay's temperature is entered: at the cylinder's pressure, which it explains.
fn bay(filling: &Filling<'_>, s: &FormStep) -> Option<BayField> {
    let (Filling { form, input, .. }, Some(bay)) = (filling, &filling.bay) else { return None };
    if !matches!(s.ask, Ask::Reading { .. }) || s.subject() != Subject::Cylinder {
        return None;
    }
    // Bays are as warm in Fahrenheit where gauges are in psi.
    let scale = match (input.bay_scale.as_str(), form.profile.rated.unit()) {
        ("C" | "F", _) => input.bay_scale.clone(),
        (_, PressureUnit::Psi) => "F".to_owned(),
        _ => "C".to_owned(),
    };
    let said = input.bay().ok().flatten().map(|at| {
        let answers = input.answers(form, filling.with);
        bay.says(at, readings(form, &answers).pressure.map(Pressure::amount))
    });
    Some(BayField { value: input.bay.clone(), scale, said })
}

/// The line for a temperature that cannot be read.
pub fn bay_problem(input: &Input) -> Option<ProblemLine> {
    let say = input.bay().err()?.to_string();
    Some(ProblemLine { field: "bay".to_owned(), text: format!("Temperature in the bay: {say}.") })
}

/// Whole seconds of the timer that runs beside a step.
fn timer(s: &FormStep) -> Option<u32> {
    let seconds = match &s.ask {
        Ask::Hold { at_least } => Some(*at_least),
        Ask::Drop { within, .. } => Some(*within),
        Ask::Stages { of: StagesOf::Motion, want } => want.full_by,
        _ => None,
    }?;
    u32::try_from(seconds.millis() / 1000).ok()
}

fn attempt(
    form: &Form,
    s: &FormStep,
    number: u8,
    typed: Option<&Typed>,
    expected: Option<&String>,
    findings: &[&Finding],
    good: bool,
) -> Attempt {
    let text = |field: &str| typed.and_then(|t| t.get(field)).cloned().unwrap_or_default();
    let finding = findings.iter().find(|f| f.attempt == number);
    let names_item =
        matches!(s.ask, Ask::Identity) && s.subject() != Subject::Unit || number > 1 && s.may_try_another();
    let item = names_item.then(|| ItemField {
        label: match s.subject() {
            Subject::Facepiece => "Facepiece number".to_owned(),
            Subject::Cylinder => "Cylinder number".to_owned(),
            Subject::Unit | Subject::Accessory => "Number".to_owned(),
        },
        value: text("item"),
        expected: expected.cloned(),
    });
    let (verdict, state) = match finding {
        Some(f) => (finding_words(s, f), step_state(f)),
        None if good && typed.is_some_and(|t| t.values().any(|v| !v.is_empty())) => {
            (String::new(), StepState::Good)
        }
        None => (String::new(), StepState::Missing),
    };
    Attempt {
        number: u32::from(number),
        answer: answer(form, s, typed),
        item,
        note: text("note"),
        verdict,
        state,
    }
}

/// What is said beside a try that failed; the script says the same (`findingWords`).
fn finding_words(s: &FormStep, f: &Finding) -> String {
    if f.repeat {
        return format!("Once more, slower. {}.", capital(&f.working));
    }
    let what = match (f.consequence, &f.item) {
        (Consequence::OutOfService, Some(item)) if s.subject().is_separate() => {
            format!("{} {item} out of service", capital(f.subject.words()))
        }
        (Consequence::OutOfService, _) => "Out of service".to_owned(),
        (Consequence::PutRight, _) => "Put right".to_owned(),
        (Consequence::Remark, _) => "Remark".to_owned(),
    };
    format!("{what}: {}.", f.working.replacen(&format!("{}: ", s.step.title), "", 1))
}

fn answer(form: &Form, s: &FormStep, typed: Option<&Typed>) -> Answer {
    let text = |field: &str| typed.and_then(|t| t.get(field)).cloned().unwrap_or_default();
    let measure = |field: &str| {
        let unit = text(&format!("{field}_unit"));
        let own = form.profile.rated.unit().symbol().to_owned();
        Measure { value: text(field), unit: if unit.is_empty() { own } else { unit } }
    };
    let good = match text("good").as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    };
    match s.ask {
        Ask::Identity => Answer::Identity { good },
        Ask::Confirm => Answer::Confirm { good, yes: "Good".to_owned(), no: "Not good".to_owned() },
        Ask::Reading { .. } => Answer::Reading { at: measure("at"), good },
        Ask::Pair { .. } => Answer::Pair { cylinder: measure("cylinder"), remote: measure("remote"), good },
        Ask::Drop { .. } => {
            Answer::Drop { start: measure("start"), end: measure("end"), seconds: text("seconds"), good }
        }
        Ask::Hold { .. } => Answer::Hold { held: text("held"), good },
        Ask::Stages { .. } => {
            Answer::Stages { good, count: text("count"), first: text("first"), full: text("full") }
        }
        Ask::Trip(_) => Answer::Trip { at: measure("at"), good },
    }
}

/// What cannot be read, at its fields and in the order of the form.
pub fn problems(form: &Form, found: &[Problem]) -> Problems {
    let place = |p: &Problem| form.steps.iter().position(|s| s.step.id == p.step);
    let mut found: Vec<&Problem> = found.iter().collect();
    found.sort_by_key(|p| (place(p), p.attempt));
    let lines = found
        .into_iter()
        .map(|p| {
            let title = form.step(&p.step).map_or(p.step.as_str(), |s| s.step.title.as_str());
            let field = match p.field.as_str() {
                "" | "try" => "good",
                field => field,
            };
            ProblemLine {
                field: format!("a.{}.{}.{field}", p.step, p.attempt),
                text: format!("{title}: {}.", p.say),
            }
        })
        .collect();
    Problems { lines }
}
