//! Pages as they were last rendered. In the half hour after a change of shift the same few are asked for again
//! and again; one is taken from here until anything is written or the minute is over. What in it is of one request
//! alone (the id of a check) is put in anew each time.

use std::collections::HashMap;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};

use axum::body::{Body, Bytes, HttpBody, to_bytes};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use hyper::body::{Frame, SizeHint};

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

/// A page, as it leaves its handler, in the pieces that it is sent in: none is copied for it.
#[derive(Debug, Clone)]
struct Page {
    headers: HeaderMap,
    pieces: Arc<[Piece]>,
    size: usize,
    /// How long each text of the stamp is.
    stamp: Vec<usize>,
}

/// A piece of a page.
#[derive(Debug)]
enum Piece {
    Same(Bytes),
    /// A text of the stamp, by its place in that.
    Stamp(usize),
}

impl Page {
    /// `None` where a text of the stamp does not stand in it, which then cannot be found again.
    fn new(headers: HeaderMap, body: &Bytes, stamp: &[String]) -> Option<Self> {
        let text = std::str::from_utf8(body).ok().filter(|_| !stamp.is_empty()).unwrap_or_default();
        let mut marks = Vec::new();
        for (nth, mark) in stamp.iter().enumerate() {
            let before = marks.len();
            marks.extend(text.match_indices(mark.as_str()).map(|(at, _)| (at, nth, mark.len())));
            if marks.len() == before {
                return None;
            }
        }
        marks.sort_unstable();
        let (mut pieces, mut from) = (Vec::new(), 0);
        for (at, nth, length) in marks {
            // One within another could not be put in by itself.
            if at < from {
                return None;
            }
            pieces.extend([Piece::Same(body.slice(from..at)), Piece::Stamp(nth)]);
            from = at + length;
        }
        pieces.push(Piece::Same(body.slice(from..)));
        let stamp = stamp.iter().map(String::len).collect();
        Some(Self { headers, pieces: pieces.into(), size: body.len(), stamp })
    }

    /// With this stamp. `None` where it is not as long as the one before.
    fn stamped(self, stamp: &[String]) -> Option<Response> {
        if !stamp.iter().map(String::len).eq(self.stamp) {
            return None;
        }
        let stamp: Vec<Bytes> = stamp.iter().map(|text| text.clone().into()).collect();
        let piece = |piece: &Piece| match piece {
            Piece::Same(bytes) => Some(bytes.clone()),
            Piece::Stamp(nth) => stamp.get(*nth).cloned(),
        };
        let pieces: Option<Vec<Bytes>> = self.pieces.iter().map(piece).collect();
        Some((self.headers, Body::new(Pieces(pieces?.into_iter()))).into_response())
    }
}

/// A body that is there already, in pieces.
struct Pieces(std::vec::IntoIter<Bytes>);

impl HttpBody for Pieces {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        Poll::Ready(self.0.next().map(|piece| Ok(Frame::data(piece))))
    }

    fn is_end_stream(&self) -> bool {
        self.0.as_slice().is_empty()
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.0.as_slice().iter().map(|piece| piece.len() as u64).sum())
    }
}

#[derive(Debug, Default)]
struct Pages {
    moment: Option<Moment>,
    by_sight: HashMap<Sight, Page>,
    size: usize,
}

/// The pages of a server.
#[derive(Debug, Default)]
pub struct Shelf(Mutex<Pages>);

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
        if kept.size + page.size <= room {
            kept.size += page.size;
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
    if let Some(page) = Page::new(parts.headers.clone(), &body, stamp) {
        app.shelf.put(moment, sight, page);
    }
    Ok(Response::from_parts(parts, Body::from(body)))
}
