//! What a record says, in words: for histories, for the record's own page and for settling.

use airmuster_domain::judge::{Judgement, Verdict};
use airmuster_domain::record::{
    AirSample, Asked, AssetKind, Body, Cadence, Check, Desk, Field, Loan, Move, Outcome, Part, Personal,
    PinStop, Place, Reach, Register, Return, Seal, Sent, Settlement, Spot, Upkept,
};
use airmuster_domain::rules::Consequence;
use airmuster_domain::upkeep::{day_words, decimal, grade_d};

use super::entered::sentence;
use super::present::{capital, when};
use super::view::Mark;
use super::view::unit;
use crate::service::fleet::Fleet;
use crate::service::history::{Event, Judged};
use crate::store::UnitRow;

/// A record in words.
#[derive(Debug, Clone, Default)]
pub struct Told {
    /// What it is: `Shift-start check`.
    pub title: String,
    /// What came of it.
    pub detail: String,
    /// A shape, where it raised or cleared something.
    pub mark: Option<Mark>,
}

/// An event in a history.
fn event(fleet: &Fleet, e: &Event) -> unit::Event {
    let told = tell(fleet, e);
    let envelope = &e.kept.record.envelope;
    unit::Event {
        when: when(&fleet.department.clock, envelope.time(), fleet.now),
        title: told.title,
        detail: told.detail,
        who: envelope.by.as_deref().map(|by| fleet.name(by).to_owned()).unwrap_or_default(),
        mark: told.mark,
        href: format!("/records/{}", e.kept.place.seq),
    }
}

/// This many good checks in a row, or more, are folded up: what is not routine stands out.
const FOLDED: usize = 4;

/// Everything that happened, newest first, with routine folded up.
pub fn happened(fleet: &Fleet, events: &[Event]) -> Vec<unit::Run> {
    let mut out = Vec::new();
    let show = |events: &[Event]| events.iter().map(|e| event(fleet, e)).collect();
    for row in events.chunk_by(|a, b| routine(a) && routine(b)) {
        let folded = (row.len() >= FOLDED).then(|| {
            let date = |e: &Event| {
                let at = fleet.department.clock.local(e.kept.record.envelope.time());
                let this_year = at.format("%Y").to_string()
                    == fleet.department.clock.local(fleet.now).format("%Y").to_string();
                at.format(if this_year { "%-d %b" } else { "%-d %b %Y" }).to_string()
            };
            format!("{} good checks, {} to {}", row.len(), date(&row[row.len() - 1]), date(&row[0]))
        });
        out.push(unit::Run { folded, events: show(row) });
    }
    out
}

/// A complete check that counts and found nothing.
fn routine(e: &Event) -> bool {
    let complete = e.counts && e.check().is_some_and(|c| c.outcome == Outcome::Complete);
    let good = |j: &Judgement| j.verdict == Verdict::InService && j.findings.is_empty();
    complete && e.judged.as_ref().is_some_and(|j| good(&j.judgement))
}

/// Says what a record says.
pub fn tell(fleet: &Fleet, e: &Event) -> Told {
    match &e.kept.record.body {
        Body::Field(field) => tell_field(fleet, field, e),
        Body::Desk(desk) => tell_desk(fleet, desk),
    }
}

fn told(title: &str, detail: impl AsRef<str>, mark: Option<Mark>) -> Told {
    Told { title: title.to_owned(), detail: sentence(detail.as_ref()), mark }
}

