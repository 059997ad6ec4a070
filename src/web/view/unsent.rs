//! What this tablet has written and the server has not received: filled by the page's script.

use askama::Template;

use super::Page;

/// The list. The same for everybody: what is in it never leaves the tablet by this page.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/unsent.html")]
pub struct Unsent {
    /// The frame.
    pub page: Page,
}
