//! After use.

use askama::Template;

use super::ticket::StageOption;
use super::{Link, MemberOption, Page, Problems, Standing, in_script};

/// Which units were used, at what, by whom, and how they came back.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/used.html")]
pub struct UsedForm {
    /// The frame.
    pub page: Page,
    /// The rig or unit, and where to go on.
    pub back: Link,
    /// Where it is sent.
    pub action: String,
    /// The first record's id, so that sending it again is seen.
    pub id: String,
    /// Incident, training, burn.
    pub occasions: Vec<StageOption>,
    /// Which one.
    pub what: String,
    /// The units.
    pub units: Vec<UsedUnit>,
    /// Units whose use was just written down: then that is said, and the form is not shown.
    pub written: Vec<String>,
    /// Who may sign.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
    /// What the script needs, as JSON.
    pub about: String,
}

impl UsedForm {
    /// What the script needs, as it may stand inside a script element.
    pub fn about_block(&self) -> String {
        in_script(&self.about)
    }
}

/// A unit that may have been used.
#[derive(Clone, Debug, Default)]
pub struct UsedUnit {
    /// Its number.
    pub number: String,
    /// "Driver".
    pub place: String,
    /// Its standing, where it should not have been used.
    pub standing: Option<Standing>,
    /// Whether it is ticked.
    pub used: bool,
    /// How it came back.
    pub conditions: Vec<StageOption>,
    /// Who may have worn it.
    pub wearers: Vec<MemberOption>,
    /// Cylinders, with commas between.
    pub cylinders: String,
    /// What to say at the condition.
    pub condition_problem: Option<String>,
    /// What to say at the cylinders.
    pub cylinders_problem: Option<String>,
}
