//! What a check form sends, as typed, and the answers it means.

use std::collections::BTreeMap;

use airmuster_domain::Millis;
use airmuster_domain::judge::{Answer, Problem, Raw, Values};
use airmuster_domain::quantity::{QuantityError, Temperature};
use airmuster_domain::record::{Digest, is_number};
use airmuster_domain::rules::{Ask, Form, FormStep, Purpose, Subject};
use uuid::Uuid;

use crate::store::With;

/// The fields of one attempt, as typed.
pub type Typed = BTreeMap<String, String>;

/// Everything that a check form sends.
#[derive(Debug, Clone, Default)]
pub struct Input {
    /// Every field, in order, to be sent along again.
    pub pairs: Vec<(String, String)>,
    /// Which button: `review`, `stop`, `edit` or `sign`.
    pub button: String,
    /// The run's id; the complete check will have it.
    pub id: Uuid,
    /// When the form was first shown.
    pub started: Millis,
    /// Why the check is made.
    pub purpose: Option<Purpose>,
    /// The rule table of the form.
    pub rules: Option<Digest>,
    /// The stopped check this one goes on with, by record id.
    pub continues: Option<Uuid>,
    /// The steps that were repaired, where only what they can have touched is asked; or empty.
    pub repaired: String,
    /// Grounds shown when the form was made.
    pub seen: Vec<String>,
    /// How warm the bay is, as typed.
    pub bay: String,
    /// The scale chosen beside it: `C` or `F`.
    pub bay_scale: String,
    /// Attempts by step and number.
    pub typed: BTreeMap<(String, u8), Typed>,
    /// Who signs.
    pub member: String,
    /// The signer's PIN.
    pub pin: String,
    /// Who wrote it down.
    pub written_by: String,
}

impl Input {
    /// Reads the fields of a form. `None` when the hidden ones are not what this server made.
    pub fn read(pairs: Vec<(String, String)>) -> Option<Self> {
        let mut out = Self::default();
        for (name, value) in &pairs {
            match name.as_str() {
                "do" => out.button.clone_from(value),
                "id" => out.id = value.parse().ok()?,
                "started" => out.started = value.parse().ok()?,
                "purpose" => out.purpose = Some(Purpose::from_id(value)?),
                "rules" => out.rules = Some(value.parse().ok()?),
                "continues" if !value.is_empty() => out.continues = Some(value.parse().ok()?),
                "repaired" => out.repaired.clone_from(value),
                "seen" => out.seen.push(value.clone()),
                "bay" => value.trim().clone_into(&mut out.bay),
                "bay_scale" => out.bay_scale.clone_from(value),
                "member" => out.member.clone_from(value),
                "pin" => out.pin.clone_from(value),
                "written_by" => out.written_by.clone_from(value),
                _ => {
                    let Some(rest) = name.strip_prefix("a.") else { continue };
                    let mut parts = rest.splitn(3, '.');
                    let (step, attempt, field) = (parts.next()?, parts.next()?, parts.next()?);
                    let attempt: u8 = attempt.parse().ok().filter(|n| (1..=9).contains(n))?;
                    let typed = out.typed.entry((step.to_owned(), attempt)).or_default();
                    typed.insert(field.to_owned(), value.trim().to_owned());
                }
            }
        }
        out.pairs = pairs;
        (!out.id.is_nil() && out.rules.is_some() && out.purpose.is_some()).then_some(out)
    }

