//! What is said about the records themselves, about tablets, members and inquiries.

use airmuster_domain::desk::{Enrolled, Wrong};
use airmuster_domain::ground::Kind;
use airmuster_domain::record::{
    Acknowledged, Asset, Correction, Desk, Digest, GapDealt, HandOver, Leaving, Left, Misfit, RecordRef,
    RulesInForce, Seal, Settlement, Signed, TabletRevoked, TakenOut,
};
use uuid::Uuid;

use super::{Whole, facts, name, raise, s};

const OTHER: Digest = Digest([7; 32]);

#[test]
fn a_settlement_names_every_version_and_one_of_them_holds_or_none() {
    let mut state = facts();
    state.variants.insert(OTHER);
    let (id, variants) = (name().id, vec![name().digest, OTHER]);
    let body = Settlement { id, variants, accepted: Some(OTHER), why: s("asked both") };
    let every = "a settlement names every version there is";
    Whole::of(body, state, Desk::Settlement)
        .refused(&[
            ("one of two", every, |b, _| b.variants.truncate(1)),
            ("one that is not there", every, |b, _| b.variants.push(Digest([8; 32]))),
            ("no record at all", every, |b, f| {
                b.variants.clear();
                f.variants.clear();
            }),
            ("another one holds", "the version that holds must be one of those named", |b, _| {
                b.accepted = Some(Digest([8; 32]));
            }),
        ])
        .taken(&[
            ("none holds", |b, _| b.accepted = None),
            ("in another order", |b, _| b.variants.reverse()),
        ]);
}

#[test]
fn a_signature_is_proven_by_the_member_who_signed_and_by_nobody_else() {
    let mut state = facts();
    state.signer = Some(s("tom"));
    let words = "a signature is proven by the member who signed";
    Whole::of(Signed { of: name() }, state, Desk::Signature).forbidden(&[
        ("another member", words, |_, f| f.by.as_mut().unwrap().id = s("ana")),
        ("the console", words, |_, f| f.by = None),
        ("an unsigned record", words, |_, f| f.signer = None),
        ("another version", words, |b, _| b.of.digest = OTHER),
    ]);
}

#[test]
fn a_countersignature_is_asked_for_and_comes_from_somebody_else() {
    let mut state = facts();
    (state.waits, state.signer, state.writer) = (true, Some(s("ana")), Some(s("ben")));
    let (waits, own) = ("this check waits for no countersignature", "does not countersign it");
    Whole::of(Signed { of: name() }, state, Desk::Countersigned)
        .refused(&[
            ("not asked for", waits, |_, f| f.waits = false),
            ("another version", waits, |b, _| b.of.digest = OTHER),
        ])
        .forbidden(&[
            ("who made it", own, |_, f| f.signer = Some(s("tom"))),
            ("who wrote it down", own, |_, f| f.writer = Some(s("tom"))),
        ])
        .taken(&[("nobody else wrote it down", |_, f| f.writer = None)]);
}

fn correction(misread: &[&str], right: Option<(&str, &str)>) -> Correction {
    Correction {
        of: name(),
        replaces: Vec::new(),
        misread: misread.iter().map(|m| s(m)).collect(),
        right_unit: right.map(|(unit, profile)| (s(unit), s(profile))),
        why: s("the label in the photograph"),
    }
}

fn wrong() -> Wrong {
    let (unit, answered) = (s("1"), [s("gauges")].into());
    Wrong { unit, answered, signed: true, right_profile: Some(s("a")), ..Wrong::default() }
}

#[test]
fn a_correction_is_of_a_check_as_it_stands_and_says_how_one_knows() {
    let mut state = facts();
    state.wrong = Some(wrong());
    let head = RecordRef { id: Uuid::from_u128(9), digest: OTHER };
    assert_ne!(head, name());
    let by_now = "this check has been corrected by now";
    Whole::of(correction(&["gauges"], None), state, Desk::Correction)
        .refused(&[
            ("not there", "not in the logbook", |c, _| c.of.digest = OTHER),
            ("no check", "only a check is corrected", |_, f| f.wrong = None),
            ("corrected by now", by_now, |_, f| f.wrong.as_mut().unwrap().heads = [name()].into()),
            ("following what is not one", by_now, |c, _| c.replaces = vec![name()]),
            ("no reason", "write down how you know", |c, _| c.why = s(" ")),
            ("nothing was wrong", "say which unit is the right one, or which step", |c, _| c.misread.clear()),
            ("a step that was not answered", "only a step that was answered", |c, _| {
                c.misread.push(s("strap"));
            }),
            ("a reading that nobody signed", "nobody has signed this; check the unit again", |_, f| {
                f.wrong.as_mut().unwrap().signed = false;
            }),
        ])
        .taken(&[("following the one that holds", |c, f| {
            c.replaces = vec![name()];
            f.wrong.as_mut().unwrap().heads = [name()].into();
        })]);
}

