//! What is served over plain http beside HTTPS: one page that explains how a tablet comes to trust
//! this server. The page proves nothing by itself; the fingerprint must be compared with the one
//! at the server.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use sha2::{Digest as _, Sha256};
use tower_http::set_header::SetResponseHeaderLayer;

use super::html::Html;
use super::view::trust::{Group, TrustPage};
use super::{assets, layers};

/// The certificate authority that tablets are to install.
#[derive(Debug, Clone)]
pub struct Authority {
    /// As the devices take it.
    pub der: Vec<u8>,
    /// The same, as some programs want it.
    pub pem: String,
    /// The day on which it ends, ready to read.
    pub ends: String,
}

impl Authority {
    /// The SHA-256 of the certificate, in groups of four digits.
    pub fn fingerprint(&self) -> Vec<String> {
        Sha256::digest(&self.der).chunks(2).map(|two| format!("{:02x}{:02x}", two[0], two[1])).collect()
    }
}

/// The page, the authority in two formats, and the style sheet; from everywhere else to the page.
pub fn router(authority: &Authority, address: &str) -> Router {
    let page = TrustPage {
        address: address.to_owned(),
        ends: authority.ends.clone(),
        fingerprint: authority
            .fingerprint()
            .into_iter()
            .map(|digits| Group { words: spoken(&digits), digits })
            .collect(),
    };
    let file = |kind: &'static str, body: Vec<u8>| {
        get(async move || ([(header::CONTENT_TYPE, HeaderValue::from_static(kind))], body))
    };
    let asset = |path: &'static str| {
        get(async move |headers: HeaderMap| assets::show_file(Path(path.to_owned()), headers).await)
    };
    let routes = Router::new()
        .route("/", get(async move || Html(page)))
        .route("/airmuster-ca.crt", file("application/x-x509-ca-cert", authority.der.clone()))
        .route("/airmuster-ca.pem", file("application/x-pem-file", authority.pem.clone().into_bytes()))
        .route("/static/app.css", asset("app.css"))
        .route("/static/icons/airmuster.svg", asset("icons/airmuster.svg"))
        .fallback(async || found("/"));
    guarded(routes)
}

/// With a certificate that tablets know already there is nothing to explain.
pub fn to_https(address: String) -> Router {
    let routes = Router::new().fallback(async |State(address): State<String>, uri: Uri| {
        found(&format!("{address}{}", uri.path_and_query().map_or("/", |p| p.as_str())))
    });
    guarded(routes.with_state(address))
}

fn guarded(routes: Router) -> Router {
    let header = |name, value| SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value));
    routes
        .layer(header(header::CONTENT_SECURITY_POLICY, layers::POLICY))
        .layer(header(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(header(header::REFERRER_POLICY, "same-origin"))
        .layer(header(header::CACHE_CONTROL, "no-store"))
}

/// 302, which no browser keeps: the way may be another one tomorrow.
fn found(to: &str) -> Response {
    (StatusCode::FOUND, [(header::LOCATION, to)]).into_response()
}

/// Digits as they are read out over the radio (letters after ICAO Annex 10, volume II).
fn spoken(digits: &str) -> String {
    let words: Vec<&str> = digits
        .chars()
        .map(|c| match c {
            '0' => "zero",
            '1' => "one",
            '2' => "two",
            '3' => "three",
            '4' => "four",
            '5' => "five",
            '6' => "six",
            '7' => "seven",
            '8' => "eight",
            '9' => "nine",
            'a' => "alfa",
            'b' => "bravo",
            'c' => "charlie",
            'd' => "delta",
            'e' => "echo",
            _ => "foxtrot",
        })
        .collect();
    words.join(" ")
}
