//! Pages as they were last rendered. In the half hour after a change of shift the same few are asked for again
//! and again; one is taken from here until anything is written or the minute is over. What in it is of one request
//! alone (the id of a check) is written over each time.

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
    stamp: Vec<Mark>,
}

/// Where in a page something stands that is of one request alone, as long each time.
#[derive(Debug, Clone)]
struct Mark {
    at: Vec<usize>,
    length: usize,
}

impl Page {
    /// `None` where a text of the stamp does not stand in it, which then cannot be found again.
    fn new(headers: HeaderMap, body: Bytes, stamp: &[String]) -> Option<Self> {
        let text = std::str::from_utf8(&body).ok().filter(|_| !stamp.is_empty()).unwrap_or_default();
        let marks = stamp.iter().map(|mark| {
            let at: Vec<usize> = text.match_indices(mark.as_str()).map(|(at, _)| at).collect();
            (!at.is_empty()).then_some(Mark { at, length: mark.len() })
        });
        let stamp = marks.collect::<Option<_>>()?;
        Some(Self { headers, body, stamp })
    }

    /// With another stamp. `None` where that one is not as long.
    fn stamped(self, stamp: &[String]) -> Option<Response> {
        if self.stamp.is_empty() {
            return Some((self.headers, self.body).into_response());
        }
        let mut body = self.body.to_vec();
        for (mark, text) in self.stamp.iter().zip(stamp) {
            for at in &mark.at {
                let place = body.get_mut(*at..at + mark.length).filter(|p| p.len() == text.len())?;
                place.copy_from_slice(text.as_bytes());
            }
        }
        Some((self.headers, body).into_response())
    }
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
    fn take(&self, moment: Moment, sight: &Sight) -> Option<Page> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.by_sight.get(sight).filter(|_| kept.moment == Some(moment)).cloned()
    }

    fn put(&self, moment: Moment, sight: Sight, page: Page) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.moment != Some(moment) {
            *kept = Pages { moment: Some(moment), ..Pages::default() };
        }
        // Forms are large and many, and leave room for the boards that more people look at.
        let room = if page.stamp.is_empty() { ROOM } else { ROOM / 2 };
        if kept.size + page.body.len() <= room {
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
    shown_with(app, visitor, &[], render).await
}

/// As [`shown`], of a page in which the texts of `stamp` are of this request alone. One from the shelf has them in
/// the places of those with which it was rendered.
pub async fn shown_with(
    app: &App,
    visitor: Visitor,
    stamp: &[String],
    render: impl Future<Output = Response>,
) -> Result<Response, WebError> {
    // Asked before rendering: what is written meanwhile makes it another moment.
    let moment = app.store.moment(app.clock.now()).await?;
    let sight = Sight::of(visitor, app.notice.now());
    if let Some(page) = app.shelf.take(moment, &sight).and_then(|page| page.stamped(stamp)) {
        return Ok(page);
    }
    let response = render.await;
    if response.status() != StatusCode::OK {
        return Ok(response);
    }
    let (parts, body) = response.into_parts();
    let body = to_bytes(body, usize::MAX).await.map_err(|_| WebError::Internal)?;
    if let Some(page) = Page::new(parts.headers.clone(), body.clone(), stamp) {
        app.shelf.put(moment, sight, page);
    }
    Ok(Response::from_parts(parts, Body::from(body)))
}
