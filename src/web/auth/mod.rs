//! Who is asking: sessions, and the guard in front of every route.

mod pages;

use std::collections::BTreeSet;

use airmuster_domain::record::is_number;
use airmuster_domain::role::Role;
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use sha2::{Digest as _, Sha256};

use super::error::WebError;
use super::serving::App;

pub use pages::{lasting, set_gloves, show_sign_in, sign_in, sign_out};

/// The cookie that names a session.
pub const SESSION: &str = "airmuster_session";
/// The cookie that remembers the gloves setting.
pub const GLOVES: &str = "airmuster_gloves";
/// The cookie that remembers the tablet's station.
pub const STATION: &str = "airmuster_station";
/// The cookie that names the tablet in the records written on it.
pub const TABLET: &str = "airmuster_tablet";

/// A session ends after this long without use: twelve hours, so that a signed-in bench lasts a
/// working day and not the next one.
const UNUSED: i64 = 12 * 60 * 60 * 1000;
/// Use is noted at most once in this time.
const NOTED: i64 = 60 * 1000;

/// Who may call a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anyone who reaches the server: what a shared tablet needs for a check.
    Anyone,
    /// A signed-in member with one of these roles.
    Roles(&'static [Role]),
}

impl Who {
    /// Whether a visitor may.
    pub fn allows(self, member: Option<&Member>) -> bool {
        match self {
            Self::Anyone => true,
            Self::Roles(any) => member.is_some_and(|m| any.iter().any(|r| m.roles.contains(r))),
        }
    }
}

/// A signed-in member.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// The id that records name.
    pub id: String,
    /// What the member is called.
    pub name: String,
    /// Roles.
    pub roles: BTreeSet<Role>,
}

impl Member {
    /// The role that says most about what the member may do here.
    pub fn role(&self) -> &'static str {
        self.roles.iter().max().map_or("member", |r| r.id())
    }
}

/// Who is asking, and how the tablet is set.
#[derive(Debug, Clone, Default)]
pub struct Visitor {
    /// The signed-in member, if any.
    pub member: Option<Member>,
    /// The gloves setting.
    pub gloves: bool,
    /// The station that this tablet looks at.
    pub station: Option<String>,
    /// The tablet's name, once it has one.
    pub tablet: Option<String>,
    /// The path that was asked for.
    pub path: String,
}

impl Visitor {
    /// Whether the visitor has one of these roles.
    pub fn is(&self, any: &[Role]) -> bool {
        self.member.as_ref().is_some_and(|m| any.iter().any(|r| m.roles.contains(r)))
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, WebError> {
        // Every route has the guard before it; a route without would be a mistake of ours.
        parts.extensions.get::<Self>().cloned().ok_or(WebError::Internal)
    }
}

/// The hash under which a session token is kept.
fn token_hash(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// Finds out who is asking. Never fails for want of a session; only for want of the database.
pub async fn identify(app: &App, jar: &CookieJar, path: String) -> Result<Visitor, WebError> {
    let mut visitor = Visitor {
        member: None,
        gloves: jar.get(GLOVES).is_some_and(|c| c.value() == "on"),
        station: jar.get(STATION).map(|c| c.value().to_owned()),
        tablet: jar.get(TABLET).map(|c| c.value().to_owned()).filter(|t| is_number(t)),
        path,
    };
    let Some(cookie) = jar.get(SESSION) else {
        return Ok(visitor);
    };
    let hash = token_hash(cookie.value());
    let now = app.clock.now();
    let Some((id, used)) = app.store.session(&hash).await?.filter(|(_, used)| now - used < UNUSED) else {
        return Ok(visitor);
    };
    let Some(signer) = app.store.signer(&id).await? else {
        return Ok(visitor);
    };
    if now - used > NOTED {
        let mut write = app.store.begin().await?;
        write.use_session(&hash, now).await?;
        write.commit().await?;
    }
    let name = app.store.names().await?.remove(&id).unwrap_or_else(|| id.clone());
    visitor.member = Some(Member { id, name, roles: signer.roles });
    Ok(visitor)
}

/// Stands before every route and lets through whom the route's line in the list names.
pub async fn guard(
    State((app, who)): State<(App, Who)>,
    jar: CookieJar,
    mut request: Request,
    next: Next,
) -> Response {
    let path = request.uri().path_and_query().map_or("/", |p| p.as_str()).to_owned();
    let visitor = match identify(&app, &jar, path.clone()).await {
        Ok(visitor) => visitor,
        Err(e) => return e.into_response(),
    };
    if !who.allows(visitor.member.as_ref()) {
        return match (visitor.member.is_some(), request.method()) {
            (false, &Method::GET) => Redirect::to(&sign_in_address(&path)).into_response(),
            (false, _) => StatusCode::UNAUTHORIZED.into_response(),
            (true, _) => WebError::Forbidden.into_response(),
        };
    }
    request.extensions_mut().insert(visitor);
    next.run(request).await
}

/// The sign-in page, coming back to `path` afterwards.
fn sign_in_address(path: &str) -> String {
    let coded: String = path
        .bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' => char::from(b).to_string(),
            b => format!("%{b:02X}"),
        })
        .collect();
    format!("/sign-in?next={coded}")
}
