//! How a tablet comes to trust this server.

use askama::Template;

/// The one page over plain http. It stands alone: the places of the other pages are not there.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "trust/page.html")]
pub struct TrustPage {
    /// Where airmuster itself is: "<https://airmuster.station.example:8460>".
    pub address: String,
    /// When the authority ends: "3 March 2036".
    pub ends: String,
    /// The authority's fingerprint.
    pub fingerprint: Vec<Group>,
}

/// Four digits of a fingerprint.
#[derive(Clone, Debug, Default)]
pub struct Group {
    /// As devices show them: "4f2a".
    pub digits: String,
    /// As they are read out: "four foxtrot two alfa".
    pub words: String,
}
