//! Settling a contested or doubted record, naming every version of it.

use std::collections::BTreeSet;

use airmuster_domain::record::{AssetKind, Body, Digest, Settlement};
use airmuster_domain::standing::assets_of;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::doubt::in_doubt;
use crate::service::fleet::Fleet;
use crate::service::history::Event;
use crate::service::intake::DESK;
use crate::store::Kept;
use crate::web::auth::Visitor;
use crate::web::crew::record::doubt_words;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, member_options, page, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::telling::tell;
use crate::web::view::record::{Settle, Variant};
use crate::web::view::{Link, ProblemLine, Problems};

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    variant: Vec<String>,
    accepted: String,
    why: String,
    member: String,
    pin: String,
}

/// `GET /records/{seq}/settle`.
pub async fn show_form(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Html<Settle>, WebError> {
    let kept = app.store.record(seq).await?.ok_or(WebError::NotFound)?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = Input { member, ..Input::default() };
    Ok(Html(view(&app, &visitor, &kept, &input, Vec::new()).await?))
}

/// `POST /records/{seq}/settle`.
pub async fn settle(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let kept = app.store.record(seq).await?.ok_or(WebError::NotFound)?;
    let all = app.store.variants(kept.record.name.id).await?;
    let there: BTreeSet<Digest> = all.iter().map(|k| k.record.name.digest).collect();
    let read: BTreeSet<Digest> = input.variant.iter().filter_map(|d| d.parse().ok()).collect();
    let accepted: Option<Digest> = input.accepted.parse().ok();
    let mut lines = Vec::new();
    if read != there {
        lines.push(problem("variant", "Read every version and tick it; a settlement names them all."));
    }
    if input.accepted != "none" && accepted.is_none_or(|a| !there.contains(&a)) {
        lines.push(problem("accepted", "Say which one holds, or that none does."));
    }
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Write down what you found out, and whom you asked."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if !lines.is_empty() {
        return Ok(Again(view(&app, &visitor, &kept, &input, lines).await?).into_response());
    }
    let body = Settlement {
        id: kept.record.name.id,
        variants: read.into_iter().collect(),
        accepted,
        why: input.why.trim().to_owned(),
    };
    match hand_in_desk(&app, "settlement", &input.member, &body).await {
        Ok(_) => Ok(Redirect::to(&about(&kept, seq).href).into_response()),
        Err(IntakeError::Refused(r)) if r.forbidden => {
            let lines = vec![problem("member", format!("{}.", capital(&r.say)))];
            Ok(Again(view(&app, &visitor, &kept, &input, lines).await?).into_response())
        }
        Err(e) => Err(e.into()),
    }
}

fn about(kept: &Kept, seq: i64) -> Link {
    let unit = match &kept.record.body {
        Body::Field(field) => assets_of(field).into_iter().find(|a| a.kind == AssetKind::Unit),
        Body::Desk(_) => None,
    };
    match unit {
        Some(unit) => Link { text: format!("Unit {}", unit.number), href: format!("/units/{}", unit.number) },
        None => Link { text: format!("Record {seq}"), href: format!("/records/{seq}") },
    }
}

async fn view(
    app: &App,
    visitor: &Visitor,
    kept: &Kept,
    input: &Input,
    lines: Vec<ProblemLine>,
) -> Result<Settle, WebError> {
    let seq = kept.place.seq;
    let Some(doubt) = in_doubt(&app.store, kept.record.name.id).await? else {
        return Err(WebError::Conflict("This record is not in doubt, or is settled by now.".to_owned()));
    };
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let words = doubt_words(&doubt);
    let mut variants = Vec::with_capacity(doubt.variants.len());
    for (n, kept) in (1..).zip(doubt.variants) {
        let event = Event::of(&app.store, kept).await?;
        variants.push(variant(&fleet, n, &event, input));
    }
    Ok(Settle {
        page: page(app, visitor, "Settle a doubtful record").await?,
        action: format!("/records/{seq}/settle"),
        about: about(kept, seq),
        doubt: words,
        variants,
        none_holds: input.accepted == "none",
        why: input.why.clone(),
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
    })
}

fn variant(fleet: &Fleet, number: u32, event: &Event, input: &Input) -> Variant {
    // Whether it counts is what is being settled.
    let told = tell(fleet, &Event { counts: true, ..event.clone() });
    let e = &event.kept.record.envelope;
    let clock = &fleet.department.clock;
    let from = match e.tablet.as_str() {
        DESK => "written on the server".to_owned(),
        tablet => format!("from tablet {}", tablet.trim_start_matches("tablet-")),
    };
    let signed =
        e.by.as_deref().map_or("not signed".to_owned(), |by| format!("signed as {}", fleet.name(by)));
    let digest = event.kept.record.name.digest.to_string();
    Variant {
        short: match told.detail.as_str() {
            "" => format!("Version {number}"),
            detail => format!("Version {number}: {detail}"),
        },
        title: format!(
            "Version {number}, received {} {from}",
            when(clock, event.kept.place.received, fleet.now)
        ),
        says: vec![
            format!("{}, dated {}, {signed}.", told.title, when(clock, e.time(), fleet.now)),
            told.detail,
        ],
        href: format!("/records/{}", event.kept.place.seq),
        ticked: input.variant.contains(&digest),
        holds: input.accepted == digest,
        digest,
    }
}
