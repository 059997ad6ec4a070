//! What programs ask: records in, and whether the server is well.

use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::value::RawValue;

use super::auth::{SIGNATURE, Visitor};
use super::error::WebError;
use super::serving::App;
use crate::service::seal;
use crate::service::tablets::read_signature;
use crate::service::{IntakeError, Origin, Receipt};

/// The header in which the seal of a record's signature travels, as base64url.
pub const SEAL: &str = "airmuster-seal";

/// Records in one request at most.
const MOST: usize = 100;

/// `GET /healthz`: whether the database answers.
pub async fn show_health(State(app): State<App>) -> Result<&'static str, WebError> {
    app.store.ping().await?;
    Ok("ok")
}

/// `GET /readyz`: whether records can be taken in now: the database answers and can be written.
pub async fn show_ready(State(app): State<App>) -> Result<&'static str, WebError> {
    app.store.ping().await?;
    app.store.prove_writing().await?;
    Ok("ready")
}

/// What a tablet needs to know of the server before it sends: which history this is, how far
/// backups reach, and the time, from which it learns how wrong its own clock is.
#[derive(Debug, Serialize)]
pub struct HeadAnswer {
    epoch: String,
    seq: i64,
    hash: String,
    backed_up: i64,
    now: i64,
}

/// `GET /api/v1/head`.
pub async fn show_head(State(app): State<App>) -> Result<Json<HeadAnswer>, WebError> {
    let head = app.store.head().await?;
    Ok(Json(HeadAnswer {
        epoch: head.epoch,
        seq: head.seq,
        hash: head.hash.to_string(),
        backed_up: head.backed_up,
        now: app.clock.now(),
    }))
}

/// What one record was answered.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum Answer {
    Taken(Box<Receipt>),
    Refused(Refused),
}

/// A record that was not taken, and what to do: `refused` for good, or `failed` for now.
#[derive(Debug, Serialize)]
struct Refused {
    #[serde(skip)]
    http: StatusCode,
    status: &'static str,
    say: String,
}

/// `POST /api/v1/records`: one record, or a list of them; an answer each, in order.
///
/// The bytes that are stored and hashed are those of the record as they stand in the request. A
/// record of the signed-in member is proven by the session; any other signature is taken down and
/// does not count until it is proven, by the seal that came with a single record or later. What the
/// tablet's own key says of it stands in a header, for a list one after the other with commas between.
pub async fn take_records(
    State(app): State<App>,
    visitor: Visitor,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, WebError> {
    let json = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).is_some_and(|v| {
        v.split(';').next().is_some_and(|t| t.trim().eq_ignore_ascii_case("application/json"))
    });
    if !json {
        return Ok(StatusCode::UNSUPPORTED_MEDIA_TYPE.into_response());
    }
    let said: Vec<&str> = headers
        .get(SIGNATURE)
        .and_then(|v| v.to_str().ok())
        .map(|v| v.split(',').map(str::trim).collect())
        .unwrap_or_default();
    let bearer = visitor.bearer();
    let origin = |nth: usize| Origin::HandedIn {
        bearer: bearer.clone(),
        signature: said.get(nth).and_then(|s| read_signature(s)),
    };
    let many = body.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'[');
    if !many {
        let seal = seal_in(&headers);
        let sealed = seal.is_some();
        let answer = take(&app, body.trim_ascii().to_vec(), seal, origin(0)).await?;
        if sealed {
            app.sealed.look();
        }
        let status = match &answer {
            Answer::Taken(_) => StatusCode::OK,
            Answer::Refused(r) => r.http,
        };
        return Ok((status, Json(answer)).into_response());
    }
    let records: Vec<&RawValue> = serde_json::from_slice(&body).map_err(|_| WebError::Unreadable)?;
    if records.len() > MOST {
        return Err(WebError::Conflict(format!("Send at most {MOST} records at once.")));
    }
    let mut answers = Vec::with_capacity(records.len());
    for (nth, record) in records.into_iter().enumerate() {
        answers.push(match take(&app, record.get().as_bytes().to_vec(), None, origin(nth)).await {
            Ok(answer) => answer,
            // Those behind it in the list must not wait for it.
            Err(IntakeError::Store(e)) if e.is_one_records() => {
                let say = "The server could not store this record; tell whoever looks after the server.";
                let http = StatusCode::INTERNAL_SERVER_ERROR;
                Answer::Refused(Refused { http, status: "failed", say: say.to_owned() })
            }
            // Nothing is known of the rest then.
            Err(e) => return Err(e.into()),
        });
    }
    Ok(Json(answers).into_response())
}

/// A seal that cannot be read is none: the record is kept, its signature still to be proven.
fn seal_in(headers: &HeaderMap) -> Option<Vec<u8>> {
    let sent = headers.get(SEAL)?.to_str().map_err(|_| seal::SealError::Unreadable);
    sent.and_then(seal::read).inspect_err(|e| tracing::warn!(why = %e, "a seal was refused")).ok()
}

async fn take(
    app: &App,
    bytes: Vec<u8>,
    seal: Option<Vec<u8>>,
    origin: Origin,
) -> Result<Answer, IntakeError> {
    match app.intake.submit_sealed(bytes, seal, origin).await {
        Ok(receipt) => Ok(Answer::Taken(Box::new(receipt))),
        Err(e @ (IntakeError::NotARecord(_) | IntakeError::Refused(_) | IntakeError::Before(_))) => {
            let http = StatusCode::UNPROCESSABLE_ENTITY;
            Ok(Answer::Refused(Refused { http, status: "refused", say: e.to_string() }))
        }
        Err(IntakeError::NotAdmitted(say)) => {
            let http = StatusCode::FORBIDDEN;
            Ok(Answer::Refused(Refused { http, status: "refused", say: say.to_owned() }))
        }
        Err(e @ (IntakeError::Store(_) | IntakeError::Stopping)) => Err(e),
    }
}
