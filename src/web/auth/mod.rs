//! Who is asking: sessions, and the guard in front of every route.

mod enrol;
mod first;
mod pages;

use std::collections::BTreeSet;

use airmuster_domain::Millis;
use airmuster_domain::record::{Trusted, is_number};
use airmuster_domain::role::Role;
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::Cookie;
use sha2::{Digest as _, Sha256};

use super::error::WebError;
use super::layers::for_scripts;
use super::serving::App;
use super::shelf::shown;
use crate::service::tablets::Bearer;
use crate::service::tokens;
use crate::store::{Holding, Session, TabletRow};

pub use enrol::{enrol, show_enrol};
pub use first::{Peer, show_first, take_first};
pub use pages::{lasting, set_gloves, show_sign_in, sign_in, sign_out};

/// The cookie that names a session.
pub const SESSION: &str = "airmuster_session";
/// The cookie that remembers the gloves setting.
pub const GLOVES: &str = "airmuster_gloves";
/// The cookie that remembers the tablet's station.
pub const STATION: &str = "airmuster_station";
/// The cookie that names the device in records written on it, where it is not enrolled.
pub const TABLET: &str = "airmuster_tablet";
/// The cookie by which an enrolled tablet is known.
pub const TOKEN: &str = "airmuster_enrolled";
/// The header in which a tablet says what it still holds: how many records, the age of the oldest
/// in milliseconds, the last number that it has written, and its incarnation.
pub const HOLDS: &str = "airmuster-holds";
/// The header with what the tablet's key says of a record, or of each of several.
pub const SIGNATURE: &str = "airmuster-signature";
/// The header by which a tablet asks for a page that is to be kept: nobody's own.
pub const AHEAD: &str = "airmuster-ahead";

/// A session ends after this long without use: twelve hours, so that a signed-in bench lasts a
/// working day and not the next one.
const UNUSED: i64 = 12 * 60 * 60 * 1000;
/// On a tablet that everybody takes in hand it ends after a quarter of an hour.
const UNUSED_ON_TABLET: i64 = 15 * 60 * 1000;
/// And anywhere after a week, used or not.
const LONGEST: i64 = 7 * 24 * 60 * 60 * 1000;
/// Use is noted at most once in this time.
const NOTED: i64 = 60 * 1000;
/// How often a tablet's cookie is given anew: browsers forget it after some months.
const RENEWED: i64 = 24 * 60 * 60 * 1000;

/// Who may call a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anyone who reaches the server: what tells nothing of the department.
    Anyone,
    /// An enrolled tablet, or any signed-in member: what a check needs.
    Tablet,
    /// The same, or whoever brings a record that a tablet has signed; the record is weighed.
    Bearer,
    /// Whoever sits at the machine itself, while there is nobody yet who can sign in.
    FirstStart,
    /// A signed-in member with one of these roles.
    Roles(&'static [Role]),
    /// The same, or a program that shows a token for reading.
    Reader(&'static [Role]),
}

impl Who {
    /// Whether a visitor may.
    pub fn allows(self, visitor: &Visitor, bears_signature: bool) -> bool {
        let in_house = visitor.member.is_some() || visitor.enrolled.is_some() || visitor.guest;
        match self {
            Self::Anyone => true,
            Self::Tablet => in_house,
            Self::Bearer => in_house || bears_signature,
            // The guard looks at the connection too.
            Self::FirstStart => false,
            Self::Roles(any) => visitor.is(any),
            Self::Reader(any) => visitor.is(any) || visitor.token.is_some(),
        }
    }
}

/// A signed-in member.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
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
    /// The name of the device in records, once it has one.
    pub tablet: Option<String>,
    /// The enrolled tablet whose session this is.
    pub enrolled: Option<TabletRow>,
    /// A visitor of the demo, who may do what a tablet may.
    pub guest: bool,
    /// The number of the token for reading that a program has shown.
    pub token: Option<i64>,
    /// The page is to be kept on a tablet: it is shown as to nobody in particular.
    pub ahead: bool,
    /// The path that was asked for.
    pub path: String,
}