    /// How warm the bay is; none where nothing was entered.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn bay(&self) -> Result<Option<Temperature>, QuantityError> {
        match self.bay.as_str() {
            "" => Ok(None),
            typed if typed.ends_with(char::is_alphabetic) => typed.parse().map(Some),
            typed => format!("{typed} {}", self.bay_scale).parse().map(Some),
        }
    }

    /// What was typed at an attempt.
    pub fn at(&self, step: &str, attempt: u8) -> Option<&Typed> {
        self.typed.get(&(step.to_owned(), attempt))
    }

    /// The highest attempt at a step in which something was typed.
    pub fn attempts(&self, step: &str) -> u8 {
        (1..=9).rev().find(|n| self.at(step, *n).is_some_and(is_answered)).unwrap_or(0)
    }

    /// The fields to be sent along by the review page: the form's own, without button and PIN.
    pub fn hidden(&self) -> impl Iterator<Item = &(String, String)> {
        self.pairs
            .iter()
            .filter(|(n, v)| !v.is_empty() && !matches!(n.as_str(), "do" | "member" | "pin" | "written_by"))
    }

    /// The answers in the order of the form. A facepiece or cylinder is named with each answer
    /// about it, so that a failure tags the right one.
    pub fn answers(&self, form: &Form, with: &With) -> Vec<Answer> {
        let worn = self.identified(form, Subject::Facepiece).or_else(|| with.facepiece.clone());
        let fitted = self.identified(form, Subject::Cylinder).or_else(|| with.cylinder.clone());
        let mut out = Vec::new();
        for step in &form.steps {
            let mut item = match step.subject() {
                Subject::Facepiece => worn.clone(),
                Subject::Cylinder => fitted.clone(),
                Subject::Unit | Subject::Accessory => None,
            };
            for attempt in 1..=self.attempts(&step.step.id) {
                let Some(typed) = self.at(&step.step.id, attempt) else { continue };
                let own = typed.get("item").filter(|i| is_number(i));
                if step.may_try_another() && own.is_some() {
                    item = own.cloned();
                }
                let values = values(step, typed);
                let note = typed.get("note").filter(|n| !n.is_empty()).cloned();
                if !values.is_empty() || note.is_some() {
                    out.push(Answer {
                        step: step.step.id.as_str().into(),
                        attempt,
                        item: item.clone(),
                        values,
                        note,
                    });
                }
            }
        }
        out
    }

    /// The number read off a facepiece or cylinder where a different one is here.
    fn identified(&self, form: &Form, subject: Subject) -> Option<String> {
        form.steps
            .iter()
            .filter(|s| matches!(s.ask, Ask::Identity) && s.subject() == subject)
            .find_map(|s| self.at(&s.step.id, self.attempts(&s.step.id))?.get("item"))
            .filter(|i| is_number(i))
            .cloned()
    }

    /// Numbers of facepieces and cylinders that no thing can have. A record that named one could
    /// not be judged, so they are left out of the answers until they are put right.
    pub fn misnamed(&self) -> impl Iterator<Item = Problem> {
        let items = self.typed.iter().filter_map(|(at, typed)| Some((at, typed.get("item")?)));
        items.filter(|(_, item)| !item.is_empty() && !is_number(item)).map(|((step, attempt), _)| Problem {
            step: step.clone(),
            attempt: *attempt,
            field: "item".to_owned(),
            say: MISNAMED.to_owned(),
        })
    }
}

/// The script says the same.
const MISNAMED: &str = "copy the number as it is painted: letters, digits, dots and dashes, at most 32";

/// Whether anything but a unit of pressure was entered.
fn is_answered(typed: &Typed) -> bool {
    typed.iter().any(|(field, value)| !value.is_empty() && !field.ends_with("_unit") && field != "item")
}

