//! The check form: one long page, one answer at a time, judged as it goes.

use askama::Template;
use askama::filters::HtmlSafe;

use super::strip::Strip;
use super::{Mark, Page, Problems, Standing, UnitRef};

/// The form. Its field names are the contract between page, script and server.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "crew/check.html")]
pub struct CheckForm {
    /// The frame.
    pub page: Page,
    /// The unit under check.
    pub unit: UnitRef,
    /// Where it rides: "Engine 2, driver".
    pub place: String,
    /// What kind of unit it is, in words: "5,500 psi, low-air alarm at a third".
    pub profile: String,
    /// The id this check will have, made when it was begun.
    pub id: String,
    /// When it was begun, in milliseconds since 1970.
    pub started: i64,
    /// As sent: "shift-start".
    pub purpose: String,
    /// As read: "Shift-start check".
    pub purpose_words: String,
    /// SHA-256 of the rule table it is made with.
    pub rules: String,
    /// The stopped check that this one goes on with.
    pub continues: Option<String>,
    /// The steps that were repaired, where only what they can have touched is asked; or empty.
    pub repaired: String,
    /// The keys of the grounds that stood when the form was made.
    pub seen: Vec<String>,
    /// Those grounds in sentences, so that the member knows what to look for.
    pub open_grounds: Vec<String>,
    /// Why a check of this unit releases nothing, where that is so.
    pub stays: Option<&'static str>,
    /// What stands in the way once everything asked is good.
    pub after: Option<After>,
    /// The steps, grouped.
    pub groups: Vec<Group>,
    /// What to put right in what was sent.
    pub problems: Problems,
    /// The resolved limits as JSON text, for the script.
    pub limits: String,
}

/// Instead of a form, where nothing is to be checked.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/no_check.html")]
pub struct NoCheck {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Where it is.
    pub place: String,
    /// How it stands.
    pub standing: super::Standing,
    /// Why not.
    pub sentence: &'static str,
    /// What is open, each a sentence.
    pub grounds: Vec<String>,
}

/// Why a unit does not ride though everything asked is good.
#[derive(Clone, Debug)]
pub struct After {
    /// How it stands until that is dealt with.
    pub standing: super::Standing,
    /// What comes first, in sentences.
    pub say: &'static str,
    /// What is open, each a sentence.
    pub because: Vec<String>,
}

impl CheckForm {
    /// Where the form is sent.
    pub fn action(&self) -> String {
        format!("{}/check", self.unit.href)
    }

    /// The limits as they may stand inside a script element: "<" cannot end the element early.
    pub fn limits_block(&self) -> String {
        super::in_script(&self.limits)
    }

    /// All steps.
    pub fn total(&self) -> usize {
        self.groups.iter().map(|group| group.steps.len()).sum()
    }

    /// Steps that have an answer.
    pub fn done(&self) -> usize {
        self.steps().filter(|step| step.state != StepState::Missing).count()
    }

    /// Steps whose answer is a finding.
    pub fn findings(&self) -> usize {
        self.steps().filter(|step| step.state.is_finding()).count()
    }

    fn steps(&self) -> impl Iterator<Item = &Step> {
        self.groups.iter().flat_map(|group| &group.steps)
    }
}

/// Steps that belong together, in one section and one stop of the rail.
#[derive(Clone, Debug, Default)]
pub struct Group {
    /// A word for the address: "regulator".
    pub id: String,
    /// "Regulator".
    pub title: String,
    /// What to know before the whole group: before pressurising, before opening the bypass.
    pub caution: Option<String>,
    /// Its steps.
    pub steps: Vec<Step>,
}

impl Group {
    /// The worst of its steps: a finding, then something missing, then done.
    pub fn state(&self) -> StepState {
        self.steps.iter().map(|step| step.state).min().unwrap_or_default()
    }

    /// How many of its steps have no answer yet.
    pub fn missing(&self) -> usize {
        self.steps.iter().filter(|step| step.state == StepState::Missing).count()
    }
}

/// How a step stands, worst first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum StepState {
    /// Its answer takes the unit out of service.
    OutOfService,
    /// Its answer is to be put right by the crew.
    PutRight,
    /// No answer yet.
    #[default]
    Missing,
    /// Its answer is worth a remark and nothing more.
    Remark,
    /// As it should be.
    Good,
}

impl StepState {
    /// The word the style sheet and the script know it by (`data-state`).
    pub fn class(self) -> &'static str {
        match self {
            Self::OutOfService => "out",
            Self::PutRight => "put-right",
            Self::Missing => "missing",
            Self::Remark => "remark",
            Self::Good => "good",
        }
    }

    /// In words, for those who do not see the shape.
    pub fn word(self) -> &'static str {
        match self {
            Self::OutOfService => "out of service",
            Self::PutRight => "to be put right",
            Self::Missing => "to do",
            Self::Remark => "remark",
            Self::Good => "done",
        }
    }

    /// Its shape.
    pub fn mark(self) -> Mark {
        match self {
            Self::OutOfService => Mark::Struck,
            Self::PutRight => Mark::Notched,
            Self::Missing => Mark::Dashed,
            Self::Remark | Self::Good => Mark::Full,
        }
    }

    /// Whether it counts as a finding.
    pub fn is_finding(self) -> bool {
        matches!(self, Self::OutOfService | Self::PutRight | Self::Remark)
    }
}

