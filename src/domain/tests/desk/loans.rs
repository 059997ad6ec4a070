//! Units lent and borrowed.

use airmuster_domain::ground::{Kind, Raise};
use airmuster_domain::record::{Asset, Desk, Loan, LoanEnded, NoticeDone, Place, Register};

use super::{Whole, borrowed, day, facts, hear, lent, notice, raise, s};

/// Unit 1 without the notice that stops it.
fn ready() -> airmuster_domain::desk::Facts {
    let mut state = facts();
    let done = NoticeDone { notice: s("n-1"), asset: Asset::unit("1"), what: s("spring exchanged") };
    hear(&mut state.upkeep, &Desk::NoticeDone(done));
    state
}

fn paper(loan: &mut Loan) -> &mut String {
    match loan {
        Loan::Lent { reference, .. } | Loan::Borrowed { reference, .. } => reference,
    }
}

fn other(loan: &mut Loan) -> &mut String {
    match loan {
        Loan::Lent { to: other, .. } | Loan::Borrowed { from: other, .. } => other,
    }
}

fn due(loan: &mut Loan) -> &mut chrono::NaiveDate {
    match loan {
        Loan::Lent { due_back, .. } | Loan::Borrowed { due_back, .. } => due_back,
    }
}

#[test]
fn a_unit_is_lent_while_it_is_ours_here_and_fit_to_ride() {
    Whole::of(lent("1"), ready(), Desk::Loan)
        .refused(&[
            ("no unit", "no unit 9 is in the register", |l, _| *l = lent("9")),
            ("borrowed", "unit L-9 belongs to Harrow Creek; give it back", |l, _| *l = lent("L-9")),
            ("lent", "unit 1 is lent already", |l, f| hear(&mut f.upkeep, &Desk::Loan(l.clone()))),
            ("at a repairer", "unit 1 is with a repairer", |_, f| {
                let away = Register::Holder { asset: Asset::unit("1"), place: Place::Repairer };
                hear(&mut f.upkeep, &Desk::Register(away));
            }),
            ("failed", "unit 1 is out of service (it failed); it is not lent", |_, f| {
                f.open = vec![raise(Kind::Finding)];
            }),
            ("not to ride with what is on it", "its facepiece 7: it failed", |_, f| {
                let on =
                    Register::Holder { asset: Asset::facepiece("7"), place: Place::With { unit: s("1") } };
                hear(&mut f.upkeep, &Desk::Register(on));
                let failed = Raise { asset: Asset::facepiece("7"), ..raise(Kind::Finding) };
                f.fitted_open.insert(Asset::facepiece("7"), vec![failed]);
            }),
            ("stopped by a notice", "unit 1 is out of service (notice n-2", |_, f| {
                hear(&mut f.upkeep, &Desk::Notice(notice("n-2")));
            }),
            ("gone", "never comes back", |_, f| f.open = vec![raise(Kind::Retired)]),
            ("to nobody", "name the other department", |l, _| *other(l) = s(" ")),
            ("without a paper", "give the paper that goes with it", |l, _| *paper(l) = s(" ")),
            ("due back yesterday", "the day on which it is due back", |l, _| *due(l) = day("2026-01-04")),
        ])
        .taken(&[
            ("due back today", |l, _| *due(l) = day("2026-01-05")),
            ("to be put right", |_, f| f.open = vec![raise(Kind::PutRight)]),
            ("back from a loan", |l, f| {
                hear(&mut f.upkeep, &Desk::Loan(l.clone()));
                hear(&mut f.upkeep, &Desk::LoanEnded(back("1", Some("mill"))));
            }),
        ]);
}

#[test]
fn a_borrowed_unit_gets_a_number_that_nothing_of_ours_has() {
    let number = "there is a unit";
    Whole::of(borrowed("L-8"), facts(), Desk::Loan)
        .refused(&[
            ("no number", "letters, digits, dots and hyphens", |l, _| *l = borrowed("L 8")),
            ("one of ours", number, |l, _| *l = borrowed("1")),
            ("one that is borrowed", number, |l, _| *l = borrowed("L-9")),
            ("no kind", "choose its kind", |_, f| f.slots = None),
            ("without their number", "the number that its owner has on it", |l, _| {
                if let Loan::Borrowed { theirs, .. } = l {
                    *theirs = s(" ");
                }
            }),
            ("from nobody", "name the other department", |l, _| *other(l) = s(" ")),
            ("without a paper", "give the paper that goes with it", |l, _| *paper(l) = s(" ")),
            ("due back yesterday", "the day on which it is due back", |l, _| *due(l) = day("2026-01-04")),
        ])
        .taken(&[
            ("due back today", |l, _| *due(l) = day("2026-01-05")),
            ("one that was given back", |l, f| {
                hear(&mut f.upkeep, &Desk::LoanEnded(back("L-9", None)));
                *l = borrowed("L-9");
            }),
        ]);
}

fn back(unit: &str, station: Option<&str>) -> LoanEnded {
    LoanEnded { unit: s(unit), station: station.map(s), note: String::new() }
}

#[test]
fn a_loan_ends_where_the_unit_belongs() {
    let mut state = ready();
    hear(&mut state.upkeep, &Desk::Loan(lent("1")));
    Whole::of(back("1", Some("mill")), state, Desk::LoanEnded)
        .refused(&[
            ("ours, to nowhere", "choose the station", |e, _| e.station = None),
            ("theirs, to a station", "it goes back to Harrow Creek", |e, _| e.unit = s("L-9")),
            ("on no loan", "unit 2 is on no loan any more", |e, _| e.unit = s("2")),
            ("no unit", "unit 9 is on no loan any more", |e, _| e.unit = s("9")),
        ])
        .taken(&[("theirs, back to them", |e, _| *e = back("L-9", None))]);
}
