//! A check from the server's side: the form for a unit, and the records that come of it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use airmuster_domain::ENGINE;
use airmuster_domain::ground::Forms;
use airmuster_domain::judge::{Answer, Judgement};
use airmuster_domain::proving::narrowed;
use airmuster_domain::record::{Asset, Body, Cadence, Check, Digest, Field, Outcome, Record, Stamp, encode};
use airmuster_domain::rules::{Consequence, Form, Purpose, Subject, Table};
use airmuster_domain::standing::Standing;
use airmuster_domain::{Millis, ground};
use uuid::Uuid;

use super::fleet::{Fleet, UnitFacts};
use super::intake::CLIENT;
use crate::store::{Department, Store, StoreError, UnitRow, With};

/// The number in a form that is not for a unit yet.
pub const BLANK: &str = "0";

/// Everything that a check of one unit starts from.
#[derive(Debug, Clone)]
pub struct Checking {
    /// The department.
    pub department: Department,
    /// The unit.
    pub unit: UnitRow,
    /// How it stands now.
    pub standing: Standing,
    /// What is with it.
    pub with: With,
    /// The rule table.
    pub table: Arc<Table>,
    /// Its hash.
    pub rules: Digest,
    /// The steps, with this unit's limits.
    pub form: Arc<Form>,
}

impl Checking {
    /// Gathers it. Without a purpose it is the one that the unit's standing and how often it is checked ask
    /// for. `rules` names the table that a form already begun was made with; without it, the table in force
    /// is taken. `None` when the unit, the table or its profile is not known.
    pub async fn load(
        store: &Store,
        now: Millis,
        unit: &str,
        purpose: Option<Purpose>,
        rules: Option<Digest>,
    ) -> Result<Option<Self>, StoreError> {
        let Some(row) = store.unit(unit).await? else {
            return Ok(None);
        };
        let department = store.department().await?;
        let standing = store.standing(&Asset::unit(unit), &department.clock, now).await?;
        let rules = match rules {
            Some(rules) => Some(rules),
            None => store.rules_in_force().await?,
        };
        Self::of(store, department, row, standing, purpose, rules).await
    }

    /// As [`Checking::load`], from what is kept of the whole fleet: for the form, which shows some of it anyway.
    pub async fn of_fleet(
        store: &Store,
        now: Millis,
        unit: &str,
        purpose: Option<Purpose>,
        rules: Option<Digest>,
    ) -> Result<Option<Self>, StoreError> {
        let fleet = Fleet::load(store, now).await?;
        let Some(UnitFacts { row, standing, .. }) = fleet.units.get(unit).cloned() else {
            return Self::load(store, now, unit, purpose, rules).await;
        };
        let rules = rules.or_else(|| fleet.table.as_ref()?.digest.parse().ok());
        Self::of(store, fleet.department.clone(), row, standing, purpose, rules).await
    }

    async fn of(
        store: &Store,
        department: Department,
        unit: UnitRow,
        standing: Standing,
        purpose: Option<Purpose>,
        rules: Option<Digest>,
    ) -> Result<Option<Self>, StoreError> {
        let with = store.with(&unit.number).await?;
        let mut tables = store.tables();
        let rules = rules.unwrap_or_else(|| tables.default_digest());
        let purpose = purpose.unwrap_or_else(|| standing.asks_for(unit.cadence));
        let form = tables.form(&rules, &unit.profile, purpose);
        let Some((form, table)) = form.zip(tables.get(&rules).cloned()) else {
            return Ok(None);
        };
        Ok(Some(Self { department, unit, standing, with, table, rules, form }))
    }

    /// A form for a kind of unit, whichever unit it will be: what a tablet keeps for one that has
    /// moved to its station. `None` when the table in force has no such profile.
    pub async fn blank(
        store: &Store,
        now: Millis,
        profile: &str,
        purpose: Purpose,
    ) -> Result<Option<Self>, StoreError> {
        let department = store.department().await?;
        let number = BLANK.to_owned();
        let standing = store.standing(&Asset::unit(BLANK), &department.clock, now).await?;
        let in_force = store.rules_in_force().await?;
        let mut tables = store.tables();
        let rules = in_force.unwrap_or_else(|| tables.default_digest());
        let Some((form, table)) = tables.form(&rules, profile, purpose).zip(tables.get(&rules).cloned())
        else {
            return Ok(None);
        };
        let unit = UnitRow {
            number,
            profile: profile.to_owned(),
            cadence: Cadence::EachShift,
            cadence_of: None,
            serials: BTreeMap::new(),
            place: None,
        };
        Ok(Some(Self { department, unit, standing, with: With::default(), table, rules, form }))
    }

    /// Leaves out of a proving check what the repair of these steps (ids, with commas between) cannot have
    /// touched. Answers with them, or with nothing where everything is asked.
    pub fn narrow(&mut self, repaired: &str) -> String {
        let Some(form) = narrowed(&self.form, repaired.split(',')) else { return String::new() };
        self.form = Arc::new(form);
        repaired.to_owned()
    }

    /// The grounds that whoever checks is shown: those a record has raised.
    pub fn shown(&self) -> impl Iterator<Item = &airmuster_domain::standing::Ground> {
        self.standing.grounds.iter().filter(|g| g.raise.kind != ground::Kind::CheckDue)
    }

    /// The body of a check's record.
    pub fn body(
        &self,
        run: Uuid,
        outcome: Outcome,
        started: Millis,
        seen: Vec<String>,
        answers: Vec<Answer>,
    ) -> Check {
        let last = |subject: Subject, known: &Option<String>| {
            answers
                .iter()
                .rev()
                .filter(|a| self.form.step(&a.step).is_some_and(|s| s.subject() == subject))
                .find_map(|a| a.item.clone())
                .or_else(|| known.clone())
        };
        Check {
            unit: self.unit.number.clone(),
            profile: self.unit.profile.clone(),
            rules: self.rules,
            engine: ENGINE,
            purpose: self.form.purpose,
            outcome,
            run,
            facepiece: last(Subject::Facepiece, &self.with.facepiece),
            cylinder: last(Subject::Cylinder, &self.with.cylinder),
            bay: None,
            started,
            seen,
            answers,
        }
    }
}

/// The bytes of a check's record.
pub fn record(
    check: &Check,
    id: Uuid,
    tablet: &str,
    at: Millis,
    by: Option<String>,
    written_by: Option<String>,
) -> Vec<u8> {
    let stamp = Stamp {
        id,
        tablet: tablet.to_owned(),
        at,
        client: CLIENT.to_owned(),
        by,
        written_by,
        ..Stamp::default()
    };
    encode("check", &stamp, check)
}

/// The steps whose failing takes something out of service and has not been written down in this
/// run yet: what a page without script writes down when it first sees it.
pub async fn not_yet_raised(store: &Store, run: Uuid, judgement: &Judgement) -> Result<bool, StoreError> {
    let raised: BTreeSet<String> = store.steps_raised_in(run).await?.into_iter().collect();
    Ok(judgement
        .findings
        .iter()
        .any(|f| f.consequence == Consequence::OutOfService && !f.repeat && !raised.contains(&f.step)))
}

/// A stopped check of a unit, to be gone on with.
pub async fn stopped(store: &Store, id: Uuid, unit: &str) -> Result<Option<Check>, StoreError> {
    let kept = store.variants(id).await?;
    Ok(kept.into_iter().find_map(|k| match k.record {
        Record { body: Body::Field(Field::Check(c)), .. }
            if c.outcome == Outcome::Stopped && c.unit == unit =>
        {
            Some(c)
        }
        _ => None,
    }))
}
