//! The order of the bench: what a technician should take next, and why.
//!
//! Lexicographic: jobs that stand aside (waiting for someone else, or held for an inquiry) come last; before that, seats
//! open now, then seats that the last spare holds, then the rest; within each, what is ready to
//! prove; then age, the oldest first.

use std::cmp::Reverse;

use crate::Millis;
use crate::record::{Asset, Stage};

/// What hangs on a job.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stake {
    /// A seat is open while the job lasts.
    SeatOpen {
        /// The seat, as said on a screen: `Engine 2, seat 3`.
        seat: String,
    },
    /// The station has no spare left that is in service.
    LastSpare {
        /// The station's name.
        station: String,
    },
    /// Nothing waits for it.
    Nothing,
}

/// An open ticket with the facts that decide its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// The ticket.
    pub ticket: u64,
    /// What is to be repaired.
    pub asset: Asset,
    /// When it was opened.
    pub opened: Millis,
    /// Where it stands.
    pub stage: Stage,
    /// What hangs on it.
    pub stake: Stake,
    /// Whether it is held for an inquiry: nothing may be done to it.
    pub held: bool,
}

impl Job {
    /// Whether it waits for somebody else, so that nothing is to be done about it here.
    pub fn stands_aside(&self) -> bool {
        self.held || self.stage.stands_aside()
    }
}

/// A job in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// The job.
    pub job: Job,
    /// Why it stands here, in words.
    pub because: String,
}

/// Puts jobs in the order in which to take them.
pub fn order(mut jobs: Vec<Job>) -> Vec<Placed> {
    jobs.sort_by_key(|j| {
        (
            j.stands_aside(),
            match j.stake {
                Stake::SeatOpen { .. } => 0,
                Stake::LastSpare { .. } => 1,
                Stake::Nothing => 2,
            },
            Reverse(j.stage == Stage::ReadyToProve),
            j.opened,
            j.ticket,
        )
    });
    jobs.into_iter().map(|job| Placed { because: because(&job), job }).collect()
}

fn because(job: &Job) -> String {
    let stake = match &job.stake {
        Stake::SeatOpen { seat } => format!("{seat} is open"),
        Stake::LastSpare { station } => format!("{station} has no spare left"),
        Stake::Nothing => "no seat waits for it".to_owned(),
    };
    match job.stage {
        _ if job.held => format!("{stake}, but it is held for an inquiry"),
        Stage::WaitingForParts => format!("{stake}, but it waits for parts"),
        Stage::AtRepairer => format!("{stake}, but it is at an outside repairer"),
        Stage::ReadyToProve => format!("{stake}, and it is ready to prove"),
        _ => stake,
    }
}
