//! Parts with serials, and notices that reach them.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    Asset, AssetKind, Desk, Fitting, Notice, NoticeDone, NoticeEnded, Register, Slot,
};

use super::{Whole, day, entered, facts, hear, month, notice, part, raise, s};

#[test]
fn a_part_goes_in_the_place_of_the_one_that_is_there() {
    // RD-1 is on unit 1.
    let mut swap = entered(Slot::Reducer, "RD-2");
    (swap.was_there, swap.out) = (false, Some(s("RD-1")));
    let another = "another reducer is on the unit by now";
    Whole::of(swap, facts(), Desk::Fitting)
        .refused(&[
            ("another one out", another, |f, _| f.out = Some(s("RD-0"))),
            ("none out", another, |f, _| f.out = None),
            ("out of an empty place", "another regulator is on the unit", |f, _| f.slot = Slot::Regulator),
            ("no unit", "no unit 9 is in the register", |f, _| f.unit = s("9")),
            ("a unit known by its parts alone", "no unit 9 is in the register", |f, state| {
                let mut there = entered(Slot::Reducer, "RD-1");
                there.unit = s("9");
                hear(&mut state.upkeep, &Desk::Fitting(there));
                f.unit = s("9");
            }),
            ("gone", "never comes back", |_, state| state.open = vec![raise(Kind::Retired)]),
            ("no reason for a removal", "write down why it is removed", |f, _| f.part = None),
            ("nothing at all", "no regulator is on the unit", |f, _| {
                (f.slot, f.out, f.part) = (Slot::Regulator, None, None);
            }),
        ])
        .taken(&[
            ("into an empty place", |f, _| (f.slot, f.out) = (Slot::Regulator, None)),
            ("removed for a reason", |f, _| (f.part, f.why) = (None, s("leaks"))),
        ]);
}

#[test]
fn what_was_on_the_unit_is_entered_as_it_is_there() {
    let was = "what was on the unit is entered, and nothing is taken out";
    Whole::of(entered(Slot::Reducer, "RD-1"), facts(), Desk::Fitting)
        .refused(&[
            ("something out", was, |f, _| f.out = Some(s("RD-1"))),
            ("no part", was, |f, _| f.part = None),
            ("another serial", "has reducer RD-1 on it; write down that it was replaced", |f, _| {
                f.part.as_mut().unwrap().serial = s("RD-2");
            }),
        ])
        .taken(&[("where nothing was entered", |f, _| f.slot = Slot::Regulator)]);
}

fn label(f: &mut Fitting) -> &mut airmuster_domain::record::Component {
    f.part.as_mut().unwrap()
}

#[test]
fn a_parts_label_is_one_and_its_approval_names_it() {
    // 29 CFR 1910.134(h)(4)(ii): only parts made for the respirator. 40 characters of serial are
    // common practice, no published source.
    let mut fresh = entered(Slot::Regulator, "RG-1");
    fresh.was_there = false;
    let (serial, warranty) = ("give the serial, as it stands on the part", "a warranty ends after");
    Whole::of(fresh, facts(), Desk::Fitting)
        .refused(&[
            ("no serial", serial, |f, _| label(f).serial = s(" ")),
            ("41 characters", serial, |f, _| label(f).serial = "ä".repeat(41)),
            ("no edition", "give the edition", |f, _| label(f).edition = s(" ")),
            ("on another unit", "regulator RG-1 is on unit 2; remove it there first", |_, state| {
                state.fitted_on = Some(s("2"));
            }),
            ("made next month", "the month in which it was made", |f, _| {
                label(f).made = Some(month("2026-02"));
            }),
            ("a warranty from before it was made", warranty, |f, _| {
                (label(f).made, label(f).warranty) = (Some(month("2025-06")), Some(day("2025-05-31")));
            }),
            (
                "another name",
                "does not name “Other part”: do not fit it. It names Brindle part",
                |f, _| {
                    label(f).name = s("Other part");
                },
            ),
            ("no name", "does not name this regulator: do not fit it", |f, _| label(f).name = s(" ")),
            ("no approval", "the register has no display that the approval of a names", |f, _| {
                f.slot = Slot::Display;
            }),
        ])
        .taken(&[
            ("40 characters", |f, _| label(f).serial = "ä".repeat(40)),
            ("made this month", |f, _| label(f).made = Some(month("2026-01"))),
            ("made today", |f, state| {
                label(f).made = Some(month("2026-01"));
                state.today = day("2026-01-01");
            }),
            ("made long ago", |f, _| label(f).made = Some(month("2016-01"))),
            ("a warranty to the day it was made", |f, _| {
                (label(f).made, label(f).warranty) = (Some(month("2025-06")), Some(day("2025-06-01")));
            }),
            ("a warranty for years", |f, _| {
                (label(f).made, label(f).warranty) = (Some(month("2025-06")), Some(day("2030-06-01")));
            }),
            ("a warranty, and nobody knows when it was made", |f, _| {
                label(f).warranty = Some(day("2015-06-01"));
            }),
            ("the second name", |_, state| {
                let names = vec![s("Older part"), s("Brindle part")];
                let entry = Register::Approval { profile: s("a"), slot: Slot::Regulator, names };
                hear(&mut state.upkeep, &Desk::Register(entry));
            }),
        ]);
}