impl Visitor {
    /// Whether the visitor sees what a check needs.
    pub fn is_in_house(&self) -> bool {
        self.ahead || Who::Tablet.allows(self, false)
    }

    /// Whose word it is that a tablet wrote a record.
    pub fn bearer(&self) -> Bearer {
        match (&self.member, &self.enrolled) {
            (Some(m), _) => Bearer::Member(m.id.clone()),
            (None, Some(t)) => Bearer::Tablet(t.id.clone()),
            (None, None) if self.guest => Bearer::Guest,
            (None, None) => Bearer::Nobody,
        }
    }

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
        gloves: jar.get(GLOVES).is_some_and(|c| c.value() == "on"),
        station: jar.get(STATION).map(|c| c.value().to_owned()),
        tablet: jar.get(TABLET).map(|c| c.value().to_owned()).filter(|t| is_number(t)),
        path,
        ..Visitor::default()
    };
    if let Some(token) = jar.get(TOKEN) {
        visitor.enrolled = app.store.tablet_of_token(&token_hash(token.value())).await?;
    }
    if let Some(tablet) = &visitor.enrolled {
        visitor.tablet = Some(tablet.id.clone());
        visitor.station.get_or_insert_with(|| tablet.station.clone());
    }
    visitor.member = member_of(app, jar, visitor.enrolled.is_some()).await?;
    visitor.guest = app.guests && visitor.member.is_none() && visitor.enrolled.is_none();
    Ok(visitor)
}

/// The member who is signed in.
async fn member_of(app: &App, jar: &CookieJar, on_tablet: bool) -> Result<Option<Member>, WebError> {
    let Some(cookie) = jar.get(SESSION) else { return Ok(None) };
    let hash = token_hash(cookie.value());
    let now = app.clock.now();
    let unused = if on_tablet { UNUSED_ON_TABLET } else { UNUSED };
    let lasts = |s: &Session| now - s.used_at < unused && now - s.began_at < LONGEST;
    let Some(session) = app.store.session(now, &hash).await?.filter(lasts) else { return Ok(None) };
    // Whoever has no role any more has left.
    if session.member.roles.is_empty() {
        return Ok(None);
    }
    if now - session.used_at > NOTED {
        app.store.use_session(now, &hash).await?;
    }
    Ok(Some(Member { id: session.member.id, name: session.name, roles: session.member.roles }))
}

/// Stands before every route and lets through whom the route's line in the list names.
pub async fn guard(
    State((app, who, shelved)): State<(App, Who, bool)>,
    jar: CookieJar,
    mut request: Request,
    next: Next,
) -> Response {
    let path = request.uri().path_and_query().map_or("/", |p| p.as_str()).to_owned();
    let mut visitor = match identify(&app, &jar, path.clone()).await {
        Ok(visitor) => visitor,
        Err(e) => return e.into_response(),
    };
    let begun = match app.is_begun().await {
        Ok(begun) => begun,
        Err(e) => return WebError::from(e).into_response(),
    };
    let headers = request.headers();
    if matches!(who, Who::Reader(_)) {
        visitor.token = match token_of(&app, headers.get(header::AUTHORIZATION)).await {
            Ok(token) => token,
            Err(e) => return e.into_response(),
        };
    }
    if who == Who::FirstStart {
        if begun {
            return WebError::NotFound.into_response();
        }
        if !first::is_here(request.extensions().get(), headers) {
            let say = "Nobody can sign in here yet. Open /first-start at http://localhost on the machine that \
                       the server runs on, or run “airmuster init” there.";
            return WebError::Elsewhere(say).into_response();
        }
    } else if !who.allows(&visitor, headers.contains_key(SIGNATURE)) {
        return match (visitor.member.is_some(), request.method()) {
            (false, &Method::GET) if !begun && !for_scripts(&path) => {
                Redirect::to("/first-start").into_response()
            }
            (false, &Method::GET) if !for_scripts(&path) => {
                Redirect::to(&sign_in_address(&path)).into_response()
            }
            (false, _) if matches!(who, Who::Reader(_)) => {
                // RFC 6750, 3: how to do better.
                (StatusCode::UNAUTHORIZED, [(header::WWW_AUTHENTICATE, "Bearer")]).into_response()
            }
            (false, _) => StatusCode::UNAUTHORIZED.into_response(),
            (true, _) => WebError::Forbidden.into_response(),
        };
    }
    let renewed = match heard(&app, &jar, &visitor, headers.get(HOLDS)).await {
        Ok(renewed) => renewed,
        Err(e) => return e.into_response(),
    };
    // Only for whom the page is: nobody becomes more by asking so.
    visitor.ahead = headers.contains_key(AHEAD) && visitor.is_in_house();
    if visitor.ahead {
        visitor.member = None;
    }
    let asked = (shelved && request.method() == Method::GET).then(|| visitor.clone());
    request.extensions_mut().insert(visitor);
    let answer = match asked {
        Some(visitor) => match shown(&app, visitor, next.run(request)).await {
            Ok(answer) => answer,
            Err(e) => return e.into_response(),
        },
        None => next.run(request).await,
    };
    match renewed {
        Some(cookie) => (CookieJar::new().add(cookie), answer).into_response(),
        None => answer,
    }
}