/// One step: what to do, what is right, the answer, and only when wrong, what now.
#[derive(Clone, Debug, Default)]
pub struct Step {
    /// The step's id in the rule table: "gauge-agreement".
    pub id: String,
    /// "Do both gauges agree?"
    pub title: String,
    /// What to do.
    pub instruction: String,
    /// What is right, with this unit's number: "No more than 450 psi apart."
    pub right: String,
    /// What can hurt, where the hand is.
    pub caution: Option<String>,
    /// What to do when it is not right, and whom to tell.
    pub when_wrong: String,
    /// Where the limit comes from.
    pub basis: String,
    /// The strip that follows this step's numbers, [`Size::Tall`](super::strip::Size::Tall).
    pub strip: Option<Strip>,
    /// The bay's temperature, where it explains this step's pressure.
    pub bay: Option<BayField>,
    /// Seconds of the timer that runs in place; none where nothing is timed.
    pub timer: Option<u32>,
    /// First try, and where a second is allowed, the second.
    pub attempts: Vec<Attempt>,
    /// What the second try is called: "Second try", "Try another facepiece".
    pub again: String,
    /// How it stands.
    pub state: StepState,
}

impl Step {
    /// Whether any try has failed: a second one stays in sight then, whatever came of it.
    pub fn failed(&self) -> bool {
        self.attempts.iter().any(|a| a.state.is_finding())
    }
}

/// One try at a step.
#[derive(Clone, Debug, Default)]
pub struct Attempt {
    /// From 1.
    pub number: u32,
    /// The answer, as far as it has been given.
    pub answer: Answer,
    /// Where another facepiece or cylinder may be tried: its number, as read off it.
    pub item: Option<ItemField>,
    /// The note.
    pub note: String,
    /// What the server made of it: "490 psi apart. Limit 450." Empty before.
    pub verdict: String,
    /// How it stands.
    pub state: StepState,
}

/// How warm the bay is, and what that means for the pressure.
#[derive(Clone, Debug, Default)]
pub struct BayField {
    /// As typed, good or bad.
    pub value: String,
    /// "C" or "F".
    pub scale: String,
    /// "At −20 °C a full cylinder reads 3,512 psi." None before it is known.
    pub said: Option<String>,
}

/// The number of the thing that was tried.
#[derive(Clone, Debug, Default)]
pub struct ItemField {
    /// "Facepiece number".
    pub label: String,
    /// As entered.
    pub value: String,
    /// What the register expects, to compare with: "F-204".
    pub expected: Option<String>,
}

/// A number as it was typed, with its unit.
#[derive(Clone, Debug, Default)]
pub struct Measure {
    /// As typed, good or bad.
    pub value: String,
    /// "psi" or "bar".
    pub unit: String,
}

/// The entry fields of a step, by kind. `good` is what was tapped, none before.
#[derive(Clone, Debug)]
pub enum Answer {
    /// Is this the thing the register says it is? (The number goes in [`Attempt::item`].)
    Identity {
        /// "This is it" / "A different one is here".
        good: Option<bool>,
    },
    /// Good or not good.
    Confirm {
        /// The tap.
        good: Option<bool>,
        /// What the good answer is called: "Good".
        yes: String,
        /// What the other is called: "Not good".
        no: String,
    },
    /// One pressure.
    Reading {
        /// The pressure.
        at: Measure,
        /// `Some(false)`: it cannot be read.
        good: Option<bool>,
    },
    /// Two gauges.
    Pair {
        /// The cylinder's gauge.
        cylinder: Measure,
        /// The remote gauge.
        remote: Measure,
        /// `Some(false)`: one of them cannot be read.
        good: Option<bool>,
    },
    /// How far the pressure falls in a time.
    Drop {
        /// Pressure at the start.
        start: Measure,
        /// Pressure at the end.
        end: Measure,
        /// Seconds between, as typed.
        seconds: String,
        /// The tap, instead of numbers.
        good: Option<bool>,
    },
    /// A timed wait.
    Hold {
        /// Seconds it held, as typed.
        held: String,
        /// `Some(true)`: the whole time; `Some(false)`: let go at once.
        good: Option<bool>,
    },
    /// A sequence of stages.
    Stages {
        /// The tap.
        good: Option<bool>,
        /// How many warnings there were, as typed.
        count: String,
        /// Seconds to the first warning, as typed.
        first: String,
        /// Seconds to the full alarm, as typed.
        full: String,
    },
    /// The pressure at which an alarm starts.
    Trip {
        /// The pressure.
        at: Measure,
        /// `Some(false)`: it never sounded.
        good: Option<bool>,
    },
}

