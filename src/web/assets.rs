//! Style sheet, scripts and icons, embedded in the program.

use axum::body::Body;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

use super::error::WebError;

#[derive(RustEmbed)]
#[folder = "static/"]
pub struct Static;

/// A file under `/static/`. The browser asks each time whether its copy is still the same.
pub async fn show_file(Path(path): Path<String>, headers: HeaderMap) -> Response {
    let Some(file) = Static::get(&path) else {
        return WebError::NotFound.into_response();
    };
    let tag = file.metadata.sha256_hash().iter().fold(String::from("\""), |mut out, b| {
        use std::fmt::Write;
        let _ = write!(out, "{b:02x}");
        out
    }) + "\"";
    if headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        return StatusCode::NOT_MODIFIED.into_response();
    }
    let mime = mime_guess::from_path(&path).first_or_octet_stream();
    let mime = match mime.type_() {
        mime_guess::mime::TEXT => format!("{mime}; charset=utf-8"),
        _ => mime.to_string(),
    };
    (
        [(header::CONTENT_TYPE, mime), (header::ETAG, tag), (header::CACHE_CONTROL, "no-cache".to_owned())],
        Body::from(file.data),
    )
        .into_response()
}
