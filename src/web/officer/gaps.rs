//! Records that a tablet must have written and that are not here.

use axum::extract::State;

use crate::service::gaps::{What, gaps};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{page, when};
use crate::web::serving::App;
use crate::web::view::gaps::{GapRow, Gaps};

/// `GET /tablets/gaps`.
pub async fn show_gaps(State(app): State<App>, visitor: Visitor) -> Result<Html<Gaps>, WebError> {
    let clock = app.store.department().await?.clock;
    let now = app.clock.now();
    let rows = gaps(&app.store).await?.into_iter().map(|gap| GapRow {
        tablet: gap.tablet.trim_start_matches("tablet-").to_owned(),
        what: gap.what.to_string(),
        seen: when(&clock, gap.seen, now),
        now: to_do(gap.what).to_owned(),
    });
    let rows = rows.collect();
    Ok(Html(Gaps { page: page(&app, &visitor, "Missing records").await?, rows }))
}

fn to_do(what: What) -> &'static str {
    match what {
        What::Missing { .. } => {
            "Open “On this tablet” on it. If the record is there, press Send now, or save it to a file and take \
             the file in. If it is not, ask who used the tablet then, and check those units again."
        }
        What::Twice { .. } | What::Breaks { .. } => {
            "The tablet was set back to an earlier state, copied, or its records were altered. Find out which, \
             and check again what it wrote since."
        }
        What::BeganAnew { .. } => {
            "What it had written and not sent by then is lost. Ask who used it, and check those units again."
        }
    }
}