impl Default for Answer {
    fn default() -> Self {
        Self::Confirm { good: None, yes: "Good".into(), no: "Not good".into() }
    }
}

/// The two or three large answers of a step, side by side.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/choice.html")]
pub struct Choice<'a> {
    name: String,
    yes: Option<&'a str>,
    no: &'a str,
    good: Option<bool>,
    described: bool,
}

impl HtmlSafe for Choice<'_> {}

/// A large number field with its unit.
#[derive(Clone, Debug, Template)]
#[template(path = "crew/measure.html")]
pub struct MeasureField<'a> {
    name: String,
    label: &'a str,
    value: &'a str,
    unit: Option<&'a str>,
    problem: Option<&'a str>,
}

impl HtmlSafe for MeasureField<'_> {}

impl CheckForm {
    /// The name of a field, which is also its id.
    pub fn name(step: &Step, attempt: &Attempt, field: &str) -> String {
        format!("a.{}.{}.{field}", step.id, attempt.number)
    }

    /// The answer buttons of one try; `yes` may be left out.
    fn choice<'a>(
        &self,
        step: &Step,
        attempt: &Attempt,
        yes: Option<&'a str>,
        no: &'a str,
        good: Option<bool>,
    ) -> Choice<'a> {
        let name = Self::name(step, attempt, "good");
        let described = self.problems.at(&name).is_some();
        Choice { name, yes, no, good, described }
    }

    /// A pressure field of one try.
    fn measure<'a>(
        &'a self,
        step: &Step,
        attempt: &Attempt,
        field: &str,
        label: &'a str,
        measure: &'a Measure,
    ) -> MeasureField<'a> {
        let name = Self::name(step, attempt, field);
        let problem = self.problems.at(&name);
        MeasureField { name, label, value: &measure.value, unit: Some(&measure.unit), problem }
    }

    /// A plain number field of one try: seconds, a count.
    fn count<'a>(
        &'a self,
        step: &Step,
        attempt: &Attempt,
        field: &str,
        label: &'a str,
        value: &'a str,
    ) -> MeasureField<'a> {
        let name = Self::name(step, attempt, field);
        let problem = self.problems.at(&name);
        MeasureField { name, label, value, unit: None, problem }
    }
}

#[cfg(test)]
mod tests {
    use super::super::ProblemLine;
    use super::*;

    fn form(answer: Answer, problems: Problems) -> String {
        let step = Step {
            id: "low-air-alarm".into(),
            attempts: vec![Attempt { number: 1, answer, ..Attempt::default() }],
            ..Step::default()
        };
        let group = Group { id: "bleed".into(), steps: vec![step], ..Group::default() };
        let limits = r#"{"note":"</script><script>"}"#.into();
        CheckForm { groups: vec![group], problems, limits, ..CheckForm::default() }.render().unwrap()
    }

    #[test]
    fn what_was_typed_comes_back_with_the_problem_at_the_field() {
        let typed = Measure { value: "15oo".into(), unit: "bar".into() };
        let line = ProblemLine {
            field: "a.low-air-alarm.1.at".into(),
            text: "Give the pressure as a number.".into(),
        };
        let html = form(Answer::Trip { at: typed, good: None }, Problems { lines: vec![line] });
        assert!(html.contains(r#"name="a.low-air-alarm.1.at" value="15oo""#), "{html}");
        assert!(html.contains(r#"aria-describedby="a.low-air-alarm.1.at-problem""#), "{html}");
        assert!(html.contains(r#"<p class="wrong" id="a.low-air-alarm.1.at-problem">"#), "{html}");
        assert!(html.contains("<option selected>bar</option>"), "{html}");
    }

    #[test]
    fn an_answer_that_was_tapped_stays_tapped() {
        let tapped = |good| Answer::Confirm { good, yes: "Good".into(), no: "Not good".into() };
        let count = |good| form(tapped(good), Problems::default()).matches("\" checked").count();
        assert_eq!((count(None), count(Some(true)), count(Some(false))), (0, 1, 1));
    }

    #[test]
    fn limits_cannot_end_the_script_element_they_stand_in() {
        let html = form(Answer::default(), Problems::default());
        let block = html.split(r#"id="limits">"#).nth(1).unwrap();
        assert!(block.starts_with(r#"{"note":"\u003c/script>\u003cscript>"}</script>"#), "{block}");
    }

    #[test]
    fn a_group_is_as_bad_as_its_worst_step_and_done_only_when_all_are() {
        use StepState::{Good, Missing, OutOfService, PutRight, Remark};
        let group = |states: &[StepState]| Group {
            steps: states.iter().map(|&state| Step { state, ..Step::default() }).collect(),
            ..Group::default()
        };
        assert_eq!(group(&[Good, Missing, PutRight]).state(), PutRight);
        assert_eq!(group(&[Missing, OutOfService, PutRight]).state(), OutOfService);
        assert_eq!(group(&[Good, Missing, Remark]).state(), Missing);
        assert_eq!(group(&[Good, Good]).state(), Good);
    }
}
