//! Proving a signature: the signer gives the PIN once the station can be reached.

use std::collections::HashSet;

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Field, RecordRef, Signed};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::door::MOST;
use crate::store::Opened;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{page, unit_ref, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin_at, hand_in_desk};
use crate::web::view::unproven::{Unproven, UnprovenRow};
use crate::web::view::{Link, Problems};

/// `GET /unproven`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<Unproven>, WebError> {
    Ok(Html(view(&app, &visitor, Problems::default()).await?))
}

/// A signed record whose signature nothing has proven yet.
pub struct Waiting {
    /// Its number in the logbook.
    pub seq: i64,
    /// Its name.
    pub name: RecordRef,
    /// Who signed.
    pub by: Option<String>,
    at: Millis,
    what: String,
    about: Link,
    is_check: bool,
}

/// All of them: checks first, each kind from the oldest on.
pub async fn waiting(app: &App) -> Result<Vec<Waiting>, WebError> {
    let mut out = Vec::new();
    for c in app.store.unproven().await? {
        out.push(Waiting {
            seq: c.seq,
            name: c.name,
            by: c.by,
            at: c.at,
            what: Purpose::from_id(&c.purpose).map_or("Check", Purpose::title).to_owned(),
            about: Link { text: format!("Unit {}", c.unit), href: unit_ref(&c.unit).href },
            is_check: true,
        });
    }
    let others = app.store.unproven_others().await?;
    let rigs = if others.is_empty() { Vec::new() } else { app.store.rigs().await? };
    for kept in others {
        let (what, about) = match &kept.record.body {
            Body::Field(Field::RigAccepted(a)) => {
                let name = rigs.iter().find(|r| r.id == a.rig).map_or(&a.rig, |r| &r.name);
                ("Acceptance", Link { text: name.clone(), href: format!("/rigs/{}", a.rig) })
            }
            Body::Field(Field::Used(u)) => {
                ("Word of use", Link { text: format!("Unit {}", u.unit), href: unit_ref(&u.unit).href })
            }
            _ => continue,
        };
        out.push(Waiting {
            seq: kept.place.seq,
            name: kept.record.name,
            at: kept.record.envelope.time(),
            by: kept.record.envelope.by,
            what: what.to_owned(),
            about,
            is_check: false,
        });
    }
    Ok(out)
}

#[derive(Debug, Deserialize)]
pub struct Pin {
    #[serde(default)]
    pin: String,
}

/// `POST /records/{seq}/prove`.
pub async fn prove(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
    Form(form): Form<Pin>,
) -> Result<Response, WebError> {
    let row = waiting(&app).await?.into_iter().find(|w| w.seq == seq).ok_or(WebError::NotFound)?;
    let signer = row.by.clone().ok_or(WebError::NotFound)?;
    let field = field_of(seq);
    if let Err(line) = check_pin_at(&app, &visitor, (&field, &field), &signer, &form.pin).await? {
        let view = view(&app, &visitor, Problems { lines: vec![line] }).await?;
        return Ok(Again(view).into_response());
    }
    hand_in_desk(&app, "signature", &signer, &Signed { of: row.name }).await?;
    Ok(Redirect::to("/unproven").into_response())
}

fn field_of(seq: i64) -> String {
    format!("pin-{seq}")
}

/// The list, with what to put right.
pub async fn view(app: &App, visitor: &Visitor, problems: Problems) -> Result<Unproven, WebError> {
    let names = app.store.names().await?;
    let seals = app.store.seals_of_unproven().await?;
    let stopped: HashSet<String> =
        app.store.stopped_members(MOST).await?.into_iter().map(|s| s.name).collect();
    let officer = visitor.is(&[Role::Officer, Role::Administrator]);
    let me = visitor.member.as_ref().map(|m| m.id.as_str());
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let rows = waiting(app)
        .await?
        .into_iter()
        .map(|c| {
            let by = c.by.unwrap_or_default();
            let seal = seals.get(&c.seq).copied();
            let said = match seal {
                Some(None) if stopped.contains(&by) => Some(
                    "Too many wrong PINs: this one is looked at once an officer allows PINs again."
                        .to_owned(),
                ),
                Some(None) => Some("The PIN came sealed. It is looked at in a moment.".to_owned()),
                Some(Some(Opened::Wrong)) => Some(
                    "Not proven: the PIN given with it was another one. An officer settles it.".to_owned(),
                ),
                Some(Some(Opened::Foreign)) => Some(
                    "Not proven: the seal that came with it was not made for it. An officer settles it."
                        .to_owned(),
                ),
                _ => None,
            };
            let raised = seal.flatten().is_some_and(Opened::raises);
            UnprovenRow {
                settle: officer && raised,
                attest: (officer && !raised && c.is_check && me != Some(by.as_str()))
                    .then(|| format!("attest-{}", c.seq)),
                said,
                who: names.get(&by).cloned().unwrap_or(by),
                about: c.about,
                what: c.what,
                when: when(&clock, c.at, now),
                href: format!("/records/{}", c.seq),
                field: field_of(c.seq),
            }
        })
        .collect();
    Ok(Unproven { page: page(app, visitor, "Signatures to prove").await?, rows, problems, officer })
}