fn tell_field(fleet: &Fleet, field: &Field, e: &Event) -> Told {
    match field {
        Field::Check(check) => tell_check(check, e.judged.as_ref(), e.counts),
        Field::TakenOut(t) => told("Taken out of service", &t.why, Some(Mark::Struck)),
        Field::Hold(t) => told("Held for an inquiry", &t.why, Some(Mark::Double)),
        Field::Note(t) => told("Note", &t.why, None),
        Field::Photo(p) => told("Photo", &p.what, None),
        Field::RigAccepted(_) => {
            told("Rig and crew reviewed", "the officer's word; it makes no unit better", None)
        }
        Field::Used(u) => {
            let headline = if u.while_out { "Used while out of service" } else { "Used" };
            let what = u.occasion.map_or_else(|| u.what.clone(), |o| format!("{}: {}", o.id(), u.what));
            let mut words = format!("{what}; came back {}", u.condition.id());
            if let Some(wearer) = &u.wearer {
                words = format!("{words}; worn by {}", fleet.name(wearer));
            }
            if !u.cylinders.is_empty() {
                words = format!("{words}; cylinders {}", u.cylinders.join(", "));
            }
            told(headline, words, Some(Mark::Dashed))
        }
        Field::Unknown { why, .. } => told("A record that cannot be read here", why, Some(Mark::Struck)),
    }
}

fn tell_check(check: &Check, judged: Option<&Judged>, counts: bool) -> Told {
    let purpose = check.purpose.title();
    let title = match check.outcome {
        Outcome::Complete => purpose.to_owned(),
        Outcome::BrokenOff => format!("Out-of-service answer, {}", purpose.to_lowercase()),
        Outcome::Stopped => format!("{purpose}, stopped by a call"),
    };
    let Some(Judged { form, judgement: j, proved }) = judged else {
        let detail = format!("it cannot be judged here: made as {}, which is not known", check.profile);
        return told(&title, detail, Some(Mark::Struck));
    };
    let found = findings_words(j);
    let with = |word: &str| if found.is_empty() { word.to_owned() } else { format!("{word}. {found}") };
    let (detail, mark) = match (check.outcome, j.verdict) {
        (Outcome::BrokenOff, _) => (found, Mark::Struck),
        (_, Verdict::OutOfService) => (with("Out of service"), Mark::Struck),
        (Outcome::Stopped, _) => (with(&format!("{} steps were left", j.missing.len())), Mark::Dashed),
        (_, Verdict::InService) if !counts => {
            (with("Everything asked is good, but it does not count"), Mark::Dashed)
        }
        (_, Verdict::InService) => (with("Everything asked is good"), Mark::Full),
        (_, Verdict::PutRight) => (with("To be put right"), Mark::Notched),
        (_, Verdict::Incomplete) if counts && !proved.is_empty() => {
            let titles: Vec<&str> =
                proved.iter().filter_map(|id| Some(form.step(id)?.step.title.as_str())).collect();
            (
                with(&format!("Proves a repair at: {}. The rest has no answer", titles.join(", "))),
                Mark::Dashed,
            )
        }
        (_, Verdict::Incomplete) => {
            (with(&format!("Not complete: {} steps have no answer", j.missing.len())), Mark::Dashed)
        }
    };
    told(&title, detail, Some(mark))
}

/// The two worst findings in full, and how many more there are.
fn findings_words(j: &Judgement) -> String {
    let mut all: Vec<_> = j.findings.iter().collect();
    all.sort_by_key(|f| std::cmp::Reverse(f.consequence));
    let mut parts: Vec<String> = all
        .iter()
        .take(2)
        .map(|f| {
            let working = if f.working.starts_with(&f.title) {
                f.working.clone()
            } else {
                format!("{}: {}", f.title, f.working)
            };
            match f.consequence {
                Consequence::Remark => sentence(&format!("remark: {working}")),
                Consequence::PutRight if f.settled => sentence(&format!("put right on the spot: {working}")),
                Consequence::OutOfService if f.settled => {
                    let item = f.item.as_deref().unwrap_or("the first one");
                    sentence(&format!(
                        "{working}; {} {item} is out of service itself, another one was good",
                        f.subject.words()
                    ))
                }
                _ => sentence(&working),
            }
        })
        .collect();
    if all.len() > 2 {
        parts.push(format!("And {} more.", all.len() - 2));
    }
    parts.join(" ")
}

fn stop_words(fleet: &Fleet, stop: &PinStop) -> String {
    match (&stop.member, &stop.tablet) {
        (Some(member), _) => format!("of {}", fleet.name(member)),
        (None, Some(tablet)) => format!("on tablet {}", tablet.trim_start_matches("tablet-")),
        (None, None) => String::new(),
    }
}

