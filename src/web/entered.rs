//! What was entered in a check, and what was found in it, in words: for the review, the verdict
//! and the record.

use airmuster_domain::bay::Bay;
use airmuster_domain::judge::{Answer, Judgement, Problem, Raw, ask_words, judge_readable};
use airmuster_domain::quantity::{Pressure, Seconds, Temperature};
use airmuster_domain::readings::readings;
use airmuster_domain::rules::{Ask, Consequence, Form, FormStep, Subject};

use super::present::{capital, step_state};
use super::view::check::StepState;
use super::view::review::{Entered, EnteredGroup, Finding};

/// The findings, worst first, with their arithmetic and what to do now.
pub fn findings(form: &Form, j: &Judgement, answers: &[Answer]) -> Vec<Finding> {
    let mut out: Vec<Finding> = j
        .findings
        .iter()
        .map(|f| {
            let step = form.step(&f.step).map(|s| &s.step);
            let answer = answers.iter().find(|a| a.step == f.step && a.attempt == f.attempt);
            Finding {
                step: f.title.clone(),
                state: step_state(f),
                working: sentence(&f.working),
                basis: f.basis.clone(),
                now: step.map(|s| s.when_wrong.clone()).unwrap_or_default(),
                item: f.item.as_ref().map(|number| {
                    let thing = format!("{} {number}", capital(f.subject.words()));
                    match f.consequence {
                        Consequence::OutOfService if f.settled => {
                            format!("{thing} is out of service itself; another one was good.")
                        }
                        _ => thing,
                    }
                }),
                note: answer.and_then(|a| a.note.clone()).unwrap_or_default(),
            }
        })
        .collect();
    out.sort_by_key(|f| f.state);
    out
}

/// What the bay's temperature means for the pressure that was read.
pub fn bay(form: &Form, answers: &[Answer], at: Temperature) -> Option<String> {
    let reading = readings(form, answers).pressure.map(Pressure::amount);
    Some(Bay::of(form)?.says(at, reading))
}

/// Every answer, every try, in the order of the form.
pub fn groups(form: &Form, j: &Judgement, answers: &[Answer]) -> Vec<EnteredGroup> {
    let (_, problems) = judge_readable(form, answers);
    let mut out: Vec<EnteredGroup> = form
        .groups
        .iter()
        .map(|group| EnteredGroup {
            title: group.title.clone(),
            rows: form
                .steps
                .iter()
                .filter(|s| s.step.group == group.id)
                .flat_map(|step| rows(form, step, j, &problems, answers))
                .collect(),
        })
        .collect();
    let unasked = answers.iter().filter(|a| form.step(&a.step).is_none()).map(|a| Entered {
        step: a.step.to_string(),
        answer: raw_words(a),
        note: a.note.clone().unwrap_or_default(),
        state: if a.says_not_good() { StepState::OutOfService } else { StepState::Remark },
        ..Entered::default()
    });
    out.push(EnteredGroup { title: "Not asked in this check".to_owned(), rows: unasked.collect() });
    out.retain(|g| !g.rows.is_empty());
    out
}

/// The steps that were answered: id, title, and what was entered at all tries.
pub fn answered(form: &Form, j: &Judgement, answers: &[Answer]) -> Vec<(String, String, String)> {
    let (_, problems) = judge_readable(form, answers);
    let entered = |step: &FormStep| {
        let said: Vec<String> =
            rows(form, step, j, &problems, answers).into_iter().map(|r| r.answer).collect();
        (!said.is_empty()).then(|| (step.step.id.clone(), step.step.title.clone(), said.join("; then ")))
    };
    form.steps.iter().filter_map(entered).collect()
}

