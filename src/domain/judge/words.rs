//! What is right at a step, in words with this unit's numbers, before anything is entered.

use super::weigh::{band_words, sequence_words};
use crate::quantity::{Limit, Pressure};
use crate::rules::{Ask, Form, FormStep};

/// What is right: `more than 4,050 psi (90 % of 4,500)`. For steps without a number, the table's
/// own words.
pub fn ask_words(step: &FormStep, form: &Form) -> String {
    let rated = form.profile.rated;
    match &step.ask {
        Ask::Identity | Ask::Confirm => match step.step.right.as_str() {
            "" => step.step.title.clone(),
            right => right.to_owned(),
        },
        Ask::Reading { above, at_least, at_most } => {
            let parts = [("more than", above), ("at least", at_least), ("at most", at_most)];
            let said: Vec<String> = parts
                .into_iter()
                .filter_map(|(how, l)| l.map(|l| format!("{how} {}", limit_words(l, rated))))
                .collect();
            said.join(", ")
        }
        Ask::Pair { largest, governs } => match largest.get(*governs) {
            Some(l) => format!("no more than {} apart", limit_words(*l, rated)),
            None => String::new(),
        },
        Ask::Drop { largest, within } => {
            format!("falls no more than {} in {within}", limit_words(*largest, rated))
        }
        Ask::Hold { at_least } => format!("holds at least {at_least}"),
        Ask::Stages { want, .. } => sequence_words(want),
        Ask::Trip(band) => format!("starts at {}", band_words(band, rated)),
    }
}

fn limit_words(limit: Limit, rated: Pressure) -> String {
    let value = limit.amount(rated).words(rated.unit());
    match limit {
        Limit::Absolute(_) => value,
        Limit::OfRated(_) => format!("{value} ({})", limit.words(rated)),
    }
}
