//! Rule tables: looked at as drafts, tried on checks that were made, and put in force at a stated time.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::judge::{Judgement, Verdict, judge_readable};
use airmuster_domain::record::{Body, Check, Field, LookAgain, RulesInForce, Stamp, encode};
use airmuster_domain::rules::{Consequence, Form, Purpose, Table, parse, resolve};
use airmuster_domain::standing::State;

use super::intake::{CLIENT, DESK};
use super::{Intake, IntakeError, Origin};
use crate::clock::Clock;
use crate::store::{Kept, Store, StoreError};

/// How far back a draft is tried: the longest cadence, so that every unit was checked in it.
pub const TRIED: Millis = 31 * 24 * 60 * 60_000;

/// One at a time: the page and the clock may both find that a moment has come.
static TURN: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());

/// What a draft would have made of checks that were made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Trial {
    /// Checks that were judged anew.
    pub checks: usize,
    /// Checks of units whose profile the draft does not have.
    pub unknown: usize,
    /// Checks that have no answer to a step that the draft asks.
    pub unanswered: usize,
    /// Checks that would have taken their unit out of service, and did not; the last of each unit.
    pub pulled: Vec<Tried>,
    /// The other way round.
    pub spared: Vec<Tried>,
}

/// A check that a draft judges otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tried {
    /// The unit.
    pub unit: String,
    /// The check's number in the logbook.
    pub seq: i64,
    /// When it was made.
    pub at: Millis,
    /// What takes the unit out of service, in words.
    pub why: String,
}

/// Forms of one table, worked out once each.
struct Forms<'a> {
    table: &'a Table,
    known: BTreeMap<(String, Purpose), Option<Form>>,
}

impl<'a> Forms<'a> {
    fn of(table: &'a Table) -> Self {
        Self { table, known: BTreeMap::new() }
    }

    fn judge(&mut self, check: &Check) -> Option<Judgement> {
        let key = (check.profile.clone(), check.purpose);
        let form = self
            .known
            .entry(key)
            .or_insert_with(|| resolve(self.table, &check.profile, check.purpose).ok())
            .as_ref()?;
        Some(judge_readable(form, &check.answers).0)
    }
}

fn check_in(kept: &Kept) -> Option<&Check> {
    match &kept.record.body {
        Body::Field(Field::Check(check)) => Some(check),
        _ => None,
    }
}

/// Tries a draft on the complete checks of the last month.
///
/// # Errors
/// When the database cannot be read.
pub async fn try_on(store: &Store, now: Millis, draft: &Table) -> Result<Trial, StoreError> {
    use airmuster_domain::ground::Forms as _;
    let mut forms = Forms::of(draft);
    let mut out = Trial::default();
    let (mut pulled, mut spared) = (BTreeMap::new(), BTreeMap::new());
    for kept in store.check_records_since(now - TRIED).await? {
        let Some(check) = check_in(&kept) else { continue };
        let Some(after) = forms.judge(check) else {
            out.unknown += 1;
            continue;
        };
        let form = store.tables().form(&check.rules, &check.profile, check.purpose);
        let Some(before) = form.map(|f| judge_readable(&f, &check.answers).0) else { continue };
        out.checks += 1;
        let lacking = after.missing.iter().any(|step| !before.missing.contains(step));
        out.unanswered += usize::from(lacking);
        let tried = |j: &Judgement| Tried {
            unit: check.unit.clone(),
            seq: kept.place.seq,
            at: kept.record.envelope.time(),
            why: against(j, Consequence::OutOfService).join("; "),
        };
        match (before.verdict == Verdict::OutOfService, after.verdict == Verdict::OutOfService) {
            (false, true) => drop(pulled.insert(check.unit.clone(), tried(&after))),
            (true, false) => drop(spared.insert(check.unit.clone(), tried(&before))),
            _ => {}
        }
    }
    out.pulled = pulled.into_values().collect();
    out.spared = spared.into_values().collect();
    Ok(out)
}

/// What stands against the unit in a judgement, from this consequence on, in words.
fn against(j: &Judgement, from: Consequence) -> Vec<String> {
    let open = j.findings.iter().filter(|f| !f.settled && f.consequence >= from);
    open.map(|f| format!("{}: {}", f.title, f.working)).collect()
}

/// Units whose last good check does not pass a table.
///
/// # Errors
/// When the database cannot be read.
pub async fn look_again(store: &Store, now: Millis, table: &Table) -> Result<Vec<LookAgain>, StoreError> {
    let shifts = store.department().await?.clock;
    let mut forms = Forms::of(table);
    let mut out = Vec::new();
    for (asset, standing) in store.unit_standings(&shifts, now).await? {
        let Some(last) = standing.last_check.filter(|_| standing.state < State::Retired) else { continue };
        let Some(kept) = store.check_named(&last.name).await? else { continue };
        let Some(check) = check_in(&kept) else { continue };
        let why = match forms.judge(check) {
            None => format!("the table has no profile “{}”", check.profile),
            Some(j) => {
                let mut why = against(&j, Consequence::PutRight);
                let title = |id: &String| table.step(id).map_or(id.clone(), |s| s.title.clone());
                if !j.missing.is_empty() {
                    let missing: Vec<String> = j.missing.iter().map(title).collect();
                    why.push(format!("not answered: {}", missing.join(", ")));
                }
                if why.is_empty() {
                    continue;
                }
                why.join("; ")
            }
        };
        out.push(LookAgain { unit: asset.number, check: last.name, why });
    }
    Ok(out)
}

/// Profiles of units in the register that a table lacks.
///
/// # Errors
/// When the database cannot be read.
pub async fn lacking_profiles(store: &Store, table: &Table) -> Result<BTreeSet<String>, StoreError> {
    let units = store.units().await?;
    Ok(units.into_iter().map(|u| u.profile).filter(|p| !table.profiles.contains_key(p)).collect())
}

/// Puts in force every draft whose moment has come. The record is written then, by whoever said
/// when, and decided then: a draft that is refused says why and stays a draft.
///
/// # Errors
/// When the database cannot be used; what was not put in force is tried again.
pub async fn come_into_force(store: &Store, intake: &Intake, clock: &Clock) -> Result<(), StoreError> {
    let _turn = TURN.lock().await;
    let mut drafts = store.rule_drafts().await?;
    drafts.retain(|d| d.refused.is_none() && d.starts_at.is_some_and(|at| at <= clock.now()));
    drafts.sort_by_key(|d| d.starts_at);
    for mut draft in drafts {
        let now = clock.now();
        let again = match parse(&draft.text) {
            Ok(table) if draft.again => look_again(store, now, &table).await?,
            _ => Vec::new(),
        };
        let body = RulesInForce {
            text: draft.text.clone(),
            again,
            grace_hours: draft.grace_hours.and_then(|h| u16::try_from(h).ok()),
        };
        let stamp = Stamp {
            id: clock.id(),
            tablet: DESK.to_owned(),
            at: now,
            client: CLIENT.to_owned(),
            by: draft.planned_by.clone(),
            ..Stamp::default()
        };
        match intake.submit(encode("rules", &stamp, &body), Origin::Desk).await {
            Ok(_) => {
                let mut write = store.begin().await?;
                write.drop_draft(&draft.digest).await?;
                write.commit().await?;
            }
            Err(IntakeError::Stopping | IntakeError::Store(_)) => return Ok(()),
            Err(e) => {
                tracing::warn!(why = %e, "a rule table did not come into force");
                draft.refused = Some(e.to_string());
                let mut write = store.begin().await?;
                write.keep_draft(&draft).await?;
                write.commit().await?;
            }
        }
    }
    Ok(())
}
