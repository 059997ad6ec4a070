//! Signing in: choose yourself, give your PIN.

use askama::Template;

use super::{MemberOption, Page, Problems};

/// The sign-in form, sent to `/sign-in` as `member`, `pin` and `next`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "auth/sign_in.html")]
pub struct SignIn {
    /// The frame.
    pub page: Page,
    /// Everybody who may sign in.
    pub members: Vec<MemberOption>,
    /// Where to go afterwards.
    pub next: String,
    /// What to put right.
    pub problems: Problems,
}
