//! Pages as they were last rendered. In the half hour after a change of shift the same few are asked for again
//! and again; one is taken from here until anything is written or the minute is over.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::body::{Body, Bytes, to_bytes};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use super::auth::{Member, Visitor};
use super::error::WebError;
use super::serving::App;
use crate::store::Moment;

/// Bytes of all pages together, at most.
const ROOM: usize = 8 * 1024 * 1024;

/// What a page hangs on besides the database and the time. Two visitors who differ in anything here never share one.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Sight {
    path: String,
    member: Option<Member>,
    gloves: bool,
    station: Option<String>,
    tablet: Option<String>,
    /// The id of the enrolled tablet. What else is known of it stands in the database.
    enrolled: Option<String>,
    guest: bool,
    ahead: bool,
    /// The sentence that stands on every page.
    warning: Option<String>,
}

impl Sight {
    fn of(visitor: Visitor, warning: Option<String>) -> Self {
        // Named one by one, so that a new one is not forgotten here.
        let Visitor { member, gloves, station, tablet, enrolled, guest, token: _, ahead, path } = visitor;
        Self {
            path,
            member,
            gloves,
            station,
            tablet,
            enrolled: enrolled.map(|t| t.id),
            guest,
            ahead,
            warning,
        }
    }
}

/// A page, as it leaves its handler.
#[derive(Debug, Clone)]
struct Page {
    headers: HeaderMap,
    body: Bytes,
}

#[derive(Debug, Default)]
struct Pages {
    moment: Option<Moment>,
    by_sight: HashMap<Sight, Page>,
    size: usize,
}

/// The pages of a server.
#[derive(Debug, Clone, Default)]
pub struct Shelf(Arc<Mutex<Pages>>);

impl Shelf {
    fn take(&self, moment: Moment, sight: &Sight) -> Option<Response> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let page = kept.by_sight.get(sight).filter(|_| kept.moment == Some(moment))?.clone();
        Some((page.headers, page.body).into_response())
    }

    fn put(&self, moment: Moment, sight: Sight, page: Page) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.moment != Some(moment) {
            *kept = Pages { moment: Some(moment), ..Pages::default() };
        }
        if kept.size + page.body.len() <= ROOM {
            kept.size += page.body.len();
            kept.by_sight.insert(sight, page);
        }
    }
}

/// The page that `visitor` asks for: from the shelf, or rendered and put there.
pub async fn shown(
    app: &App,
    visitor: Visitor,
    render: impl Future<Output = Response>,
) -> Result<Response, WebError> {
    // Asked before rendering: what is written meanwhile makes it another moment.
    let moment = app.store.moment(app.clock.now()).await?;
    let sight = Sight::of(visitor, app.notice.now());
    if let Some(page) = app.shelf.take(moment, &sight) {
        return Ok(page);
    }
    let response = render.await;
    if response.status() != StatusCode::OK {
        return Ok(response);
    }
    let (parts, body) = response.into_parts();
    let body = to_bytes(body, usize::MAX).await.map_err(|_| WebError::Internal)?;
    app.shelf.put(moment, sight, Page { headers: parts.headers.clone(), body: body.clone() });
    Ok(Response::from_parts(parts, Body::from(body)))
}