fn tell_desk(fleet: &Fleet, desk: &Desk) -> Told {
    match desk {
        Desk::Register(r) => tell_register(fleet, r),
        Desk::Rules(_) => told("A rule table came into force", "", None),
        Desk::Return(r) => told("Returned to service", return_words(fleet, r), Some(Mark::Full)),
        Desk::Release(c) => told("Released from the inquiry", &c.why, Some(Mark::Full)),
        Desk::Cleaned(c) => told("Cleaned", &c.why, Some(Mark::Full)),
        Desk::Settlement(s) => told("A doubtful record was settled", settlement_words(s), None),
        Desk::Correction(c) => told("A check was corrected", &c.why, Some(Mark::Dashed)),
        Desk::Doubt(d) => told("A record is in doubt", &d.why, Some(Mark::Struck)),
        Desk::Unproven(_) => told("A signature is yet to be proven", "", Some(Mark::Dashed)),
        Desk::Signature(_) => told("A signature was proven", "", Some(Mark::Full)),
        Desk::Uncountersigned(_) => told("A countersignature is awaited", "", Some(Mark::Dashed)),
        Desk::Outdated(_) => {
            let say = "That it was good does not count; what it found does.";
            told("It was made with a rule table whose time was over", say, Some(Mark::Dashed))
        }
        Desk::Countersigned(_) => told("Countersigned by an officer", "", Some(Mark::Full)),
        Desk::GapDealt(g) => told("Missing records were looked into", &g.why, None),
        Desk::TabletRevoked(t) => told("A tablet was given up", &t.why, None),
        Desk::PinStopped(stop) => told("PINs were stopped", stop_words(fleet, stop), Some(Mark::Struck)),
        Desk::PinAllowed(stop) => told("PINs were allowed again", stop_words(fleet, stop), None),
        Desk::Accepted(_) => told("Accepted into service", "", Some(Mark::Full)),
        Desk::Condemned(t) => told("Condemned", &t.why, Some(Mark::Outline)),
        Desk::Upkeep(u) => upkept(u),
        Desk::Sealed(s) => told("Sealed for the inquiry", seal_words(s), Some(Mark::Double)),
        Desk::HandedOver(h) => {
            told("Handed over", format!("to {}; {}", h.to, h.why).trim_end_matches("; "), Some(Mark::Double))
        }
        Desk::Fill(f) => {
            let at = f.celsius.map(|c| format!(" at {c} °C")).unwrap_or_default();
            told("Filled", format!("to {}{at}, from {}", f.pressure.words(), f.source), None)
        }
        Desk::CylinderRead(r) => told("Read where it lies ready", r.pressure.words(), None),
        Desk::AirSample(s) => told("Air sample", grade_words(s), None),
        Desk::Retired(t) => told("Retired", &t.why, Some(Mark::Outline)),
        Desk::TicketOpened(t) => told(&format!("Ticket {} opened", t.ticket), "", None),
        Desk::Crew(c) => {
            let on = c.seats.values().map(|m| fleet.name(m)).collect::<Vec<_>>().join(", ");
            told("Crew on duty", if on.is_empty() { "nobody".to_owned() } else { on }, None)
        }
        Desk::Moved(m) => {
            let one =
                |o: &Move| format!("{} {}: {}", o.asset.kind.words(), o.asset.number, fleet.words_of(&o.to));
            let moves = m.moves.iter().map(one).collect::<Vec<_>>().join("; ");
            told("Moved", format!("{moves}. {}", m.why), None)
        }
        Desk::Loan(l) => {
            let what = match l {
                Loan::Lent { .. } => "Lent",
                Loan::Borrowed { .. } => "Borrowed",
            };
            told(what, loan_words(l), Some(Mark::Dashed))
        }
        Desk::LoanEnded(e) if e.station.is_some() => {
            told("Back from a loan", sentence(&e.note), Some(Mark::Dashed))
        }
        Desk::LoanEnded(e) => told("Given back", sentence(&e.note), None),
        Desk::RigStatus(s) => told("Rig", format!("{}. {}", s.duty.words(), s.why), None),
        Desk::Acknowledged(_) => told("A late record was read", "", None),
        Desk::PersonChanged(p) => {
            let what = personal_words(p.what);
            let who = fleet.name(&p.member);
            told("Personal data changed", format!("{what} of {who}; kept outside the logbook"), None)
        }
        Desk::Left(l) => told(l.how.words(), format!("{}. {}", fleet.name(&l.member), l.why), None),
        Desk::TicketStage(t) => {
            let stage = t.stage.words().to_lowercase();
            let sent = t.sent.as_ref().map(sent_words).unwrap_or_default();
            let detail = format!("{sent} {}", sentence(&t.note));
            told(&format!("Ticket {}: {stage}", t.ticket), detail.trim(), None)
        }
        Desk::TicketJoined(t) => {
            told(&format!("Ticket {} is worked on under ticket {}", t.ticket, t.under), &t.why, None)
        }
        Desk::TicketApart(t) => told(&format!("Ticket {} stands by itself again", t.ticket), "", None),
        Desk::TicketSplit(t) => {
            told(&format!("Ticket {} was split off ticket {}", t.into, t.ticket), &t.why, None)
        }
        Desk::Fitting(f) => {
            let mark = (!f.was_there).then_some(Mark::Struck);
            told(if f.was_there { "Part entered" } else { "Part changed" }, capital(&f.words()), mark)
        }
        Desk::Notice(n) => told(&format!("Notice {}", n.number), &n.title, Some(Mark::Struck)),
        Desk::NoticeDone(d) => told(&format!("Dealt with, notice {}", d.notice), &d.what, Some(Mark::Full)),
        Desk::NoticeEnded(e) => told(&format!("Notice {} was withdrawn", e.notice), &e.why, None),
        Desk::Worked(w) => {
            let mut detail = sentence(&w.text);
            if !w.parts.is_empty() {
                detail = format!("{detail} Parts: {}.", w.parts);
            }
            if !w.readings.is_empty() {
                detail = format!("{detail} Readings: {}.", w.readings);
            }
            told(&format!("Work on ticket {}", w.ticket), detail, None)
        }
    }
}

