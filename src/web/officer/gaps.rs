//! Records that a tablet must have written and that are not here, and what became of them.

use airmuster_domain::record::{GapDealt, Misfit};
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::gaps::{Gap, dealt_with, gaps};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::view::Problems;
use crate::web::view::gaps::{DealtRow, GapRow, Gaps};

/// `GET /tablets/gaps`.
pub async fn show_gaps(State(app): State<App>, visitor: Visitor) -> Result<Html<Gaps>, WebError> {
    Ok(Html(view(&app, &visitor, &Input::default(), Problems::default()).await?))
}

/// What the form sends: the gap as it was shown, and what was found out.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    gap: String,
    why: String,
}

/// `POST /tablets/gaps`: somebody has looked into one.
pub async fn deal_with(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let officer = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let Some(gap) = gaps(&app.store).await?.into_iter().find(|g| key(g) == input.gap) else {
        let say = "This is not missing any more, or somebody has dealt with it. Look at the list again.";
        return Err(WebError::Conflict(say.to_owned()));
    };
    if input.why.trim().is_empty() {
        let lines = vec![problem(&key(&gap), "Write down what you found out, and whom you asked.")];
        return Ok(Again(view(&app, &visitor, &input, Problems { lines }).await?).into_response());
    }
    let Gap { tablet, incarnation, what, .. } = gap;
    let body = GapDealt { tablet, incarnation, what, why: input.why.trim().to_owned() };
    hand_in_desk(&app, "gap_dealt", &officer, &body).await?;
    Ok(Redirect::to("/tablets/gaps").into_response())
}

/// A gap's name in the form; letters, digits and hyphens, so that it is a field's id too.
fn key(gap: &Gap) -> String {
    let life = gap.incarnation.map(|i| i.to_string()).unwrap_or_default();
    let what = match gap.what {
        Misfit::Missing { from, to } => format!("missing-{from}-{to}"),
        Misfit::Twice { number } => format!("twice-{number}"),
        Misfit::Breaks { number } => format!("breaks-{number}"),
        Misfit::BeganAnew { last } => format!("anew-{last}"),
    };
    format!("{}_{life}_{what}", gap.tablet)
}

async fn view(app: &App, visitor: &Visitor, input: &Input, problems: Problems) -> Result<Gaps, WebError> {
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let names = app.store.names().await?;
    let short = |tablet: &str| tablet.trim_start_matches("tablet-").to_owned();
    let row = |gap: Gap| {
        let key = key(&gap);
        GapRow {
            tablet: short(&gap.tablet),
            what: gap.what.to_string(),
            seen: when(&clock, gap.seen, now),
            now: to_do(gap.what).to_owned(),
            why: if key == input.gap { input.why.clone() } else { String::new() },
            key,
        }
    };
    let rows = gaps(&app.store).await?.into_iter().map(row).collect();
    let dealt = dealt_with(&app.store).await?.into_iter().map(|(kept, d)| {
        let by = kept.record.envelope.by.as_deref().unwrap_or_default();
        let by = names.get(by).map_or(by, String::as_str);
        DealtRow {
            what: capital(&format!("tablet {}: {}", short(&d.tablet), d.what)),
            who: format!("{by}, {}", when(&clock, kept.record.envelope.time(), now)),
            why: d.why,
            href: format!("/records/{}", kept.place.seq),
        }
    });
    let dealt = dealt.collect();
    Ok(Gaps { page: page(app, visitor, "Missing records").await?, rows, dealt, problems })
}

fn to_do(what: Misfit) -> &'static str {
    match what {
        Misfit::Missing { .. } => {
            "Open “On this tablet” on it. If the record is there, press Send now, or save it to a file and take \
             the file in. If it is not, ask who used the tablet then, and check those units again."
        }
        Misfit::Twice { .. } | Misfit::Breaks { .. } => {
            "The tablet was set back to an earlier state, copied, or its records were altered. Find out which, \
             and check again what it wrote since."
        }
        Misfit::BeganAnew { .. } => {
            "What it had written and not sent by then is lost. Ask who used it, and check those units again."
        }
    }
}