fn rows(
    form: &Form,
    step: &FormStep,
    j: &Judgement,
    problems: &[Problem],
    answers: &[Answer],
) -> Vec<Entered> {
    let mut tries: Vec<&Answer> = answers.iter().filter(|a| a.step == step.step.id).collect();
    tries.sort_by_key(|a| a.attempt);
    tries
        .into_iter()
        .filter_map(|answer| {
            let at = |step: &str, attempt: u8| step == answer.step && attempt == answer.attempt;
            let problem = problems.iter().find(|p| at(&p.step, p.attempt));
            let finding = j.findings.iter().find(|f| at(&f.step, f.attempt));
            let said = match problem {
                Some(_) => Some(raw_words(answer)),
                None => words(step, answer),
            };
            let note = answer.note.clone().unwrap_or_default();
            if said.is_none() && note.is_empty() {
                return None;
            }
            let state = match (&said, problem, finding) {
                (None, ..) | (_, Some(_), _) => StepState::Missing,
                (_, None, Some(f)) => step_state(f),
                (_, None, None) => StepState::Good,
            };
            Some(Entered {
                step: match answer.attempt {
                    1 => step.step.title.clone(),
                    n => format!("{} (try {n})", step.step.title),
                },
                answer: with_item(step, answer, said.unwrap_or_else(|| "no answer".to_owned())),
                limit: problem.map_or_else(|| ask_words(step, form), |p| p.say.clone()),
                note,
                state,
            })
        })
        .collect()
}

/// An answer in words; nothing where nothing was entered.
fn words(step: &FormStep, answer: &Answer) -> Option<String> {
    let good = match answer.values.get("good") {
        Some(Raw::Flag(good)) => Some(*good),
        Some(Raw::Text(t)) => Some(t == "yes"),
        _ => None,
    };
    let pressure = |field: &str| {
        let text = text(answer.values.get(field)?);
        Some(text.parse::<Pressure>().map_or(text, Pressure::words))
    };
    let seconds = |field: &str| {
        let text = text(answer.values.get(field)?);
        Some(text.parse::<Seconds>().map_or(text, |s| s.to_string()))
    };
    let bad = good == Some(false);
    let yes_no = |yes: &str, no: &str| good.map(|g| if g { yes } else { no }.to_owned());
    match &step.ask {
        Ask::Identity => yes_no("this is it", "a different one is here"),
        Ask::Confirm => yes_no("good", "not good"),
        Ask::Reading { .. } | Ask::Pair { .. } if bad => Some("cannot be read".to_owned()),
        Ask::Trip(_) if bad => Some("never sounded".to_owned()),
        Ask::Reading { .. } | Ask::Trip(_) => pressure("at"),
        Ask::Pair { .. } => pressure("cylinder").zip(pressure("remote")).map(|(a, b)| format!("{a} and {b}")),
        Ask::Drop { .. } => {
            let measured = pressure("start").zip(pressure("end")).zip(seconds("seconds"));
            let measured = measured.map(|((a, b), s)| format!("{a} to {b} in {s}"));
            joined([measured, yes_no("good", "not good")])
        }
        Ask::Hold { .. } => joined([seconds("held"), yes_no("held the whole time", "let go")]),
        Ask::Stages { .. } => {
            let count = answer.values.get("count").map(|n| format!("{} stages", text(n)));
            let first = seconds("first").map(|s| format!("the first at {s}"));
            let full = seconds("full").map(|s| format!("full alarm at {s}"));
            joined([count, first, full, yes_no("good", "not good")])
        }
    }
}

fn joined<const N: usize>(parts: [Option<String>; N]) -> Option<String> {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn with_item(step: &FormStep, answer: &Answer, said: String) -> String {
    match (&answer.item, step.subject()) {
        (Some(item), subject @ (Subject::Facepiece | Subject::Cylinder)) => {
            format!("{said} ({} {item})", subject.words())
        }
        (Some(item), _) => format!("{said} ({item})"),
        (None, _) => said,
    }
}

/// What was entered, as it came.
fn raw_words(answer: &Answer) -> String {
    let parts: Vec<String> = answer.values.iter().map(|(k, v)| format!("{k} {}", text(v))).collect();
    parts.join(", ")
}

fn text(raw: &Raw) -> String {
    match raw {
        Raw::Flag(true) => "yes".to_owned(),
        Raw::Flag(false) => "no".to_owned(),
        Raw::Whole(n) => n.to_string(),
        Raw::Decimal(n) => n.to_string(),
        Raw::Text(t) => t.to_string(),
    }
}

/// As a sentence: begins large and ends with a full stop.
pub fn sentence(words: &str) -> String {
    let words = capital(words);
    if words.is_empty() || words.ends_with(['.', '!', '?']) { words } else { format!("{words}.") }
}
