//! Tokens for programs that read.

use askama::Template;

use super::{Page, Problems};

/// All tokens, and the one that was just made.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/tokens.html")]
pub struct Tokens {
    /// The frame.
    pub page: Page,
    /// The token that was just made.
    pub token: Option<String>,
    /// What was given as its name.
    pub name: String,
    /// All of them.
    pub rows: Vec<TokenLine>,
    /// What to put right.
    pub problems: Problems,
}

/// A token in the list.
#[derive(Clone, Debug, Default)]
pub struct TokenLine {
    /// Its number.
    pub id: i64,
    /// What it is for.
    pub name: String,
    /// When and by whom it was made.
    pub made: String,
    /// When it was used.
    pub used: String,
    /// When it was taken back; empty while it holds.
    pub gone: String,
}
