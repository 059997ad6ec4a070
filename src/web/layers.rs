//! What every answer passes on its way out: headers, limits, and words for bare errors.

use std::any::Any;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::csrf::CsrfLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use super::auth::{Visitor, identify};
use super::error::{Say, WebError};
use super::html::Html;
use super::present::{capital, page};
use super::serving::App;
use super::view::problem::Problem;

/// Nothing inline, nothing from elsewhere.
pub(super) const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
                                 connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; \
                                 base-uri 'none'; frame-ancestors 'none'";

/// The largest body taken: a batch of records. One form is about 20 kB.
const LARGEST_BODY: usize = 1024 * 1024;

/// How long an answer may take.
const SLOWEST: Duration = Duration::from_secs(20);

/// Puts all layers around the routes. Later ones are further out.
pub fn around(routes: Router<App>, app: &App) -> Router {
    let header = |name, value| SetResponseHeaderLayer::overriding(name, HeaderValue::from_static(value));
    routes
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(CsrfLayer::new())
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, SLOWEST))
        .layer(CatchPanicLayer::custom(on_panic))
        .layer(middleware::from_fn_with_state(app.clone(), dress))
        .layer(CompressionLayer::new())
        .layer(header(header::CONTENT_SECURITY_POLICY, POLICY))
        .layer(header(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        // Not no-referrer: over plain http the browser would then send forms with a null origin.
        .layer(header(header::REFERRER_POLICY, "same-origin"))
        .layer(SetResponseHeaderLayer::if_not_present(
            header::CACHE_CONTROL,
            HeaderValue::from_static("no-store"),
        ))
        .layer(TraceLayer::new_for_http())
        .with_state(app.clone())
}

/// What is added when the browser came over TLS. With a certificate that browsers know by
/// themselves they are told to come back over TLS only; with the local authority not, or a tablet
/// could not read how to install a new one.
pub fn over_tls(router: Router, known: bool) -> Router {
    let router = router.layer(middleware::from_fn(only_over_tls));
    if !known {
        return router;
    }
    router.layer(SetResponseHeaderLayer::overriding(
        header::STRICT_TRANSPORT_SECURITY,
        HeaderValue::from_static("max-age=31536000"),
    ))
}

/// What a browser lets only this very host set, over TLS and for all of it (RFC 6265bis, 4.1.3.2).
const HOST_ONLY: &str = "__Host-";

/// Cookies do not tell ports apart: without this, plain http beside TLS would be sent them too, and
/// another server of the same domain could set them.
async fn only_over_tls(mut request: Request, next: Next) -> Response {
    let sent = request.headers_mut().remove(header::COOKIE);
    let sent = sent.as_ref().and_then(|v| v.to_str().ok()).unwrap_or_default();
    let own: Vec<&str> = sent.split("; ").filter_map(|c| c.strip_prefix(HOST_ONLY)).collect();
    if let Ok(own) = HeaderValue::from_str(&own.join("; ")) {
        request.headers_mut().insert(header::COOKIE, own);
    }
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let cookies: Vec<HeaderValue> = headers.get_all(header::SET_COOKIE).iter().cloned().collect();
    headers.remove(header::SET_COOKIE);
    for cookie in cookies {
        let marked =
            HeaderValue::from_bytes(&[HOST_ONLY.as_bytes(), cookie.as_bytes(), b"; Secure"].concat());
        headers.append(header::SET_COOKIE, marked.unwrap_or(cookie));
    }
    response
}

#[expect(clippy::needless_pass_by_value, reason = "the layer hands the cause over")]
fn on_panic(cause: Box<dyn Any + Send>) -> Response {
    let said =
        cause.downcast_ref::<String>().map(String::as_str).or_else(|| cause.downcast_ref::<&str>().copied());
    tracing::error!(panic = said.unwrap_or("without words"), "a request panicked");
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}

/// Gives an error without a page of its own one that says what to do: HTML for people, JSON for
/// programs.
async fn dress(State(app): State<App>, jar: CookieJar, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let response = next.run(request).await;
    let status = response.status();
    let has_own = |v: &HeaderValue| {
        let v = v.as_bytes();
        v.starts_with(b"text/html") || v.starts_with(b"application/json")
    };
    if !(status.is_client_error() || status.is_server_error())
        || response.headers().get(header::CONTENT_TYPE).is_some_and(has_own)
    {
        return response;
    }
    let say = response.extensions().get::<Say>().cloned();
    let visitor = identify(&app, &jar, path.clone()).await.unwrap_or_else(|_| Visitor::default());
    let frame = page(&app, &visitor, "Not done").await.unwrap_or_default();
    let mut problem = Problem::of(frame, status.as_u16());
    if let Some(Say(say)) = say {
        problem.text = capital(&say);
        if status == StatusCode::CONFLICT {
            // What the handler says is why; only without a word of its own was somebody faster.
            "Not possible now".clone_into(&mut problem.heading);
        }
        if status == StatusCode::SERVICE_UNAVAILABLE {
            "Nothing new is stored just now".clone_into(&mut problem.heading);
        }
    }
    if for_scripts(&path) {
        return (status, axum::Json(serde_json::json!({ "say": problem.text }))).into_response();
    }
    let mut page = Html(problem).into_response();
    *page.status_mut() = status;
    page
}

/// Whether a path is asked for by scripts alone, which read no pages.
pub fn for_scripts(path: &str) -> bool {
    path.starts_with("/api/") || path.starts_with("/offline/")
}

/// What no route answers.
pub async fn not_found() -> WebError {
    WebError::NotFound
}