// ---------------------------------------------------------------------------------- notices

#[test]
fn a_notice_says_from_whom_about_what_and_what_to_do() {
    Whole::of(notice("n-2"), facts(), Desk::Notice).refused(&[
        ("no number", "give the notice a number", |n, _| n.number = s("n 2")),
        ("a number that is taken", "there is a notice n-1 already", |n, _| n.number = s("n-1")),
        ("no title", "what it is about", |n, _| n.title = s(" ")),
        ("no source", "who gave it out", |n, _| n.source = s(" ")),
        ("nothing to do", "what is to be done to each", |n, _| n.what = s(" ")),
        ("parts of facepieces", "parts are on units; choose units", |n, _| {
            n.reach.kind = AssetKind::Facepiece;
        }),
    ]);
}

fn bare(n: &mut Notice) {
    (n.reach.only, n.reach.slot) = (String::new(), None);
}

#[test]
fn a_notice_narrows_down_what_it_reaches() {
    let (which, row) = ("say which things", "the first and last serial are of one row");
    Whole::of(notice("n-2"), facts(), Desk::Notice)
        .refused(&[
            ("everything", which, |n, _| bare(n)),
            ("everything, in blanks", which, |n, _| {
                bare(n);
                n.reach.name = s(" ");
            }),
            ("a batch that ends before it begins", "the batch ends before it begins", |n, _| {
                n.reach.made_from = Some(month("2025-07"));
                n.reach.made_to = Some(month("2025-06"));
            }),
            ("the last before the first", row, |n, _| (n.reach.from, n.reach.to) = (s("RD-9"), s("RD-8"))),
            ("two rows", row, |n, _| (n.reach.from, n.reach.to) = (s("RD-1"), s("RG-9"))),
        ])
        .taken(&[
            ("by name", |n, _| {
                bare(n);
                n.reach.name = s("Brindle part");
            }),
            ("by serials", |n, _| {
                bare(n);
                (n.reach.from, n.reach.to) = (s("RD-8"), s("RD-9"));
            }),
            ("one serial", |n, _| (n.reach.from, n.reach.to) = (s("RD-8"), s("RD-8"))),
            ("from a serial on", |n, _| n.reach.from = s("RD-8")),
            ("up to a serial", |n, _| n.reach.to = s("RD-8")),
            ("made from a month on", |n, _| {
                bare(n);
                n.reach.made_from = Some(month("2025-06"));
            }),
            ("made up to a month", |n, _| {
                bare(n);
                n.reach.made_to = Some(month("2025-06"));
            }),
            ("made in one month", |n, _| {
                n.reach.made_from = Some(month("2025-06"));
                n.reach.made_to = Some(month("2025-06"));
            }),
            ("made in two months", |n, _| {
                n.reach.made_from = Some(month("2025-06"));
                n.reach.made_to = Some(month("2025-07"));
            }),
        ]);
}

fn ended() -> NoticeEnded {
    NoticeEnded { notice: s("n-1"), why: s("letter 8") }
}

#[test]
fn what_a_notice_asks_for_is_done_once_to_what_it_reaches() {
    let body = NoticeDone { notice: s("n-1"), asset: Asset::unit("1"), what: s("spring exchanged") };
    let (off, force) = ("1 is not on the list of this notice any more", "this notice is not in force");
    Whole::of(body, facts(), Desk::NoticeDone)
        .refused(&[
            ("nothing said", "write down what was done and found", |d, _| d.what = s(" ")),
            ("no such notice", force, |d, _| d.notice = s("n-9")),
            ("withdrawn", force, |_, f| hear(&mut f.upkeep, &Desk::NoticeEnded(ended()))),
            ("not about this", off, |d, _| d.asset = Asset::cylinder("1")),
            ("done before", off, |d, f| hear(&mut f.upkeep, &Desk::NoticeDone(d.clone()))),
            ("gone", "never comes back", |_, f| f.open = vec![raise(Kind::Retired)]),
        ])
        .taken(&[("done before, to another reducer in its place", |d, f| {
            hear(&mut f.upkeep, &Desk::NoticeDone(d.clone()));
            let mut swap = entered(Slot::Reducer, "RD-2");
            (swap.was_there, swap.out, swap.part) = (false, Some(s("RD-1")), Some(part("RD-2")));
            hear(&mut f.upkeep, &Desk::Fitting(swap));
        })]);
}

#[test]
fn a_notice_is_withdrawn_once_and_for_a_reason() {
    let force = "this notice is not in force";
    Whole::of(ended(), facts(), Desk::NoticeEnded).refused(&[
        ("no such notice", force, |e, _| e.notice = s("n-9")),
        ("withdrawn before", force, |e, f| hear(&mut f.upkeep, &Desk::NoticeEnded(e.clone()))),
        ("no reason", "say who withdrew it, and why", |e, _| e.why = s(" ")),
    ]);
}
