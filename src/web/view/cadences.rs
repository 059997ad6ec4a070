//! How often what stands where is checked.

use askama::Template;

use super::ticket::StageOption;
use super::{Page, Problems};

/// Every rig, every place on it and every station's spares.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "officer/cadences.html")]
pub struct Cadences {
    /// The frame.
    pub page: Page,
    /// Rigs, and at the end the spares.
    pub groups: Vec<CadenceGroup>,
    /// What holds by now and is less than the law asks for: where, and why that is said.
    pub less: Vec<String>,
    /// Why it is said; empty where nothing is.
    pub caution: &'static str,
    /// What is to be set; none where nothing was chosen.
    pub form: Option<CadenceForm>,
    /// What to put right.
    pub problems: Problems,
}

/// A rig with its places.
#[derive(Clone, Debug, Default)]
pub struct CadenceGroup {
    /// "Engine 2", "Spares".
    pub name: String,
    /// Its rows.
    pub rows: Vec<CadenceRow>,
}

/// A place.
#[derive(Clone, Debug, Default)]
pub struct CadenceRow {
    /// "Everything on it", "Driver".
    pub place: String,
    /// "Weekly"; where nothing is said and nothing stands there, a dash.
    pub what: String,
    /// "set here 26 Nov by Ada Lindqvist", "as the rig", "unit 117’s own".
    pub from: String,
    /// Where to set it.
    pub href: String,
}

/// The form.
#[derive(Clone, Debug, Default)]
pub struct CadenceForm {
    /// "Engine 2, driver".
    pub name: String,
    /// The place, as sent.
    pub at: String,
    /// Ways to choose from.
    pub ways: Vec<StageOption>,
    /// What to know before less than the law asks for is chosen.
    pub caution: &'static str,
}
