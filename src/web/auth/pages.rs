//! Signing in and out, and the settings a tablet remembers.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::{Cookie, SameSite};
use axum_extra::extract::{CookieJar, Form, Query};
use serde::Deserialize;

use super::{GLOVES, SESSION, Visitor, token_hash};
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{member_options, page};
use crate::web::serving::App;
use crate::web::signing::check_pin;
use crate::web::view::Problems;
use crate::web::view::auth::SignIn;

#[derive(Debug, Default, Deserialize)]
pub struct Next {
    #[serde(default)]
    next: String,
}

#[derive(Debug, Deserialize)]
pub struct SignInForm {
    #[serde(default)]
    member: String,
    #[serde(default)]
    pin: String,
    #[serde(default)]
    next: String,
}

/// `GET /sign-in`.
pub async fn show_sign_in(
    State(app): State<App>,
    visitor: Visitor,
    Query(q): Query<Next>,
) -> Result<Response, WebError> {
    Ok(Html(sign_in_view(&app, &visitor, "", local(&q.next), Problems::default()).await?).into_response())
}

/// `POST /sign-in`.
pub async fn sign_in(
    State(app): State<App>,
    visitor: Visitor,
    jar: CookieJar,
    Form(form): Form<SignInForm>,
) -> Result<Response, WebError> {
    let next = local(&form.next);
    if let Err(line) = check_pin(&app, &visitor, &form.member, &form.pin).await? {
        let lines = vec![line];
        return Ok(Again(sign_in_view(&app, &visitor, &form.member, next, Problems { lines }).await?)
            .into_response());
    }
    let token = new_token(&app);
    let mut write = app.store.begin().await?;
    // Whoever was signed in here before is not any more.
    if let Some(before) = jar.get(SESSION) {
        write.end_session(&token_hash(before.value())).await?;
    }
    write.begin_session(&token_hash(&token), &form.member, app.clock.now()).await?;
    write.commit().await?;
    Ok((jar.add(cookie(SESSION, token)), Redirect::to(next)).into_response())
}

/// A secret to be known by.
pub fn new_token(app: &App) -> String {
    app.clock.random::<32>().iter().fold(String::new(), |mut out, b| {
        use std::fmt::Write;
        let _ = write!(out, "{b:02x}");
        out
    })
}

async fn sign_in_view(
    app: &App,
    visitor: &Visitor,
    chosen: &str,
    next: &str,
    problems: Problems,
) -> Result<SignIn, WebError> {
    // Who belongs to the department is nobody's business who only reaches the server.
    let typed = (!visitor.is_in_house()).then(|| chosen.to_owned());
    let members = match typed {
        Some(_) => Vec::new(),
        None => member_options(&app.store.people().await?, Some(chosen)),
    };
    Ok(SignIn { page: page(app, visitor, "Sign in").await?, members, typed, next: next.to_owned(), problems })
}

/// `POST /sign-out`. Ends the session; what a tablet still has to hand in is not touched. From a
/// device of the member's own the browser also drops what it has cached of the pages.
pub async fn sign_out(
    State(app): State<App>,
    visitor: Visitor,
    jar: CookieJar,
) -> Result<Response, WebError> {
    if let Some(c) = jar.get(SESSION) {
        let mut write = app.store.begin().await?;
        write.end_session(&token_hash(c.value())).await?;
        write.commit().await?;
    }
    let answer = (jar.remove(Cookie::build(SESSION).path("/")), Redirect::to("/"));
    if visitor.enrolled.is_some() || visitor.guest {
        return Ok(answer.into_response());
    }
    // Never "storage" nor "*": records that are not handed in yet are kept there. Nor "cookies",
    // which would reach other servers of the same domain.
    Ok(([("clear-site-data", "\"cache\"")], answer).into_response())
}

#[derive(Debug, Deserialize)]
pub struct Gloves {
    gloves: String,
}

/// `POST /settings/gloves`.
pub async fn set_gloves(
    jar: CookieJar,
    headers: axum::http::HeaderMap,
    Form(form): Form<Gloves>,
) -> Result<Response, WebError> {
    let value = if form.gloves == "on" { "on" } else { "off" };
    // Back to where the button was; the header's path only, so that it cannot lead elsewhere.
    let back = headers
        .get(axum::http::header::REFERER)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<axum::http::Uri>().ok())
        .and_then(|u| u.path_and_query().map(|p| p.as_str().to_owned()))
        .unwrap_or_default();
    Ok((jar.add(lasting(GLOVES, value.to_owned())), Redirect::to(local(&back))).into_response())
}

/// A cookie that a tablet keeps and that no script and no other site can use.
pub fn kept_secret(name: &'static str, value: String) -> Cookie<'static> {
    Cookie::build((name, value)).path("/").http_only(true).same_site(SameSite::Strict).permanent().build()
}

/// A cookie for as long as the browser runs.
fn cookie(name: &'static str, value: String) -> Cookie<'static> {
    Cookie::build((name, value)).path("/").http_only(true).same_site(SameSite::Strict).build()
}

/// A cookie that a tablet keeps.
pub fn lasting(name: &'static str, value: String) -> Cookie<'static> {
    Cookie::build((name, value)).path("/").http_only(true).same_site(SameSite::Lax).permanent().build()
}

/// A path on this server, or the start page.
fn local(next: &str) -> &str {
    let fine = next.starts_with('/')
        && !next.starts_with("//")
        && !next.contains(['\\', '\r', '\n'])
        && !next.starts_with("/sign-in");
    if fine { next } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::local;

    #[test]
    fn signing_in_never_leads_to_another_server() {
        for next in
            ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example", "elsewhere", ""]
        {
            assert_eq!(local(next), "/", "{next}");
        }
        assert_eq!(local("/bench?stage=x"), "/bench?stage=x");
    }
}
