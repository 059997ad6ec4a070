//! The ways of a ticket.

use airmuster_domain::desk::Other;
use airmuster_domain::record::{
    Desk, Sent, Stage, TicketApart, TicketJoined, TicketSplit, TicketStage, Worked,
};

use super::{Whole, day, facts, s};

const CLOSED: &str = "this ticket is closed";
const NONE: &str = "there is no such ticket";

#[test]
fn nothing_is_done_on_a_ticket_that_is_closed_or_not_there() {
    let mut state = facts();
    state.stage = Some(Stage::OnTheBench);
    let [text, parts, readings] = ["opened", "", ""].map(s);
    Whole::of(Worked { ticket: 1, text, parts, readings }, state.clone(), Desk::Worked)
        .refused(&[
            ("returned", CLOSED, |_, f| f.stage = Some(Stage::Returned)),
            ("retired", CLOSED, |_, f| f.stage = Some(Stage::Retired)),
            ("not there", NONE, |_, f| f.stage = None),
        ])
        .taken(&[
            ("reported", |_, f| f.stage = Some(Stage::Reported)),
            ("waiting for parts", |_, f| f.stage = Some(Stage::WaitingForParts)),
            ("at a repairer", |_, f| f.stage = Some(Stage::AtRepairer)),
            ("ready to prove", |_, f| f.stage = Some(Stage::ReadyToProve)),
        ]);

    state.under = Some(7);
    Whole::of(TicketApart { ticket: 1 }, state, Desk::TicketApart).refused(&[
        ("closed", CLOSED, |_, f| f.stage = Some(Stage::Returned)),
        ("not there", NONE, |_, f| f.stage = None),
        ("not joined", "stands by itself already", |_, f| f.under = None),
    ]);
}

fn sent() -> Sent {
    let [repairer, reference, loaner] = ["Basin Instruments", "BI-7", ""].map(s);
    Sent { repairer, reference, due_back: day("2026-01-05"), loaner }
}

#[test]
fn a_stage_is_set_on_the_ticket_itself_and_never_closes_it() {
    let mut state = facts();
    state.stage = Some(Stage::Reported);
    let body = TicketStage { ticket: 1, stage: Stage::OnTheBench, note: String::new(), sent: None };
    let ends = "a ticket ends with a return to service";
    Whole::of(body, state, Desk::TicketStage)
        .refused(&[
            ("closed", CLOSED, |_, f| f.stage = Some(Stage::Returned)),
            ("returned by hand", ends, |t, _| t.stage = Stage::Returned),
            ("retired by hand", ends, |t, _| t.stage = Stage::Retired),
            ("under another", "under ticket 7; set that one’s stage", |_, f| f.under = Some(7)),
            ("sent to nobody", "say which repairer has it", |t, _| t.stage = Stage::AtRepairer),
            ("sent, and on the bench", "only what is with an outside repairer", |t, _| t.sent = Some(sent())),
        ])
        .taken(&[
            ("waiting for parts", |t, _| t.stage = Stage::WaitingForParts),
            ("ready to prove", |t, _| t.stage = Stage::ReadyToProve),
        ]);
}

#[test]
fn what_is_sent_away_says_to_whom_under_which_paper_and_until_when() {
    let mut state = facts();
    state.stage = Some(Stage::Reported);
    let sent = Some(sent());
    let body = TicketStage { ticket: 1, stage: Stage::AtRepairer, note: String::new(), sent };
    let who = "name the repairer, and the reference";
    // Due back today is the nearest day there is.
    Whole::of(body, state, Desk::TicketStage)
        .refused(&[
            ("no repairer", who, |t, _| t.sent.as_mut().unwrap().repairer = s(" ")),
            ("no reference", who, |t, _| t.sent.as_mut().unwrap().reference = s(" ")),
            ("due back yesterday", "the day on which it is due back", |t, _| {
                t.sent.as_mut().unwrap().due_back = day("2026-01-04");
            }),
            ("a unit off a rig for a loaner", "is ours and on a rig", |_, f| f.our_loaner = Some(s("7"))),
        ])
        .taken(&[("due back tomorrow", |t, _| t.sent.as_mut().unwrap().due_back = day("2026-01-06"))]);
}

#[test]
fn a_ticket_is_joined_to_an_open_one_that_stands_by_itself() {
    let mut state = facts();
    state.stage = Some(Stage::Reported);
    state.other = Some(Other { stage: Some(Stage::OnTheBench), under: None, held: false });
    let none = "there is no open ticket 2";
    Whole::of(TicketJoined { ticket: 1, under: 2, why: String::new() }, state, Desk::TicketJoined).refused(
        &[
            ("closed", CLOSED, |_, f| f.stage = Some(Stage::Returned)),
            ("to itself", "joined to another one", |t, _| t.under = 1),
            ("joined already", "joined to another one already", |_, f| f.under = Some(7)),
            ("others are under it", "take them apart first", |_, f| f.has_joined = true),
            ("to one that is not there", none, |_, f| f.other = None),
            ("to one without a stage", none, |_, f| f.other = Some(Other::default())),
            ("to a closed one", none, |_, f| {
                f.other = Some(Other { stage: Some(Stage::Returned), under: None, held: false });
            }),
            ("to one that is held", "ticket 2 is about is held for an inquiry", |_, f| {
                f.other.as_mut().unwrap().held = true;
            }),
            ("to one under another", "worked on under ticket 7; join it to that one", |_, f| {
                f.other.as_mut().unwrap().under = Some(7);
            }),
        ],
    );
}

#[test]
fn a_ticket_is_split_so_that_something_open_is_on_each() {
    let mut state = facts();
    state.stage = Some(Stage::Reported);
    state.on_ticket = ["a", "b", "c"].map(s).into();
    state.next_ticket = 3;
    let body = TicketSplit { ticket: 1, grounds: vec![s("a")], into: 3, why: String::new() };
    let tick = "tick what is still open on this ticket";
    Whole::of(body, state, Desk::TicketSplit)
        .refused(&[
            ("closed", CLOSED, |_, f| f.stage = Some(Stage::Returned)),
            ("nothing ticked", tick, |t, _| t.grounds.clear()),
            ("something that is not open", tick, |t, _| t.grounds.push(s("d"))),
            ("everything", "something stays on this ticket", |t, _| {
                t.grounds = ["a", "b", "c"].map(s).into();
            }),
            ("another number by now", "another ticket was opened meanwhile", |_, f| f.next_ticket = 4),
        ])
        .taken(&[
            ("all but one", |t, _| t.grounds = ["a", "b"].map(s).into()),
            ("one twice", |t, _| t.grounds = ["a", "a", "a"].map(s).into()),
        ]);
}
