//! What a handler answers when it cannot do what was asked: a status, and words that say what to
//! do. Internals are logged, never shown.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::service::IntakeError;
use crate::service::pin::PinError;
use crate::store::StoreError;

/// Why a page or an answer cannot be given.
#[derive(Debug)]
pub enum WebError {
    /// There is no such thing.
    NotFound,
    /// The visitor may not.
    Forbidden,
    /// Not from here, in words.
    Elsewhere(&'static str),
    /// The state is against it, in words.
    Conflict(String),
    /// What was sent cannot be read.
    Unreadable,
    /// The database cannot be used just now.
    Busy,
    /// A failure of ours.
    Internal,
}

/// Words to show instead of those that go with the status.
#[derive(Debug, Clone)]
pub struct Say(pub String);

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        let (status, say) = match self {
            Self::NotFound => (StatusCode::NOT_FOUND, None),
            Self::Forbidden => (StatusCode::FORBIDDEN, None),
            Self::Elsewhere(say) => (StatusCode::FORBIDDEN, Some(say.to_owned())),
            Self::Conflict(say) => (StatusCode::CONFLICT, Some(say)),
            Self::Unreadable => (StatusCode::UNPROCESSABLE_ENTITY, None),
            Self::Busy => (StatusCode::SERVICE_UNAVAILABLE, None),
            Self::Internal => (StatusCode::INTERNAL_SERVER_ERROR, None),
        };
        let mut response = status.into_response();
        if let Some(say) = say {
            response.extensions_mut().insert(Say(say));
        }
        response
    }
}

impl From<StoreError> for WebError {
    fn from(e: StoreError) -> Self {
        tracing::error!(error = %e, "the database could not be used");
        if e.is_passing() { Self::Busy } else { Self::Internal }
    }
}

impl From<IntakeError> for WebError {
    fn from(e: IntakeError) -> Self {
        match e {
            IntakeError::NotARecord(e) => {
                tracing::warn!(error = %e, "a form made something that is not a record");
                Self::Unreadable
            }
            IntakeError::NotAdmitted(_) => Self::Forbidden,
            IntakeError::Refused(r) if r.forbidden => Self::Forbidden,
            IntakeError::Refused(r) => Self::Conflict(r.say),
            IntakeError::Before(_) => Self::Conflict("This was handed in before.".to_owned()),
            IntakeError::Stopping => Self::Busy,
            IntakeError::Store(e) => {
                tracing::error!(error = %e, "a record could not be stored");
                if e.is_passing() { Self::Busy } else { Self::Internal }
            }
        }
    }
}

impl From<PinError> for WebError {
    fn from(e: PinError) -> Self {
        match e {
            PinError::Store(e) => e.into(),
            e => {
                tracing::error!(error = %e, "a PIN could not be checked");
                Self::Internal
            }
        }
    }
}
