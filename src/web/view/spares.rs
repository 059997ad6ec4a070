//! Reading the spare cylinders of a rig.

use askama::Template;

use super::{Link, MemberOption, Page, Problems};

/// One field a cylinder, and a signature.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/spares.html")]
pub struct SparesForm {
    /// The frame.
    pub page: Page,
    /// Where to go on.
    pub back: Link,
    /// "Engine 2".
    pub rig: String,
    /// Where it is sent.
    pub action: String,
    /// The cylinders.
    pub cylinders: Vec<SpareField>,
    /// Who may sign.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// A cylinder.
#[derive(Clone, Debug, Default)]
pub struct SpareField {
    /// The field's name.
    pub id: String,
    /// "Spare cylinder 1: C-301".
    pub label: String,
    /// "psi".
    pub unit: &'static str,
    /// "Above 4,050 psi. Last 4,480 psi, read 06:58."
    pub help: String,
    /// As entered.
    pub value: String,
    /// What to say at it.
    pub problem: Option<String>,
}
