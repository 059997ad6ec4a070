//! What is shown when something cannot be done: what happened, and what to do.

use askama::Template;

use super::{Link, Page};

/// A page instead of the one that was asked for.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "shared/problem.html")]
pub struct Problem {
    /// The frame.
    pub page: Page,
    /// What happened, in a few words.
    pub heading: String,
    /// What that means and what to do, in sentences.
    pub text: String,
    /// Ways on.
    pub ways: Vec<Link>,
}

impl Problem {
    /// The words for a status code; the handler adds ways on.
    pub fn of(page: Page, status: u16) -> Self {
        let (heading, text) = match status {
            401 => ("Sign in first", "This page is for members who are signed in."),
            403 => {
                ("Not yours to do", "Your role does not allow this. Ask your officer or the administrator.")
            }
            404 => ("Nothing here", "There is no such page, unit or record. Check the number on the unit."),
            409 => (
                "Somebody was faster",
                "This has changed since you opened it. Nothing of yours was written. \
                 Look at how it stands now, then decide again.",
            ),
            413 => ("Too much at once", "What was sent is larger than a record can be."),
            422 => (
                "Could not be read",
                "What was sent is not complete. Go back: everything you entered is still there.",
            ),
            429 => ("Wait a moment", "Too many tries. Wait a minute, then try again."),
            503 => (
                "Busy, try again",
                "The logbook could not be written just now. Nothing is lost: go back, \
                 wait a few seconds and send it again.",
            ),
            _ => (
                "That did not work",
                "Something went wrong on our side and was logged. Nothing was written. \
                 Go back and try again; if it happens twice, use the paper form and tell \
                 the administrator.",
            ),
        };
        Self { page, heading: heading.into(), text: text.into(), ways: Vec::new() }
    }
}
