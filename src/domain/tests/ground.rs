//! The table of grounds: what each takes from a thing, and whether a check gives it back.

use std::collections::BTreeSet;

use airmuster_domain::ground::Kind;
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;

/// Whether it opens a ticket.
const BENCH: bool = true;
const AWAY_FROM_IT: bool = false;

/// The grounds; the standing that each alone gives; whether the bench has it.
const TABLE: [(Kind, &str, State, bool); 24] = [
    (Kind::Finding, "finding", State::OutOfService, BENCH),
    (Kind::AnotherItem, "another", State::OutOfService, AWAY_FROM_IT),
    (Kind::PutRight, "put-right", State::PutRight, AWAY_FROM_IT),
    (Kind::TakenOut, "taken-out", State::OutOfService, BENCH),
    (Kind::Contested, "contested", State::OutOfService, AWAY_FROM_IT),
    (Kind::Doubted, "doubted", State::OutOfService, AWAY_FROM_IT),
    (Kind::Held, "held", State::Held, AWAY_FROM_IT),
    (Kind::Soiled, "soiled", State::PutRight, AWAY_FROM_IT),
    (Kind::Contaminated, "contaminated", State::OutOfService, AWAY_FROM_IT),
    (Kind::NotAccepted, "not-accepted", State::OutOfService, AWAY_FROM_IT),
    (Kind::CheckAgain, "check-again", State::CheckDue, AWAY_FROM_IT),
    (Kind::Used, "used", State::CheckDue, AWAY_FROM_IT),
    (Kind::Misread, "misread", State::CheckDue, AWAY_FROM_IT),
    (Kind::CheckDue, "check-due", State::CheckDue, AWAY_FROM_IT),
    (Kind::Overdue, "overdue", State::InService, AWAY_FROM_IT),
    // It may be used until it is empty: 49 CFR 180.205(c).
    (Kind::NotToBeFilled, "not-to-be-filled", State::InService, AWAY_FROM_IT),
    (Kind::Lapsed, "lapsed", State::OutOfService, AWAY_FROM_IT),
    (Kind::PastLife, "past-life", State::OutOfService, AWAY_FROM_IT),
    (Kind::BadAir, "bad-air", State::OutOfService, AWAY_FROM_IT),
    (Kind::FittedOut, "fitted-out", State::OutOfService, AWAY_FROM_IT),
    (Kind::StopUsing, "stop-using", State::OutOfService, AWAY_FROM_IT),
    (Kind::InspectBy, "inspect-by", State::InService, AWAY_FROM_IT),
    (Kind::BeenAway, "been-away", State::CheckDue, AWAY_FROM_IT),
    (Kind::Retired, "retired", State::Retired, AWAY_FROM_IT),
];

#[test]
fn each_ground_gives_its_standing_and_only_findings_and_words_go_to_the_bench() {
    for (kind, _, state, bench) in TABLE {
        let terms = kind.terms();
        assert_eq!((terms.state, terms.bench), (state, bench), "{kind:?}");
    }
}

#[test]
fn a_ground_keeps_the_name_under_which_the_database_has_it() {
    for (kind, id, ..) in TABLE {
        assert_eq!(kind.id(), id);
    }
}

#[test]
fn no_two_grounds_are_called_the_same_on_a_screen() {
    let titles: BTreeSet<&str> = TABLE.iter().map(|(kind, ..)| kind.terms().title).collect();
    assert_eq!(titles.len(), TABLE.len());
}

#[test]
fn a_good_check_clears_what_the_crew_can_put_right_and_only_one_after_use_clears_a_use() {
    let cleared = |purpose: Purpose| -> Vec<Kind> {
        TABLE.iter().map(|(kind, ..)| *kind).filter(|k| k.cleared_by_a_check(purpose)).collect()
    };
    let each_time =
        [Kind::AnotherItem, Kind::PutRight, Kind::CheckAgain, Kind::Misread, Kind::CheckDue, Kind::BeenAway];
    for purpose in [Purpose::ShiftStart, Purpose::Periodic, Purpose::Acceptance] {
        assert_eq!(cleared(purpose), each_time, "{purpose:?}");
    }
    for purpose in [Purpose::AfterUse, Purpose::Proving] {
        let mut with_a_use = each_time.to_vec();
        with_a_use.insert(3, Kind::Used);
        assert_eq!(cleared(purpose), with_a_use, "{purpose:?}");
    }
}