/// The number of the token that a header shows, where it holds.
async fn token_of(app: &App, shown: Option<&HeaderValue>) -> Result<Option<i64>, WebError> {
    let shown = shown.and_then(|v| v.to_str().ok()).and_then(|v| v.split_once(' '));
    match shown {
        Some((scheme, token)) if scheme.eq_ignore_ascii_case("bearer") => {
            Ok(tokens::find(&app.store, &app.clock, token.trim()).await?.map(|t| t.id))
        }
        _ => Ok(None),
    }
}

/// Notes that a tablet was heard and what it says of itself; gives its cookie anew now and then.
async fn heard(
    app: &App,
    jar: &CookieJar,
    visitor: &Visitor,
    says: Option<&HeaderValue>,
) -> Result<Option<Cookie<'static>>, WebError> {
    let Some(tablet) = &visitor.enrolled else { return Ok(None) };
    let now = app.clock.now();
    let before = now - tablet.seen_at.unwrap_or(0);
    let holding = says.and_then(|v| v.to_str().ok()).and_then(|v| read_holding(v, now));
    let count = |h: Option<&Holding>| h.map(|h| (h.count, h.last));
    let news = holding.is_some() && count(holding.as_ref()) != count(tablet.holding.as_ref());
    if before > NOTED || news {
        let mut write = app.store.begin().await?;
        write.hear_tablet(&tablet.id, holding.as_ref(), now).await?;
        if news { write.commit().await? } else { write.commit_aside().await? }
    }
    let due = now.div_euclid(RENEWED) != (now - before).div_euclid(RENEWED);
    Ok(jar.get(TOKEN).filter(|_| due).map(|c| pages::kept_secret(TOKEN, c.value().to_owned())))
}

/// Reads what a tablet says of itself, its clock not mattering: `3 5400000 23 0192…`.
fn read_holding(text: &str, now: Millis) -> Option<Holding> {
    let mut words = text.split_ascii_whitespace();
    let count: u32 = words.next()?.parse().ok()?;
    let age: u32 = words.next()?.parse().ok()?;
    let last = words.next().zip(words.next()).and_then(|(number, incarnation)| {
        Some(Trusted { incarnation: incarnation.parse().ok()?, number: number.parse().ok()? })
    });
    let oldest_at = (count > 0).then(|| now - Millis::from(age));
    Some(Holding { count: count.into(), oldest_at, last })
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_tablet_says_of_itself_is_read_or_left_alone() {
        let incarnation = "0192c3a0-0000-7000-8000-000000000001";
        let said = read_holding(&format!("3 5000 23 {incarnation}"), 10_000).unwrap();
        assert_eq!((said.count, said.oldest_at), (3, Some(5_000)));
        assert_eq!(said.last, Some(Trusted { incarnation: incarnation.parse().unwrap(), number: 23 }));
        assert_eq!(read_holding("0 0", 10_000), Some(Holding { count: 0, oldest_at: None, last: None }));
        for other in ["", "3", "-1 5", "many 5", "99999999999 1"] {
            assert_eq!(read_holding(other, 10_000), None, "{other}");
        }
    }
}
