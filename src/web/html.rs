//! Turning a view into a response.

use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::error::WebError;

/// A view to be rendered as a page.
pub struct Html<T>(pub T);

impl<T: Template> IntoResponse for Html<T> {
    fn into_response(self) -> Response {
        match self.0.render() {
            Ok(body) => ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], body).into_response(),
            Err(e) => {
                tracing::error!(error = %e, "a page could not be rendered");
                WebError::Internal.into_response()
            }
        }
    }
}

/// A form that came back because something in it is to be put right.
pub struct Again<T>(pub T);

impl<T: Template> IntoResponse for Again<T> {
    fn into_response(self) -> Response {
        (StatusCode::UNPROCESSABLE_ENTITY, Html(self.0)).into_response()
    }
}
