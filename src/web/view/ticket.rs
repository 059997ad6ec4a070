//! A ticket: on the left what happened, on the right what to do.

use askama::Template;

use super::review::Finding;
use super::strip::StackRow;
use super::unit::Run;
use super::{Fact, Link, Mark, MemberOption, Page, Problems, Shot, Standing, UnitRef};

/// One repair job.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/ticket.html")]
pub struct Ticket {
    /// The frame.
    pub page: Page,
    /// Its number.
    pub number: String,
    /// This page, under which its forms are sent: "/tickets/88".
    pub href: String,
    /// What is to be repaired: "Unit 130", "Facepiece F-204".
    pub thing: Link,
    /// Its kind in words, or where it belongs.
    pub profile: String,
    /// Its standing.
    pub standing: Standing,
    /// Opened when and by what: "Opened 26 Nov, 07:12, by the check of D. Arkwright".
    pub opened: String,
    /// The stage it is in: "Reported".
    pub stage: String,
    /// Its place in the queue and because: "First, because Engine 2 seat 3 is open".
    pub because: String,
    /// What was found.
    pub findings: Vec<Finding>,
    /// One strip per check, oldest first, so that drift shows as a slope.
    pub stack: Vec<StackRow>,
    /// Everything that happened to the unit, newest first.
    pub events: Vec<Run>,
    /// The parts of the unit and their serials.
    pub components: Vec<Fact>,
    /// Photographs of it, newest first.
    pub shots: Vec<Shot>,
    /// Work done so far, newest first.
    pub work: Vec<WorkEntry>,
    /// Whether this member may move it and write work down.
    pub works: bool,
    /// The stage that is shown, as the forms send it back.
    pub was: &'static str,
    /// Stages it may be moved to by a tap; none once it is closed.
    pub stages: Vec<StageOption>,
    /// With whom it is and when it is due back; or empty.
    pub sent: String,
    /// The form that sends it to an outside repairer, as entered.
    pub sending: Sending,
    /// Why it changes its stage, as entered.
    pub note: String,
    /// The ticket that it is worked on under.
    pub under: Option<Link>,
    /// Tickets that are worked on under it.
    pub joined: Vec<Link>,
    /// Tickets to join it to.
    pub joins: Vec<StageOption>,
    /// Other open tickets of the same thing.
    pub siblings: Vec<Link>,
    /// Grounds that could get a ticket of their own; fewer than two: none.
    pub splits: Vec<GroundTick>,
    /// What was entered in the work form, if it came back.
    pub work_draft: WorkDraft,
    /// Where the proving check starts; none while it stands aside, is held or closed.
    pub prove: Option<String>,
    /// Where a proving check starts that asks only what the repair can have touched; none where it is to ask all.
    pub prove_repair: Option<Link>,
    /// Whether the unit to prove it with is to be named first: a facepiece that is with none.
    pub prove_with_any: bool,
    /// What to know of the proving check of a thing that is checked with a unit; or empty.
    pub prove_with: String,
    /// The proving check that stands, in words; none if there is none yet.
    pub proved: Option<String>,
    /// The return form; none until a proving check stands or while this member may not return it.
    pub returning: Option<ReturnForm>,
    /// What there is to put right is the return form's, which asks for a PIN.
    pub returned: bool,
    /// Why there is no return form, in a sentence.
    pub not_yet: String,
    /// Where it is retired for good; none where this member may not.
    pub retire: Option<String>,
    /// What to put right in a form that came back.
    pub problems: Problems,
}

/// The form that sends it to an outside repairer.
#[derive(Clone, Debug, Default)]
pub struct Sending {
    /// As entered.
    pub repairer: String,
    /// As entered.
    pub reference: String,
    /// As entered.
    pub due_back: String,
    /// As entered.
    pub loaner: String,
    /// Shown opened: it came back.
    pub open: bool,
}

/// A stage the ticket may go to.
#[derive(Clone, Debug, Default)]
pub struct StageOption {
    /// As sent: "waiting-for-parts".
    pub value: String,
    /// As read: "Waiting for parts".
    pub label: String,
    /// Chosen.
    pub selected: bool,
}

/// A piece of work that was done.
#[derive(Clone, Debug, Default)]
pub struct WorkEntry {
    /// When.
    pub when: String,
    /// By whom.
    pub who: String,
    /// What was done.
    pub text: String,
    /// Parts used.
    pub parts: String,
    /// Readings taken.
    pub readings: String,
}

/// The work form's fields.
#[derive(Clone, Debug, Default)]
pub struct WorkDraft {
    /// What was done.
    pub text: String,
    /// Parts used.
    pub parts: String,
    /// Readings taken.
    pub readings: String,
}

/// Return to service: every open ground, what was worked on, the proof, the signatures.
#[derive(Clone, Debug, Default)]
pub struct ReturnForm {
    /// Every open ground; each is ticked by hand, none in advance.
    pub grounds: Vec<GroundTick>,
    /// What was worked on.
    pub parts: Vec<StageOption>,
    /// What was done, as entered or from the work log.
    pub remedy: String,
    /// Bench test or certificate reference, as entered.
    pub certificate: String,
    /// How the conditions were reproduced, as entered.
    pub reproduced: String,
    /// The proving check's id and digest, sent along.
    pub proving: String,
    /// Who may return it.
    pub technicians: Vec<MemberOption>,
    /// Who may sign second when no fault was found.
    pub seconds: Vec<MemberOption>,
}

/// An open ground in the return form.
#[derive(Clone, Debug, Default)]
pub struct GroundTick {
    /// Its keys, as sent, a space between them.
    pub key: String,
    /// In a sentence.
    pub text: String,
    /// Ticked in a form that came back.
    pub ticked: bool,
    /// Why it cannot be returned with this proving check; none where it can.
    pub barred: Option<String>,
}

/// Retire a unit for good.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/retire.html")]
pub struct Retire {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Its kind in words.
    pub profile: String,
    /// Its standing now.
    pub standing: Standing,
    /// Why, as entered.
    pub why: String,
    /// Who may.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}
