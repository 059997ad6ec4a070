//! The bench's order: seats open now, then those that the last spare holds, then the rest; within
//! each what is ready to prove, then age; what waits for someone else stands aside; and each row
//! says why.
//!
//! Mutants that this turns red: any two parts of the sort key exchanged, the newest first, a row
//! that stands aside without saying so.

use airmuster_domain::bench::{Job, Placed, Stake, order};
use airmuster_domain::record::{Asset, Stage};
use proptest::prelude::*;

fn seat() -> Stake {
    Stake::SeatOpen { seat: "Engine 2, seat 3".to_owned() }
}

fn spare() -> Stake {
    Stake::LastSpare { station: "North".to_owned() }
}

fn job(ticket: u64, waits: Stake, stage: Stage, opened: i64) -> Job {
    Job { ticket, asset: Asset::unit(&ticket.to_string()), opened, stage, stake: waits, held: false }
}

fn tickets(placed: &[Placed]) -> Vec<u64> {
    placed.iter().map(|p| p.job.ticket).collect()
}

#[test]
fn seats_first_then_last_spares_then_the_rest_and_within_each_ready_to_prove_then_age() {
    let reported = Stage::Reported;
    let wanted = vec![
        job(21, seat(), Stage::ReadyToProve, 900),
        job(14, seat(), Stage::OnTheBench, 100),
        job(18, seat(), reported, 200),
        job(3, seat(), reported, 300),
        job(4, seat(), reported, 300),
        job(17, spare(), Stage::ReadyToProve, 901),
        job(16, spare(), reported, 10),
        job(12, Stake::Nothing, Stage::ReadyToProve, 902),
        job(11, Stake::Nothing, Stage::OnTheBench, 1),
        job(20, Stake::Nothing, reported, 2),
        job(8, seat(), Stage::WaitingForParts, 5),
        job(7, seat(), Stage::AtRepairer, 6),
        job(6, Stake::Nothing, Stage::AtRepairer, 0),
    ];
    let names: Vec<u64> = wanted.iter().map(|j| j.ticket).collect();
    let mut shuffled = wanted;
    shuffled.sort_by_key(|j| (j.ticket * 7) % 11);
    assert_ne!(shuffled.iter().map(|j| j.ticket).collect::<Vec<_>>(), names);
    assert_eq!(tickets(&order(shuffled)), names);
}

#[test]
fn what_is_held_for_an_inquiry_stands_aside_and_says_so() {
    let held = Job { held: true, ..job(1, seat(), Stage::Reported, 0) };
    let placed = order(vec![held, job(2, Stake::Nothing, Stage::Reported, 900)]);
    assert_eq!(tickets(&placed), [2, 1]);
    assert_eq!(placed[1].because, "Engine 2, seat 3 is open, but it is held for an inquiry");
    assert!(placed[1].job.stands_aside() && !placed[0].job.stands_aside());
}

#[test]
fn each_row_says_why_it_stands_there() {
    let because = |stake, stage| order(vec![job(1, stake, stage, 0)])[0].because.clone();
    assert_eq!(because(seat(), Stage::Reported), "Engine 2, seat 3 is open");
    assert_eq!(because(seat(), Stage::ReadyToProve), "Engine 2, seat 3 is open, and it is ready to prove");
    assert_eq!(because(spare(), Stage::WaitingForParts), "North has no spare left, but it waits for parts");
    assert_eq!(because(Stake::Nothing, Stage::OnTheBench), "no seat waits for it");
    let away = because(Stake::Nothing, Stage::AtRepairer);
    assert_eq!(away, "no seat waits for it, but it is at an outside repairer");
}

fn any_job() -> impl Strategy<Value = (Stake, Stage, i64)> {
    let stake = prop_oneof![Just(seat()), Just(spare()), Just(Stake::Nothing)];
    let open: Vec<Stage> = Stage::ALL.into_iter().filter(|s| !s.is_closed()).collect();
    (stake, prop::sample::select(open), 0..4_i64)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2_000) })]

    /// Total: nothing is lost, and the order in which jobs are handed over makes no difference.
    #[test]
    fn the_order_is_total(
        (jobs, shuffled) in prop::collection::vec(any_job(), 0..12).prop_flat_map(|all| {
            let jobs: Vec<Job> =
                (1..).zip(all).map(|(n, (stake, stage, at))| job(n, stake, stage, at)).collect();
            (Just(jobs.clone()), Just(jobs).prop_shuffle())
        })
    ) {
        let placed = order(jobs.clone());
        prop_assert_eq!(&placed, &order(shuffled));
        let mut all = tickets(&placed);
        all.sort_unstable();
        prop_assert_eq!(all, (1..=jobs.len() as u64).collect::<Vec<_>>());
        prop_assert!(placed.iter().all(|p| !p.because.is_empty()));
    }

    /// By a second hand: no job stands before one that is to be taken first.
    #[test]
    fn no_job_stands_before_one_that_matters_more(
        all in prop::collection::vec(any_job(), 2..12)
    ) {
        let jobs = (1..).zip(all).map(|(n, (stake, stage, at))| job(n, stake, stage, at)).collect();
        for pair in order(jobs).windows(2) {
            let (a, b) = (&pair[0].job, &pair[1].job);
            let waits = |j: &Job| matches!(j.stage, Stage::WaitingForParts | Stage::AtRepairer);
            let weight = |j: &Job| match j.stake {
                Stake::SeatOpen { .. } => 2,
                Stake::LastSpare { .. } => 1,
                Stake::Nothing => 0,
            };
            let proves = |j: &Job| j.stage == Stage::ReadyToProve;
            prop_assert!(waits(b) || !waits(a));
            if waits(a) == waits(b) {
                prop_assert!(weight(a) >= weight(b));
                if weight(a) == weight(b) {
                    prop_assert!(proves(a) || !proves(b));
                    prop_assert!(proves(a) != proves(b) || a.opened <= b.opened);
                }
            }
        }
    }
}
