//! What a good check does not make of a unit: what stays open against it, and what comes first.

use airmuster_domain::ground::{Kind, Raise};
use airmuster_domain::judge::{Answer, Judgement, Verdict};
use airmuster_domain::rules::{Consequence, Purpose};
use airmuster_domain::standing::{Ground, State};

use super::input::Input;
use crate::service::checking::{BLANK, Checking};
use crate::service::fleet::Fleet;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::present::{grounds_words, page, standing, state, unit_ref};
use crate::web::serving::App;
use crate::web::view::Standing;
use crate::web::view::check::{After, NoCheck};

/// What stands in the way once everything asked is good; none where the unit rides then. Told by what stands
/// now and what `input`, the form, was made with. With `answers` also by which facepiece or cylinder is the
/// good one; without, that is left to the tablet (`needs_another`).
pub fn after_good(checking: &Checking, input: &Input, answers: Option<&[Answer]>) -> Option<After> {
    if checking.unit.number == BLANK {
        return Some(After {
            standing: Standing::CheckDue,
            say: "Everything asked is good. Whether it rides, the station says.",
            because: Vec::new(),
        });
    }
    let open = |g: &&Ground| g.state > State::InService && stays(checking, input, answers, &g.raise);
    let open: Vec<&Ground> = checking.standing.grounds.iter().filter(open).collect();
    let worst = open.iter().map(|g| g.state).max()?;
    let unknown = |g: &Ground| !input.seen.contains(&g.raise.key);
    let only = |kinds: &[Kind]| open.iter().all(|g| kinds.contains(&g.raise.kind));
    let say = match (checking.form.purpose, worst) {
        (_, State::Held) => {
            "Everything asked is good. It is held for an inquiry, and does not ride before it is released."
        }
        (_, State::Retired) => "Everything asked is good. It is retired, and never rides again.",
        (Purpose::Proving, _) if only(&[Kind::Finding, Kind::TakenOut]) => {
            "Everything asked is good. It rides after the return to service, not before."
        }
        (Purpose::Acceptance, _) if only(&[Kind::NotAccepted]) => {
            "Everything asked is good. It rides once it has been accepted into service, not before."
        }
        _ if only(&[Kind::Misread]) => {
            "Everything asked is good. It rides only if another member signs than the one who misread it."
        }
        _ if only(&[Kind::AnotherItem]) => {
            "Everything asked is good. It does not ride before another one than the one that failed is named and good."
        }
        _ if open.iter().all(|g| unknown(g) && g.raise.kind.cleared_by_a_check(checking.form.purpose)) => {
            "Everything asked is good. It does not ride before it is checked again by somebody who knows of this."
        }
        _ => "Everything asked is good. It does not ride before what else is open against it is dealt with.",
    };
    Some(After { standing: state(worst), say, because: grounds_words(open.iter().copied()) })
}

/// Whether a check that is good throughout leaves this open: as `airmuster_domain::ground::clears` asks, or as
/// long as nobody has signed.
fn stays(checking: &Checking, input: &Input, answers: Option<&[Answer]>, raise: &Raise) -> bool {
    let form = &checking.form;
    // Where not everything is asked it counts as no check, only as proof of the repair.
    if !input.repaired.is_empty() {
        return true;
    }
    // What is computed from the time has no record that could have been overlooked.
    let knew = matches!(raise.kind, Kind::CheckDue | Kind::BeenAway)
        || raise.run == Some(input.id)
        || input.seen.contains(&raise.key);
    let asked = raise.step.as_ref().is_none_or(|s| form.step(s).is_some());
    if !raise.kind.cleared_by_a_check(form.purpose) || !knew || !asked {
        return true;
    }
    match raise.kind {
        Kind::AnotherItem => answers.is_some_and(|all| {
            let step = raise.step.as_deref();
            let item = all.iter().rfind(|a| Some(a.step.as_str()) == step).and_then(|a| a.item.as_ref());
            item.is_none() || item == raise.item.as_ref()
        }),
        // Who signs is chosen on the page that says this.
        Kind::Misread => raise.by.is_some(),
        _ => false,
    }
}

/// Of each step at which another facepiece or cylinder must be good: the step, the one that failed, and why.
pub fn needs_another(checking: &Checking) -> Vec<(&str, &str, String)> {
    let open = checking.standing.grounds.iter().filter(|g| g.raise.kind == Kind::AnotherItem);
    open.map(|g| {
        let words = grounds_words([g]).join(" ");
        (g.raise.step.as_deref().unwrap_or_default(), g.raise.item.as_deref().unwrap_or_default(), words)
    })
    .collect()
}

/// Whether everything asked is good in the end and the check proves nothing all the same: a thing failed in
/// it, and was exchanged.
pub fn proves_nothing(checking: &Checking, judged: &Judgement) -> bool {
    checking.form.purpose == Purpose::Proving
        && judged.verdict == Verdict::InService
        && judged.findings.iter().any(|f| f.consequence == Consequence::OutOfService)
}

/// Why no form is shown, in a sentence; none where there is something to check. A check that is handed in
/// all the same is kept.
pub fn nothing_to_check(checking: &Checking) -> Option<&'static str> {
    match checking.standing.state {
        State::Held => Some(
            "This unit is held for an inquiry: leave it exactly as it is. Nothing on it is checked, opened, filled or \
             cleaned until an administrator releases it.",
        ),
        State::Retired => Some("This unit is retired: it never comes back, and is not checked."),
        _ => None,
    }
}

/// The page without steps.
pub async fn no_check(
    app: &App,
    visitor: &Visitor,
    checking: &Checking,
    sentence: &'static str,
) -> Result<NoCheck, WebError> {
    let number = &checking.unit.number;
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    Ok(NoCheck {
        page: page(app, visitor, &format!("Unit {number} is not checked")).await?,
        unit: unit_ref(number),
        place: fleet.place_words(&checking.unit),
        standing: standing(&checking.standing),
        sentence,
        grounds: grounds_words(&checking.standing.grounds),
    })
}
