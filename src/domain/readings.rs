//! The few pressures of a check that are worth a picture: what the strip draws and what drift is
//! computed from.

use crate::judge::{Answer, Raw};
use crate::quantity::Pressure;
use crate::rules::{Ask, Form, Table};

/// The part of a profile whose units can be told who wears them.
pub const IDENTIFICATION: &str = "wearer-identification";

/// Pressures of one check, as they were read; of several attempts the last.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Readings {
    /// The cylinder's pressure.
    pub pressure: Option<Pressure>,
    /// The cylinder gauge and the remote one.
    pub gauges: Option<(Pressure, Pressure)>,
    /// Where the low-air alarm started.
    pub trip: Option<Pressure>,
}

/// Finds them among the answers. What cannot be read is left out.
pub fn readings(form: &Form, answers: &[Answer]) -> Readings {
    let mut out = Readings::default();
    for answer in answers {
        let Some(step) = form.step(&answer.step) else { continue };
        let field = |name: &str| match answer.values.get(name) {
            Some(Raw::Text(t)) => t.parse::<Pressure>().ok(),
            _ => None,
        };
        match &step.ask {
            Ask::Reading { .. } => out.pressure = field("at").or(out.pressure),
            Ask::Pair { .. } => out.gauges = field("cylinder").zip(field("remote")).or(out.gauges),
            Ask::Trip(_) => out.trip = field("at").or(out.trip),
            _ => {}
        }
    }
    out
}

/// What the cylinder held at the end of a check: the pair of gauges is read under pressure, later than the
/// first reading, so that where both are there the pair's own says it.
pub fn last_pressure(reading: Option<Pressure>, gauges: Option<(Pressure, Pressure)>) -> Option<Pressure> {
    gauges.map(|(cylinder, _)| cylinder).or(reading)
}

/// Whether a check says that its signer is known to the unit's alarm: the last answer to a step that
/// wants this part is good.
pub fn identifies(table: &Table, answers: &[Answer]) -> bool {
    let asks = |step: &str| {
        let step = table.steps.iter().find(|s| s.id == step);
        step.is_some_and(|s| s.needs.iter().any(|part| part == IDENTIFICATION))
    };
    let last = answers.iter().filter(|a| asks(&a.step)).max_by_key(|a| a.attempt);
    last.is_some_and(|a| a.values.get("good") == Some(&Raw::Flag(true)))
}