fn values(step: &FormStep, typed: &Typed) -> Values {
    let mut out = Values::new();
    let mut take = |field: &str, unit: &str| {
        if let Some(v) = typed.get(field).filter(|v| !v.is_empty()) {
            let bare = v.chars().all(|c| !c.is_alphabetic());
            let text = if bare && !unit.is_empty() { format!("{v} {unit}") } else { v.clone() };
            out.insert(field.into(), Raw::Text(text.into()));
        }
    };
    let unit = |field: &str| typed.get(&format!("{field}_unit")).map_or("", String::as_str);
    let fields: &[&str] = match step.ask {
        Ask::Reading { .. } | Ask::Trip(_) => &["at"],
        Ask::Pair { .. } => &["cylinder", "remote"],
        Ask::Drop { .. } => &["start", "end"],
        Ask::Identity | Ask::Confirm | Ask::Hold { .. } | Ask::Stages { .. } => &[],
    };
    for field in fields {
        take(field, unit(field));
    }
    for field in ["seconds", "held", "first", "full"] {
        take(field, "s");
    }
    take("count", "");
    match typed.get("good").map(String::as_str) {
        Some("yes") => drop(out.insert("good".into(), Raw::Flag(true))),
        Some("no") => drop(out.insert("good".into(), Raw::Flag(false))),
        Some(other) if !other.is_empty() => drop(out.insert("good".into(), Raw::Text(other.into()))),
        _ => {}
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use airmuster_domain::rules::{DEFAULT, parse, resolve};

    fn input(pairs: &[(&str, &str)]) -> Input {
        let rules = "0".repeat(64);
        let mut all = vec![
            ("id".to_owned(), Uuid::from_u128(7).to_string()),
            ("started".to_owned(), "1".to_owned()),
            ("purpose".to_owned(), "shift-start".to_owned()),
            ("rules".to_owned(), rules),
        ];
        all.extend(pairs.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())));
        Input::read(all).unwrap()
    }

    #[test]
    fn a_number_takes_the_unit_chosen_beside_it_and_keeps_the_one_typed_with_it() {
        let form = resolve(&parse(DEFAULT).unwrap(), "us-4500-third", Purpose::ShiftStart).unwrap();
        let i = input(&[
            ("a.gauge-agreement.1.cylinder", "300"),
            ("a.gauge-agreement.1.cylinder_unit", "bar"),
            ("a.gauge-agreement.1.remote", "4010 psi"),
            ("a.gauge-agreement.1.remote_unit", "bar"),
        ]);
        let answers = i.answers(&form, &With::default());
        assert_eq!(answers[0].values.get("cylinder"), Some(&Raw::Text("300 bar".into())));
        assert_eq!(answers[0].values.get("remote"), Some(&Raw::Text("4010 psi".into())));
    }

    #[test]
    fn a_failed_facepiece_is_named_and_so_is_the_one_tried_after_it() {
        let form = resolve(&parse(DEFAULT).unwrap(), "us-4500-third", Purpose::ShiftStart).unwrap();
        let i = input(&[
            ("a.facepiece-vacuum.1.good", "no"),
            ("a.facepiece-vacuum.2.item", "F-9"),
            ("a.facepiece-vacuum.2.held", "10"),
        ]);
        let with = With { facepiece: Some("F-1".to_owned()), cylinder: None };
        let items: Vec<_> = i.answers(&form, &with).into_iter().map(|a| a.item).collect();
        assert_eq!(items, [Some("F-1".to_owned()), Some("F-9".to_owned())]);
    }

    #[test]
    fn a_number_that_no_thing_can_have_is_left_out_and_said_at_its_field() {
        let form = resolve(&parse(DEFAULT).unwrap(), "us-4500-third", Purpose::ShiftStart).unwrap();
        let i = input(&[
            ("a.facepiece-vacuum.1.good", "no"),
            ("a.facepiece-vacuum.2.item", "F 9"),
            ("a.facepiece-vacuum.2.held", "10"),
        ]);
        let with = With { facepiece: Some("F-1".to_owned()), cylinder: None };
        let items: Vec<_> = i.answers(&form, &with).into_iter().map(|a| a.item).collect();
        assert_eq!(items, [Some("F-1".to_owned()), Some("F-1".to_owned())]);
        let problems: Vec<_> = i.misnamed().map(|p| (p.step, p.attempt, p.field)).collect();
        assert_eq!(problems, [("facepiece-vacuum".to_owned(), 2, "item".to_owned())]);
    }

    #[test]
    fn a_unit_of_pressure_alone_is_not_an_answer() {
        let form = resolve(&parse(DEFAULT).unwrap(), "us-4500-third", Purpose::ShiftStart).unwrap();
        assert!(
            input(&[("a.cylinder-pressure.1.at_unit", "psi")]).answers(&form, &With::default()).is_empty()
        );
    }
}