/// To whom a unit is lent, or whose it is, in a sentence.
pub fn loan_words(l: &Loan) -> String {
    let (reference, back) = (l.reference(), day_words(l.due_back()));
    match l {
        Loan::Lent { to, .. } => format!("To {to}, {reference}, due back {back}."),
        Loan::Borrowed { from, theirs, .. } => {
            format!("From {from}, their number {theirs}, {reference}, to be given back by {back}.")
        }
    }
}

/// To whom something was sent, in a sentence.
pub fn sent_words(s: &Sent) -> String {
    let lent = if s.loaner.is_empty() { String::new() } else { format!("; lent meanwhile: {}", s.loaner) };
    format!("With {}, reference {}, due back {}{lent}.", s.repairer, s.reference, day_words(s.due_back))
}

/// Which things a notice is about, in words.
pub fn reach_words(r: &Reach) -> String {
    let what = match (r.kind, r.slot) {
        (AssetKind::Unit, Some(slot)) => format!("{}s of units", slot.words()),
        (kind, _) => format!("{}s", kind.words()),
    };
    let mut out = vec![what];
    out.extend((!r.only.is_empty()).then(|| format!("of kind {}", r.only)));
    out.extend((!r.name.is_empty()).then(|| format!("named {}", r.name)));
    out.extend(match (r.from.as_str(), r.to.as_str()) {
        ("", "") => None,
        (from, "") => Some(format!("from {from} on")),
        ("", to) => Some(format!("up to {to}")),
        (from, to) => Some(format!("{from} to {to}")),
    });
    out.extend(match (r.made_from, r.made_to) {
        (None, None) => None,
        (Some(from), None) => Some(format!("made {from} or later")),
        (None, Some(to)) => Some(format!("made {to} or earlier")),
        (Some(from), Some(to)) => Some(format!("made {from} to {to}")),
    });
    out.join(", ")
}

