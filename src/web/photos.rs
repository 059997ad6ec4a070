//! Photographs: a tablet sends one by its hash, a ticket takes one from a form, pages show them.

use airmuster_domain::record::{Digest, Photo};
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Multipart, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Serialize;

use super::auth::Visitor;
use super::bench::ticket::{Entered, file, view};
use super::entered::sentence;
use super::error::WebError;
use super::html::Again;
use super::present::when;
use super::serving::App;
use super::signing::{hand_in_field, problem};
use super::view::{Problems, Shot};
use crate::service::fleet::Fleet;
use crate::service::photos::{LARGEST, PhotoError};
use crate::store::{PhotosOf, StoreError};

/// The largest body with a picture in it: what stands around it in a form takes a little room.
pub const LARGEST_BODY: usize = LARGEST + 64 * 1024;
/// Photographs shown at once.
const SHOWN: i64 = 24;

#[derive(Debug, Serialize)]
struct Taken {
    digest: Digest,
}

#[derive(Debug, Serialize)]
struct Refused {
    say: String,
}

/// `PUT /api/v1/photos/{digest}`: the picture whose bytes have this SHA-256. A record has to name
/// it first. Sending it again changes nothing.
pub async fn take_photo(
    State(app): State<App>,
    Path(digest): Path<String>,
    body: Bytes,
) -> Result<Response, WebError> {
    let digest: Digest = digest.parse().map_err(|_| WebError::NotFound)?;
    match app.photos.take(digest, body.to_vec()).await {
        Ok(()) => Ok(Json(Taken { digest }).into_response()),
        Err(PhotoError::Store(e)) => Err(e.into()),
        Err(e) => {
            let status = match e {
                PhotoError::NotNamed => StatusCode::CONFLICT,
                PhotoError::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
                PhotoError::OtherKind => StatusCode::UNSUPPORTED_MEDIA_TYPE,
                _ => StatusCode::UNPROCESSABLE_ENTITY,
            };
            Ok((status, Json(Refused { say: e.to_string() })).into_response())
        }
    }
}

/// `GET /photos/{digest}`.
pub async fn show_photo(State(app): State<App>, Path(digest): Path<String>) -> Result<Response, WebError> {
    let digest: Digest = digest.parse().map_err(|_| WebError::NotFound)?;
    let picture = app.store.picture(&digest).await?.ok_or(WebError::NotFound)?;
    let headers = [
        (header::CONTENT_TYPE, "image/jpeg"),
        // The same address is the same picture for ever; only this person's browser keeps it.
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
    ];
    Ok((headers, picture.bytes).into_response())
}

/// `POST /tickets/{ticket}/photos`, from a form in parts. The session is signature enough.
pub async fn take_for_ticket(
    State(app): State<App>,
    visitor: Visitor,
    Path(ticket): Path<u64>,
    mut parts: Multipart,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let job = file(&app, ticket).await?;
    let (mut what, mut bytes) = (String::new(), Vec::new());
    while let Some(part) = parts.next_field().await.map_err(|_| WebError::Unreadable)? {
        match part.name() {
            Some("what") => what = part.text().await.map_err(|_| WebError::Unreadable)?,
            Some("photo") => bytes = part.bytes().await.map_err(|_| WebError::Unreadable)?.to_vec(),
            _ => {}
        }
    }
    let digest = Digest::of(&bytes);
    let problem = match app.photos.made_anew(digest, bytes.clone()).await {
        _ if bytes.is_empty() => problem("photo", "Choose the photo first."),
        Err(PhotoError::Store(e)) => return Err(e.into()),
        Err(e) => problem("photo", sentence(&e.to_string())),
        Ok(picture) => {
            let what = what.trim().chars().take(200).collect();
            let body = Photo { asset: job.ticket.asset.clone(), photo: digest, run: None, step: None, what };
            hand_in_field(&app, "photo", app.clock.id(), &by, &body).await?;
            app.photos.keep(&digest, &picture).await.map_err(|e| match e {
                PhotoError::Store(e) => e.into(),
                _ => WebError::Internal,
            })?;
            return Ok(Redirect::to(&format!("/tickets/{ticket}")).into_response());
        }
    };
    let entered = Entered { problems: Problems { lines: vec![problem] }, ..Entered::default() };
    Ok(Again(view(&app, &visitor, &job, entered).await?).into_response())
}

/// The photographs of something, for a page.
pub async fn shots(app: &App, fleet: &Fleet, of: PhotosOf<'_>) -> Result<Vec<Shot>, StoreError> {
    let clock = &fleet.department.clock;
    let shot = |n: crate::store::Named| {
        let e = &n.kept.record.envelope;
        let by = e.by.as_deref().map(|by| format!(", {}", fleet.name(by))).unwrap_or_default();
        Shot {
            href: n.there.then(|| format!("/photos/{}", n.photo.photo)),
            what: if n.photo.what.is_empty() { "Photo".to_owned() } else { n.photo.what.clone() },
            when: format!("{}{by}", when(clock, e.time(), fleet.now)),
        }
    };
    Ok(app.store.photos(of, SHOWN).await?.into_iter().map(shot).collect())
}
