//! Signing in: choose yourself, give your PIN.

use askama::Template;

use super::{MemberOption, Page, Problems};

/// The sign-in form, sent to `/sign-in` as `member`, `pin` and `next`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "auth/sign_in.html")]
pub struct SignIn {
    /// The frame.
    pub page: Page,
    /// Everybody who may sign in, on a tablet of the department.
    pub members: Vec<MemberOption>,
    /// On any other device: the member's number as typed.
    pub typed: Option<String>,
    /// Where to go afterwards.
    pub next: String,
    /// What to put right.
    pub problems: Problems,
}

/// The form of the first start, sent to `/first-start`.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "auth/first.html")]
pub struct FirstStart {
    /// The frame.
    pub page: Page,
    /// The department's name as typed.
    pub department: String,
    /// The time zone as typed.
    pub zone: String,
    /// The member number as typed.
    pub member: String,
    /// The name as typed.
    pub name: String,
    /// What to put right.
    pub problems: Problems,
}