#[test]
fn the_right_unit_is_another_one_of_the_kind_that_the_register_has() {
    let mut state = facts();
    state.wrong = Some(wrong());
    Whole::of(correction(&[], Some(("2", "a"))), state, Desk::Correction)
        .refused(&[
            ("no number", "letters, digits, dots and hyphens", |c, _| {
                c.right_unit = Some((s("2 b"), s("a")));
            }),
            ("the same", "the unit that the check names already", |c, _| {
                c.right_unit = Some((s("1"), s("a")));
            }),
            ("another kind", "the right unit is of another kind", |c, _| {
                c.right_unit = Some((s("2"), s("b")));
            }),
            ("beside a step that was not answered", "only a step that was answered", |c, _| {
                c.misread = vec![s("strap")];
            }),
        ])
        .taken(&[
            ("unknown to the register", |c, f| {
                c.right_unit = Some((s("2"), s("b")));
                f.wrong.as_mut().unwrap().right_profile = None;
            }),
            ("of what nobody signed", |_, f| f.wrong.as_mut().unwrap().signed = false),
            ("and a misread step", |c, _| c.misread = vec![s("gauges")]),
        ]);
}

#[test]
fn a_late_record_is_read_only_where_it_is_there() {
    Whole::of(Acknowledged { of: name() }, facts(), Desk::Acknowledged).refused(&[(
        "another version",
        "not in the logbook",
        |a, _| a.of.digest = OTHER,
    )]);
}

#[test]
fn a_tablet_is_given_up_once_and_a_gap_dealt_with_where_it_shows() {
    let mut state = facts();
    (state.tablet, state.shows) = (Some(Enrolled::InUse), true);
    let revoked = TabletRevoked { tablet: s("t1"), trusted: None, why: s("lost") };
    Whole::of(revoked, state.clone(), Desk::TabletRevoked).refused(&[
        ("given up before", "this tablet was given up before", |_, f| f.tablet = Some(Enrolled::Revoked)),
        ("unknown", "there is no such tablet", |_, f| f.tablet = None),
    ]);
    let what = Misfit::Missing { from: 3, to: 4 };
    let gap = GapDealt { tablet: s("t1"), incarnation: None, what, why: s("it fell into the pond") };
    Whole::of(gap, state, Desk::GapDealt).refused(&[
        ("before it shows", "shows such a gap", |_, f| f.shows = false),
        ("nothing found out", "write down what you found out", |g, _| g.why = s(" ")),
    ]);
}

#[test]
fn nobody_ends_their_own_roles() {
    let body = Left { member: s("tom"), how: Leaving::Transferred, shift: 0, why: s("moves") };
    let own = "nobody ends their own roles";
    Whole::of(body, facts(), Desk::Left)
        .refused(&[
            ("for good", own, |l, _| l.how = Leaving::Separated),
            ("for a time", own, |l, _| l.how = Leaving::OnLeave),
        ])
        .taken(&[
            ("another member, for good", |l, _| (l.member, l.how) = (s("ana"), Leaving::Separated)),
            ("at the console", |l, f| (l.how, f.by) = (Leaving::Separated, None)),
        ]);
}

#[test]
fn a_rule_table_is_one_that_can_be_read() {
    let body = RulesInForce { text: s(crate::common::TABLE), again: Vec::new(), grace_hours: None };
    Whole::of(body, facts(), Desk::Rules).refused(&[("an unknown unit of pressure", "line ", |r, _| {
        r.text = r.text.replace("psi", "furlong");
    })]);
}

// ------------------------------------------------------------------------------- inquiries

#[test]
fn what_is_sealed_or_handed_over_is_held_and_the_words_say_where_and_to_whom() {
    let mut state = facts();
    state.open = vec![raise(Kind::Held)];
    let held = "this is not held for an inquiry; hold it first";
    let seal = Seal {
        asset: Asset::unit("1"),
        pressure: None,
        eighths: Some(160),
        place: s("found on the stairs, kept in the safe"),
        packed_with: Vec::new(),
        battery_in: true,
    };
    Whole::of(seal, state.clone(), Desk::Sealed)
        .refused(&[
            ("not held", held, |_, f| f.open = vec![raise(Kind::Finding)]),
            ("nowhere", "write down where that was", |b, _| b.place = s(" ")),
            ("more than twenty turns", "count the turns again", |b, _| b.eighths = Some(161)),
        ])
        .taken(&[("one turn", |b, _| b.eighths = Some(8)), ("not counted", |b, _| b.eighths = None)]);
    let over = HandOver { asset: Asset::unit("1"), to: s("the fire marshal’s office"), why: s("seal 12") };
    Whole::of(over, state, Desk::HandedOver).refused(&[
        ("not held", held, |_, f| f.open.clear()),
        ("to nobody", "write down who has it now", |h, _| h.to = s(" ")),
    ]);
}

#[test]
fn only_a_cylinder_is_condemned_once_and_for_a_reason() {
    // 49 CFR 180.203: condemned is a terminal state.
    let body = TakenOut { asset: Asset::cylinder("1"), why: s("neck cracked") };
    let gone = "is retired or condemned: it never comes back";
    Whole::of(body, facts(), Desk::Condemned)
        .refused(&[
            ("a unit", "only a cylinder is condemned", |t, _| t.asset = Asset::unit("1")),
            ("a facepiece", "only a cylinder is condemned", |t, _| t.asset = Asset::facepiece("1")),
            ("no reason", "write down why it is condemned", |t, _| t.why = s(" ")),
            ("gone", gone, |_, f| f.open = vec![raise(Kind::Retired)]),
        ])
        .taken(&[("what has failed", |_, f| f.open = vec![raise(Kind::Finding)])]);
}
