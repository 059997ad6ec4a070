//! What a repair is proved with: the whole table, or, where the table says what a repair can have touched, the
//! step that failed and those.

use smol_str::SmolStr;

use crate::judge::{Judgement, Problem};
use crate::record::Return;
use crate::rules::{Ask, Consequence, Form, FormStep, Purpose, Subject};

/// Whether a step only reads the unit's own number: no proof is of any unit without it.
fn names_the_unit(step: &FormStep) -> bool {
    matches!(step.ask, Ask::Identity) && step.subject() == Subject::Unit
}

/// Whether the repair of what failed at `step` is proved with `other` among others.
fn with(step: &FormStep, other: &FormStep) -> bool {
    let touches = |t: &Vec<String>| t.contains(&other.step.id);
    other.step.id == step.step.id || names_the_unit(other) || step.step.touches.as_ref().is_some_and(touches)
}

/// A proving check's form without what a repair of what failed at these steps cannot have touched. `None` where
/// everything is to be asked: one of them may have touched anything, or is not a step of this form.
pub fn narrowed<'a>(form: &Form, failed: impl IntoIterator<Item = &'a str>) -> Option<Form> {
    let find = |id: &str| form.step(id).filter(|s| s.step.touches.is_some());
    let failed: Vec<&FormStep> = failed.into_iter().map(find).collect::<Option<_>>()?;
    if failed.is_empty() || form.purpose != Purpose::Proving {
        return None;
    }
    let mut out = form.clone();
    let (asked, others): (Vec<_>, Vec<_>) =
        out.steps.into_iter().partition(|other| failed.iter().any(|f| with(f, other)));
    out.groups.retain(|g| asked.iter().any(|s| s.step.group == g.id));
    out.not_asked.extend(others.into_iter().map(|s| s.step.id));
    out.steps = asked;
    Some(out)
}

/// The steps of a proving check whose repair it proves though it did not ask everything: what a repair there can
/// have touched is good, as they are. Nothing where anything has failed in it, or cannot be read.
pub fn proved(form: &Form, judged: &Judgement, problems: &[Problem]) -> Vec<SmolStr> {
    let failed = judged.findings.iter().any(|f| match f.consequence {
        Consequence::Remark => false,
        Consequence::PutRight => !f.settled,
        Consequence::OutOfService => true,
    });
    if form.purpose != Purpose::Proving || failed || !problems.is_empty() {
        return Vec::new();
    }
    let proves = |step: &&FormStep| {
        step.step.touches.is_some()
            && form.steps.iter().filter(|o| with(step, o)).all(|o| judged.is_good(&o.step.id))
    };
    form.steps.iter().filter(proves).map(|s| s.step.id.as_str().into()).collect()
}

/// Whether a return needs everything proved, whatever failed: after work on a regulator, reducer, valve, gauge
/// or alarm.
pub fn needs_everything(r: &Return) -> bool {
    r.worked_on.iter().any(|part| part.needs_bench_test())
}
