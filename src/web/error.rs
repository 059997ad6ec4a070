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
    /// What was asked cannot be answered so, in words.
    Asked(String),
    /// The database cannot be used just now.
    Busy,
    /// The disk or the file on it is in trouble, in words; whether it may pass.
    Trouble(&'static str, bool),
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
            Self::Asked(say) => (StatusCode::BAD_REQUEST, Some(say)),
            Self::Busy => (StatusCode::SERVICE_UNAVAILABLE, None),
            Self::Trouble(say, true) => (StatusCode::SERVICE_UNAVAILABLE, Some(say.to_owned())),
            Self::Trouble(say, false) => (StatusCode::INTERNAL_SERVER_ERROR, Some(say.to_owned())),
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
        Self::of_store(&e)
    }
}

impl WebError {
    /// What a person at a page can do about a failure of the store.
    fn of_store(e: &StoreError) -> Self {
        match e {
            StoreError::DiskFull => Self::Trouble(
                "The server’s disk is full: nothing new is stored until there is room, and then it goes on by \
                 itself. What was acknowledged is safe; tablets keep what they have. Tell whoever looks after \
                 the server.",
                true,
            ),
            StoreError::ReadOnly => Self::Trouble(
                "The server’s disk takes nothing new just now. What was acknowledged is safe; tablets keep what \
                 they have. Tell whoever looks after the server.",
                true,
            ),
            StoreError::Damaged(_) => Self::Trouble(
                "The database is damaged. Use the paper form, and tell whoever looks after the server at once: \
                 the guide “When it breaks” says what to do. Nothing was written.",
                false,
            ),
            StoreError::Disk(_) => Self::Trouble(
                "The server’s disk reports a failure, or has become read-only: nothing was written. Tablets keep \
                 what they have; elsewhere use the paper form. Tell whoever looks after the server at once: the \
                 guide “When it breaks” says what to do.",
                false,
            ),
            e if e.is_passing() => Self::Busy,
            _ => Self::Internal,
        }
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
            IntakeError::Refused(r) => Self::Conflict(format!("{}.", r.say.trim_end_matches('.'))),
            IntakeError::Before(_) => Self::Conflict("This was handed in before.".to_owned()),
            IntakeError::Stopping => Self::Busy,
            IntakeError::Store(e) => {
                tracing::error!(error = %e, "a record could not be stored");
                Self::of_store(&e)
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
