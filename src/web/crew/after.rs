//! What a good check does not make of a unit: what stays open against it, and what comes first.

use airmuster_domain::ground::Kind;
use airmuster_domain::judge::{Judgement, Verdict};
use airmuster_domain::rules::{Consequence, Purpose};
use airmuster_domain::standing::{Ground, State};

use crate::service::checking::{BLANK, Checking};
use crate::service::fleet::Fleet;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::present::{grounds_words, page, standing, state, unit_ref};
use crate::web::serving::App;
use crate::web::view::check::{After, NoCheck};

/// What stands in the way once everything asked is good; none where the unit rides then. Told by what
/// stood when the form was made.
pub fn after_good(checking: &Checking) -> Option<After> {
    let open =
        |g: &&Ground| g.state > State::InService && !g.raise.kind.cleared_by_a_check(checking.form.purpose);
    // A form for a unit that is not known yet says nothing of one.
    let open: Vec<&Ground> =
        checking.standing.grounds.iter().filter(open).filter(|_| checking.unit.number != BLANK).collect();
    let worst = open.iter().map(|g| g.state).max()?;
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
        _ => "Everything asked is good. It does not ride before what else is open against it is dealt with.",
    };
    Some(After { standing: state(worst), say, because: grounds_words(open.iter().copied()) })
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
