//! The verdict: what a check has made of the unit, said right after it was handed in.

use airmuster_domain::ground::{Forms as _, Kind, effects};
use airmuster_domain::record::{Body, Check, Desk, Field, Outcome};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::{Standing, State as Holds};
use axum::extract::{Path, State};

use super::unit::may;
use crate::service::fleet::{Fleet, UnitFacts};
use crate::store::{Kept, Ticket};
use crate::web::auth::Visitor;
use crate::web::bench::BENCH;
use crate::web::entered;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{checked_words, grounds_words, page, standing, station_href, thin, unit_ref, when};
use crate::web::serving::App;
use crate::web::view::verdict::Verdict;
use crate::web::view::{Action, Link};

/// `GET /records/{seq}/verdict`: how the unit of a check stands now.
pub async fn show_verdict(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Html<Verdict>, WebError> {
    let kept = app.store.record(seq).await?.ok_or(WebError::NotFound)?;
    let Body::Field(Field::Check(check)) = &kept.record.body else {
        return Err(WebError::NotFound);
    };
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let unit = fleet.units.get(&check.unit).ok_or(WebError::NotFound)?;
    let s = &unit.standing;
    let out = matches!(s.state, Holds::OutOfService | Holds::Held);
    let ticket = app.store.tickets_of(&s.asset).await?.into_iter().find(|t| !t.stage.is_closed());
    let awaited = s.state == Holds::CheckDue
        && app.store.uncountersigned().await?.iter().any(|c| c.seq == seq && c.clean);
    let outdated = s.state == Holds::CheckDue
        && app
            .store
            .said(kept.record.name.id)
            .await?
            .iter()
            .any(|k| matches!(&k.record.body, Body::Desk(Desk::Outdated(o)) if o.of == kept.record.name));
    let row = app.store.check_row(seq).await?;
    let clean = row.as_ref().is_some_and(|r| r.clean && r.counts);
    let done = effects(&kept.record, &mut *app.store.tables()).done.filter(|_| row.is_some_and(|r| r.counts));
    let shown = clean || done.is_some_and(|d| s.grounds.iter().any(|g| d.proves(&g.raise)));
    let proved = if shown { proved(check, s, ticket.as_ref(), may(&visitor, BENCH)) } else { ("", None) };
    let is_proof = !proved.0.is_empty();
    let station = fleet.station_of(&unit.row).map(|s| s.id.clone()).or_else(|| visitor.station.clone());
    let board = station.as_deref().map_or("/stations".to_owned(), station_href);
    Ok(Html(Verdict {
        page: page(&app, &visitor, &format!("Unit {}: {}", check.unit, s.state.words())).await?,
        unit: unit_ref(&check.unit),
        place: fleet.place_words(&unit.row),
        standing: standing(s),
        grounds: grounds(&fleet, s),
        now: match (awaited, outdated) {
            (true, _) => AWAITED.to_owned(),
            (_, true) => OUTDATED.to_owned(),
            _ if !proved.0.is_empty() => proved.0.to_owned(),
            _ => now_words(check, s.state),
        },
        bay: bay_words(&app, check),
        others: others(check, s.state, &board, awaited || proved.1.is_some()),
        next: proved.1.unwrap_or_else(|| next(&kept, check, s.state, &board, awaited)),
        // What was just proved is not taken off a rig.
        tag: (out && !is_proof).then(|| format!("/units/{}/tag", check.unit)),
        ticket: ticket.filter(|_| may(&visitor, BENCH) && !is_proof).map(|t| Link {
            text: format!("Ticket {} is open for it", t.ticket),
            href: format!("/tickets/{}", t.ticket),
        }),
        strip: thin(&fleet, unit),
        signed: signed(&fleet, &kept, check, unit),
        record: Link { text: "The record".to_owned(), href: format!("/records/{seq}") },
        run: check.run.to_string(),
    }))
}

/// In sentences; for a unit in service, the check that proves it.
fn grounds(fleet: &Fleet, s: &Standing) -> Vec<String> {
    let mut out = grounds_words(&s.grounds);
    if out.is_empty() {
        let (checked, due) = checked_words(fleet, s);
        let by = s.last_check.as_ref().and_then(|c| c.by.as_deref()).map_or("nobody", |b| fleet.name(b));
        out.push(format!(
            "Complete good check at {} by {by}; it counts until {}.",
            checked.unwrap_or_default(),
            due.unwrap_or_default()
        ));
    }
    out
}

/// Said of a good check that an officer has yet to look at.
const AWAITED: &str = "Everything asked is good. It counts once an officer has countersigned it: tell yours.";

/// Said of a check that was made with a table whose time was over.
const OUTDATED: &str = "This form was fetched before the rule table changed, and its time is over. What the check \
                        found counts; that it was good does not. Check it again: the new form asks what is right now.";

/// What a good proving or acceptance check leads to, and the way there; nothing where the unit rides by now or
/// nobody may do it yet.
fn proved(
    check: &Check,
    s: &Standing,
    ticket: Option<&Ticket>,
    bench: bool,
) -> (&'static str, Option<Action>) {
    let action = |text: &str, href: String| Some(Action { text: text.to_owned(), href, next: true });
    let open = |kinds: &[Kind]| s.grounds.iter().any(|g| kinds.contains(&g.raise.kind));
    match (check.purpose, s.state, ticket) {
        (_, Holds::Held | Holds::Retired | Holds::InService, _) => ("", None),
        (Purpose::Proving, _, Some(ticket)) if open(&[Kind::Finding, Kind::TakenOut]) => {
            let to = bench.then(|| action("Return it to service", format!("/tickets/{}", ticket.ticket)));
            ("Proved. Now return it to service: until then it does not ride.", to.flatten())
        }
        (Purpose::Acceptance, _, _) if open(&[Kind::NotAccepted]) => (
            "Everything asked is good. Now accept it into service: until then it does not ride.",
            action("Accept it into service", format!("/units/{}/clear", check.unit)),
        ),
        _ => ("", None),
    }
}

/// What to do with one's hands now.
fn now_words(check: &Check, state: Holds) -> String {
    match (check.outcome, state) {
        (Outcome::Stopped, _) => {
            "Go. Read the gauge before it rides; the check is kept and can be gone on with."
        }
        (_, Holds::InService) => "It may ride. Leave it stowed and ready.",
        (_, Holds::CheckDue) => "It does not count as checked yet. Finish the check.",
        (_, Holds::PutRight) => "Put it right on the spot, then check it again. Until then it does not ride.",
        (_, Holds::OutOfService) => {
            "Take it off the rig, hang the red tag on it, and fill the seat. Tell your officer."
        }
        (_, Holds::Held) => "Leave it exactly as it is. Tell your officer.",
        (_, Holds::Retired) => "It never rides again.",
    }
    .to_owned()
}

/// What the bay's temperature means for the pressure, and what to fill to in it.
fn bay_words(app: &App, check: &Check) -> Option<String> {
    let form = app.store.tables().form(&check.rules, &check.profile, check.purpose)?;
    entered::bay(&form, &check.answers, check.bay?)
}

fn next(kept: &Kept, check: &Check, state: Holds, board: &str, awaited: bool) -> Action {
    let action = |text: &str, href: String| Action { text: text.to_owned(), href, next: true };
    let again = format!("/units/{}/check", check.unit);
    match (check.outcome, state) {
        (Outcome::Stopped, _) => {
            action("Go on with this check", format!("{again}?continues={}", kept.record.name.id))
        }
        (_, Holds::CheckDue | Holds::PutRight) if !awaited => action("Check it again", again),
        _ => action("Back to the board", board.to_owned()),
    }
}

fn others(check: &Check, state: Holds, board: &str, awaited: bool) -> Vec<Link> {
    let mut out = vec![Link { text: "Why it stands so".to_owned(), href: format!("/units/{}", check.unit) }];
    if check.outcome == Outcome::Stopped || (matches!(state, Holds::CheckDue | Holds::PutRight) && !awaited) {
        out.push(Link { text: "Back to the board".to_owned(), href: board.to_owned() });
    }
    out
}

fn signed(fleet: &Fleet, kept: &Kept, check: &Check, unit: &UnitFacts) -> String {
    let e = &kept.record.envelope;
    let at = when(&fleet.department.clock, e.time(), fleet.now);
    let purpose = check.purpose.title().to_lowercase();
    match (&e.by, &e.written_by) {
        (Some(by), Some(writer)) => format!(
            "{} of unit {}, signed by {} at {at}, written down by {}.",
            check.purpose.title(),
            unit.row.number,
            fleet.name(by),
            fleet.name(writer)
        ),
        (Some(by), None) => {
            format!(
                "{} of unit {}, signed by {} at {at}.",
                check.purpose.title(),
                unit.row.number,
                fleet.name(by)
            )
        }
        (None, _) => format!("Unsigned part of a {purpose} of unit {}, {at}.", unit.row.number),
    }
}