/// What was changed outside the logbook, in words.
pub fn personal_words(what: Personal) -> &'static str {
    match what {
        Personal::FitTest => "fit test",
        Personal::Clearance => "clearance",
        Personal::Name => "name",
        Personal::Pin => "new PIN",
        Personal::Erased => "personal fields erased",
    }
}

/// How something was sealed, in words.
pub fn seal_words(s: &Seal) -> String {
    let mut parts = Vec::new();
    parts.extend(s.pressure.map(|p| format!("{} before closing", p.words())));
    parts.extend(s.eighths.map(|e| format!("valve closed with {} turns", decimal(u32::from(e) * 125, 3))));
    parts.push(s.place.clone());
    if !s.packed_with.is_empty() {
        parts.push(format!("packed with {}", s.packed_with.join(", ")));
    }
    let battery = if s.battery_in { "left in" } else { "not said to be left in" };
    parts.push(format!("the alarm’s battery {battery}"));
    parts.join("; ")
}

/// Upkeep in words.
fn upkept(u: &Upkept) -> Told {
    let mut detail = format!("on {}", day_words(u.on));
    if !u.reference.is_empty() {
        detail = format!("{detail}; {}", u.reference);
    }
    if let Some(until) = u.until {
        detail = format!("{detail}; its life ends with {until}");
    }
    if !u.note.is_empty() {
        detail = format!("{detail}; {}", u.note);
    }
    let what = capital(u.work.words());
    if u.passed {
        told(&what, detail, Some(Mark::Full))
    } else {
        told(&format!("{what}: failed"), detail, Some(Mark::Struck))
    }
}

/// A sample's five figures and what they come to.
pub fn grade_words(s: &AirSample) -> String {
    let figures = format!(
        "oxygen {} %, condensed hydrocarbon {} mg/m³, carbon monoxide {} ppm, carbon dioxide {} ppm, {}",
        decimal(s.oxygen, 2),
        decimal(s.oil, 2),
        decimal(s.monoxide, 1),
        s.dioxide,
        if s.odour { "a noticeable odour" } else { "no noticeable odour" },
    );
    match grade_d(s).as_slice() {
        [] => format!("{figures}: Grade D"),
        why => format!("{figures}: not Grade D: {}", why.join("; ")),
    }
}

/// What an entry of the register says.
pub fn tell_register(fleet: &Fleet, r: &Register) -> Told {
    match r {
        Register::Holder { place, .. } => {
            let to = match place {
                Place::Seat { .. } => format!("to {}", fleet.words_of(place)),
                _ => fleet.words_of(place),
            };
            told("Moved", to, None)
        }
        Register::Countersigning { required: true } => {
            told("Countersigning", "a crew’s good check counts once an officer has countersigned it", None)
        }
        Register::Countersigning { required: false } => {
            told("Countersigning", "a crew’s good check counts without an officer’s countersignature", None)
        }
        Register::Cadence { at, cadence } => {
            let how = cadence.map_or("as before it was said here", Cadence::words);
            told("How often it is checked", format!("{}: {how}", spot_words(fleet, at)), None)
        }
        Register::Identification { asked, hours } => {
            told("Wearer identification", identification_words(*asked, *hours), None)
        }
        Register::Department { name, zone, shift_start, shift_hours, early_minutes, grace_minutes } => told(
            "The department’s settings",
            format!(
                "{name}, {zone}, a shift of {shift_hours} hours from {shift_start}; a check counts {early_minutes} minutes before and is late {grace_minutes} minutes after the start"
            ),
            None,
        ),
        Register::Rotation { turns, .. } if turns.is_empty() => told("Platoons", "nobody rotates", None),
        Register::Rotation { turns, apart, .. } if apart.is_empty() => {
            told("Platoons", turns.join(", "), None)
        }
        Register::Rotation { turns, apart, .. } => {
            let name = |id: &String| {
                let seat = fleet.seats.iter().find(|s| s.rig == *id);
                seat.map_or_else(|| id.clone(), |s| s.rig_name.clone())
            };
            let apart: Vec<String> = apart.iter().map(name).collect();
            told("Platoons", format!("{}; no turns on {}", turns.join(", "), apart.join(", ")), None)
        }
        Register::Drive { from, to, minutes } => {
            let name = |id: &String| {
                fleet.stations.iter().find(|s| s.id == *id).map_or_else(|| id.clone(), |s| s.name.clone())
            };
            told("How long a drive takes", format!("{} to {}: {minutes} minutes", name(from), name(to)), None)
        }
        Register::Tablet { name, .. } => told("A tablet was enrolled", name, None),
        Register::CylinderMarks { marks, .. } => {
            let last = marks.requalified.map(|m| format!(", requalified {m}")).unwrap_or_default();
            let spec = marks.spec.words();
            told("Marks entered", format!("{spec}, made {}{last}", marks.made), None)
        }
        Register::Approval { profile, slot, names } => {
            told("Approval entered", format!("{profile}, {}: {}", slot.words(), names.join(", ")), None)
        }
        Register::FacepieceModel { make, model, style, .. } => {
            let parts: Vec<&str> = [make, model, style].into_iter().map(String::as_str).collect();
            told("Model entered", parts.join(" ").trim(), None)
        }
        Register::Unit { in_use: false, .. } => {
            told("Entered in the register", "not yet accepted into service", None)
        }
        _ => told("Entered in the register", "", None),
    }
}

