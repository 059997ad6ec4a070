//! Which shift a form is about: the one that runs or, from the department's early minutes on, the one to
//! come, whose officer is in the house before it begins.

use std::sync::Arc;

use airmuster_domain::Millis;
use serde::Deserialize;

use crate::service::muster::Muster;
use crate::web::error::WebError;
use crate::web::present::when;
use crate::web::serving::App;
use crate::web::view::muster::ShiftChoice;

/// What an address asks.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    shift: String,
}

impl Asked {
    /// When the shift begins; what cannot be read asks for none.
    pub fn shift(&self) -> Option<Millis> {
        self.shift.trim().parse().ok()
    }
}

/// Everything at the moment, for the shift that was asked for.
#[derive(Debug)]
pub struct Chosen {
    /// As it is in that shift.
    pub muster: Arc<Muster>,
    /// The shifts that can be chosen, the running one first.
    pub shifts: Vec<Millis>,
    /// Another shift was asked for, which cannot be chosen any more: this is the one that runs.
    pub passed: bool,
}

impl Chosen {
    /// Looks it up; without a word, it is the shift that runs.
    pub async fn load(app: &App, asked: Option<Millis>) -> Result<Self, WebError> {
        let muster = Muster::load(&app.store, app.clock.now()).await?;
        let shifts = muster.shifts();
        let known = asked.filter(|shift| shifts.contains(shift));
        let passed = asked.is_some() && known.is_none();
        let muster = match known {
            Some(shift) => muster.in_shift(&app.store, shift).await?,
            None => muster,
        };
        Ok(Self { muster, shifts, passed })
    }

    /// Whether it is the shift that runs.
    pub fn runs(&self) -> bool {
        self.shifts.first() == Some(&self.muster.shift)
    }

    /// An address for this shift.
    pub fn address(&self, path: String) -> String {
        if self.runs() { path } else { format!("{path}?shift={}", self.muster.shift) }
    }

    /// The shifts to choose from on this page; none where there is no choice.
    pub fn choices(&self, path: &str) -> Vec<ShiftChoice> {
        if self.shifts.len() < 2 {
            return Vec::new();
        }
        let fleet = &self.muster.fleet;
        let one = |(nth, shift): (usize, &Millis)| {
            let from = when(&fleet.department.clock, *shift, fleet.now);
            ShiftChoice {
                text: if nth == 0 {
                    format!("This shift, from {from}")
                } else {
                    format!("The shift from {from}")
                },
                href: if nth == 0 { path.to_owned() } else { format!("{path}?shift={shift}") },
                chosen: *shift == self.muster.shift,
            }
        };
        self.shifts.iter().enumerate().map(one).collect()
    }

    /// What to say to a form that was opened in another shift.
    pub fn begun(&self) -> String {
        let fleet = &self.muster.fleet;
        let from = when(&fleet.department.clock, self.muster.shift, fleet.now);
        format!(
            "The shift from {from} has begun since you opened this. Read it again: it is for that shift now."
        )
    }
}
