//! Review and sign: everything entered on one screen, findings first, then the PIN.

use askama::Template;

use super::check::{After, StepState};
use super::{Fact, Link, Mark, MemberOption, Page, Problems, Standing, UnitRef};

/// The last look before a check is signed.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/review.html")]
pub struct Review {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Where it rides.
    pub place: String,
    /// "Shift-start check".
    pub purpose_words: String,
    /// What the unit will be once this is handed in.
    pub standing: Standing,
    /// What stands in the way though everything asked is good.
    pub after: Option<After>,
    /// A proving check in which a thing failed and was exchanged.
    pub proves_nothing: bool,
    /// Whether it will wait for an officer's countersignature.
    pub countersigned: bool,
    /// What is wrong, worst first.
    pub findings: Vec<Finding>,
    /// Steps without an answer, linking back to them in the form; empty when complete.
    pub missing: Vec<Link>,
    /// What the bay's temperature means for the pressure, in sentences.
    pub bay: Option<String>,
    /// Everything entered.
    pub groups: Vec<EnteredGroup>,
    /// Every field of the form again, sent along: name and value.
    pub hidden: Vec<Fact>,
    /// Who may sign.
    pub members: Vec<MemberOption>,
    /// Who may have written it down for the signer.
    pub writers: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// An answer outside its limit, with its arithmetic.
#[derive(Clone, Debug, Default)]
pub struct Finding {
    /// "Do both gauges agree?"
    pub step: String,
    /// The consequence, as a state.
    pub state: StepState,
    /// The working: "490 psi apart; limit 450, the stricter of 450 psi and 10 % of 5,500 psi."
    pub working: String,
    /// Where the limit comes from.
    pub basis: String,
    /// What to do now; empty in a record.
    pub now: String,
    /// The thing it is about, if not the unit itself: "Facepiece F-204".
    pub item: Option<String>,
    /// The note that was left.
    pub note: String,
}

/// A group of entered answers.
#[derive(Clone, Debug, Default)]
pub struct EnteredGroup {
    /// Its title.
    pub title: String,
    /// Its answers, every try.
    pub rows: Vec<Entered>,
}

/// One answer as it was entered.
#[derive(Clone, Debug, Default)]
pub struct Entered {
    /// The step.
    pub step: String,
    /// What was entered: "4,480 psi and 3,990 psi", "Good".
    pub answer: String,
    /// The limit in words; empty where there is none.
    pub limit: String,
    /// The note.
    pub note: String,
    /// How it stands.
    pub state: StepState,
}