/// A place for which a cadence can be said, in words.
pub fn spot_words(fleet: &Fleet, at: &Spot) -> String {
    match at {
        Spot::Rig { rig } => {
            let seat = fleet.seats.iter().find(|s| s.rig == *rig);
            seat.map_or_else(|| rig.clone(), |s| s.rig_name.clone())
        }
        Spot::Seat { seat } => fleet.words_of(&Place::Seat { seat: seat.clone() }),
        Spot::Spares { station } => {
            let station = fleet.stations.iter().find(|s| s.id == *station).map_or(station, |s| &s.name);
            format!("spares at {station}")
        }
    }
}

/// How often a unit is checked and what says so, in a sentence.
pub fn cadence_words(fleet: &Fleet, unit: &UnitRow) -> String {
    let how = unit.cadence.words();
    match &unit.cadence_of {
        Some(spot) => format!("{}, as set for {}", capital(how), spot_words(fleet, spot)),
        None => capital(how),
    }
}

/// What a department asks about wearer identification, in words.
pub fn identification_words(asked: Asked, hours: u16) -> String {
    match asked {
        Asked::No => "not asked".to_owned(),
        Asked::Shown => format!("shown in the roster, for {hours} hours after it was made"),
        Asked::Needed => format!("a seat is ready only with one made in the last {hours} hours"),
    }
}

fn return_words(fleet: &Fleet, r: &Return) -> String {
    let mut out = sentence(&r.remedy);
    if r.worked_on.is_empty() {
        let second = r.second_signer.as_deref().map_or("nobody", |s| fleet.name(s));
        out = format!("{out} No fault was found; second signer {second}.");
        if !r.reproduced.is_empty() {
            out = format!("{out} Conditions reproduced: {}", sentence(&r.reproduced));
        }
    } else {
        out = format!("{out} Worked on: {}.", parts_words(&r.worked_on));
    }
    if let Some(test) = &r.bench_test {
        out = format!("{out} Bench test or certificate: {test}.");
    }
    out
}

/// Parts in a row: `gauge, valve`.
pub fn parts_words(parts: &[Part]) -> String {
    parts.iter().map(|p| part_words(*p)).collect::<Vec<_>>().join(", ")
}

/// A part in words.
pub fn part_words(part: Part) -> &'static str {
    match part {
        Part::Other => "something else",
        part => part.id(),
    }
}

fn settlement_words(s: &Settlement) -> String {
    let held = match (&s.accepted, s.variants.len()) {
        (Some(_), 1) => "it holds",
        (Some(_), _) => "one version holds",
        (None, 1) => "it does not hold",
        (None, _) => "no version holds",
    };
    format!("{}: {}", capital(held), s.why)
}
