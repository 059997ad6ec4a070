//! The first start on a page: only on the machine itself, and only while nobody can sign in.

use std::net::SocketAddr;

use axum::extract::{ConnectInfo, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::Visitor;
use crate::service::first::{First, FirstError, begin};
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::page;
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::auth::FirstStart;
use crate::web::view::{ProblemLine, Problems};

/// The other end of a connection.
#[derive(Debug, Clone, Copy)]
pub struct Peer(SocketAddr);

impl Peer {
    /// At this address.
    pub fn at(address: SocketAddr) -> Self {
        Self(address)
    }
}

/// Whether a request comes from a browser on this very machine: by the connection, and by the name
/// that was asked for, which a page from elsewhere or a proxy beside us would not have.
pub fn is_here(peer: Option<&ConnectInfo<Peer>>, headers: &HeaderMap) -> bool {
    let near = peer.is_some_and(|ConnectInfo(Peer(a))| a.ip().to_canonical().is_loopback());
    let host = headers.get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let name = name.trim_start_matches('[').trim_end_matches(']');
    let forwarded = ["forwarded", "x-forwarded-for", "x-real-ip"].iter().any(|n| headers.contains_key(*n));
    let own = name == "localhost" || name.parse().is_ok_and(|ip: std::net::IpAddr| ip.is_loopback());
    near && own && !forwarded
}

/// What the form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    department: String,
    zone: String,
    member: String,
    name: String,
    pin: String,
    again: String,
}

/// `GET /first-start`.
pub async fn show_first(State(app): State<App>, visitor: Visitor) -> Result<Html<FirstStart>, WebError> {
    Ok(Html(view(&app, &visitor, Input::default(), Vec::new()).await?))
}

/// `POST /first-start`.
pub async fn take_first(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let first = First {
        department: input.department.clone(),
        zone: input.zone.clone(),
        member: input.member.clone(),
        name: input.name.clone(),
        pin: input.pin.clone(),
    };
    let line = if input.pin == input.again {
        match begin(&app.store, &app.intake, &app.pins, &app.clock, &first).await {
            Ok(()) => return Ok(Redirect::to("/sign-in?next=/tablets").into_response()),
            Err(FirstError::Wrong(field, say)) => problem(field, say),
            Err(FirstError::Begun) => return Err(WebError::NotFound),
            Err(FirstError::Intake(e)) => return Err(e.into()),
            Err(FirstError::Pin(e)) => return Err(e.into()),
            Err(FirstError::Store(e)) => return Err(e.into()),
        }
    } else {
        problem("again", "The two PINs are not the same. Give both again.")
    };
    Ok(Again(view(&app, &visitor, input, vec![line]).await?).into_response())
}

async fn view(
    app: &App,
    visitor: &Visitor,
    input: Input,
    lines: Vec<ProblemLine>,
) -> Result<FirstStart, WebError> {
    Ok(FirstStart {
        page: page(app, visitor, "First start").await?,
        department: input.department,
        zone: input.zone,
        member: input.member,
        name: input.name,
        problems: Problems { lines },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_browser_on_this_machine_that_asked_for_this_machine_is_here() {
        let asked = |peer: &str, host: &str, more: &[&'static str]| {
            let mut headers = HeaderMap::new();
            headers.insert(header::HOST, host.parse().unwrap());
            for name in more {
                headers.insert(*name, "127.0.0.1".parse().unwrap());
            }
            is_here(Some(&ConnectInfo(Peer(peer.parse().unwrap()))), &headers)
        };
        for (peer, host) in [
            ("127.0.0.1:5", "localhost:8460"),
            ("127.0.0.1:5", "127.0.0.1"),
            ("[::1]:5", "[::1]:8460"),
            ("[::ffff:127.0.0.1]:5", "localhost"),
        ] {
            assert!(asked(peer, host, &[]), "{peer} {host}");
        }
        for (peer, host) in [
            ("192.0.2.7:5", "localhost:8460"),
            ("127.0.0.1:5", "airmuster.station.example"),
            ("127.0.0.1:5", "localhost.elsewhere.example"),
            ("127.0.0.1:5", ""),
        ] {
            assert!(!asked(peer, host, &[]), "{peer} {host}");
        }
        assert!(!asked("127.0.0.1:5", "localhost", &["x-forwarded-for"]));
        assert!(!is_here(None, &HeaderMap::new()));
    }
}
