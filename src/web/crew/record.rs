//! A record as it stands in the logbook, with everything in it.

use airmuster_domain::ground::Forms as _;
use airmuster_domain::judge::{Verdict, judge_readable};
use airmuster_domain::record::{
    Asset, AssetKind, Body, Check, Correction, Desk, Envelope, Field, Fitting, Loan, Outcome, Place,
    Register, Reviewed, Used,
};
use airmuster_domain::role::Role;
use airmuster_domain::standing::assets_of;
use airmuster_domain::upkeep::day_words;
use axum::extract::{Path, State};

use crate::service::doubt::{InDoubt, in_doubt};
use crate::service::fleet::Fleet;
use crate::service::history::Event;
use crate::service::intake::DESK;
use crate::service::tablets::is_signed;
use crate::service::ticket::thing_words;
use crate::store::{Kept, PhotosOf, Store};
use crate::web::auth::Visitor;
use crate::web::entered::{self, sentence};
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::photos::shots;
use crate::web::present::{capital, page, unit_ref, when};
use crate::web::serving::App;
use crate::web::telling::{parts_words, reach_words, tell, tell_register};
use crate::web::view::record::Record;
use crate::web::view::review::Finding;
use crate::web::view::{Fact, Link, Standing};

/// `GET /records/{seq}`.
pub async fn show_record(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<i64>,
) -> Result<Html<Record>, WebError> {
    let kept = app.store.record(seq).await?.ok_or(WebError::NotFound)?;
    let event = Event::of(&app.store, kept).await?;
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let told = tell(&fleet, &event);
    let record = &event.kept.record;
    let about = about(&app.store, &record.body).await?;
    let unit = about.as_ref().filter(|a| a.kind == AssetKind::Unit).map(|a| unit_ref(&a.number));
    let doubt = in_doubt(&app.store, record.name.id).await?.map(|d| doubt_words(&d));
    let judged = event.judged.as_ref().zip(event.check());
    let officer = visitor.is(&[Role::Officer, Role::Administrator]);
    let mut facts = contents(&app.store, &fleet, &record.body, about.as_ref(), officer).await?;
    if let Some((judged, check)) = judged {
        let meant = check.bay.and_then(|at| entered::bay(&judged.form, &check.answers, at));
        facts.extend(meant.map(|text| fact("What that means for the pressure", text)));
        facts.extend(left_out(check, &judged.judgement.missing, &judged.form));
        facts.extend(by_todays_table(&app.store, check).await?);
    }
    Ok(Html(Record {
        page: page(&app, &visitor, &format!("{}: record {seq}", told.title)).await?,
        kind: told.title,
        unit,
        when: when(&fleet.department.clock, record.envelope.time(), fleet.now),
        who: who(&fleet, &record.envelope),
        standing: made_of_it(&event),
        findings: judged
            .map(|(j, c)| entered::findings(&j.form, &j.judgement, &c.answers))
            .unwrap_or_default()
            .into_iter()
            // What was to be done then is not what is to be done now.
            .map(|f| Finding { now: String::new(), ..f })
            .collect(),
        groups: judged.map(|(j, c)| entered::groups(&j.form, &j.judgement, &c.answers)).unwrap_or_default(),
        facts,
        shots: match &record.body {
            Body::Field(Field::Check(c)) => shots(&app, &fleet, PhotosOf::Run(c.run)).await?,
            Body::Field(Field::Photo(_)) => shots(&app, &fleet, PhotosOf::Record(seq)).await?,
            _ => Vec::new(),
        },
        provenance: provenance(&app.store, &fleet, &event.kept),
        seals: seals(&app.store, &event.kept).await?,
        others: others(&app.store, &visitor, &event.kept, doubt.is_some()).await?,
        doubt,
    }))
}

/// What a record is about, first of all.
async fn about(store: &Store, body: &Body) -> Result<Option<Asset>, WebError> {
    let ticket = match body {
        Body::Field(field) => {
            let all = assets_of(field);
            return Ok(all.iter().find(|a| a.kind == AssetKind::Unit).or_else(|| all.first()).cloned());
        }
        Body::Desk(desk) => match desk {
            Desk::Return(r) => return Ok(Some(r.asset.clone())),
            Desk::Release(c) | Desk::Cleaned(c) => return Ok(Some(c.asset.clone())),
            Desk::Retired(t) | Desk::Condemned(t) => return Ok(Some(t.asset.clone())),
            Desk::Upkeep(u) => return Ok(Some(u.asset.clone())),
            Desk::Sealed(s) => return Ok(Some(s.asset.clone())),
            Desk::HandedOver(h) => return Ok(Some(h.asset.clone())),
            Desk::Fill(f) => return Ok(Some(Asset::cylinder(&f.cylinder))),
            Desk::CylinderRead(r) => return Ok(Some(Asset::cylinder(&r.cylinder))),
            Desk::TicketOpened(t) => return Ok(Some(t.asset.clone())),
            Desk::Accepted(a) => return Ok(Some(Asset::unit(&a.unit))),
            Desk::Register(Register::Holder { asset, .. }) => return Ok(Some(asset.clone())),
            Desk::Register(Register::CylinderMarks { number, .. }) => {
                return Ok(Some(Asset::cylinder(number)));
            }
            Desk::Register(Register::Unit { number, .. }) => return Ok(Some(Asset::unit(number))),
            Desk::TicketStage(t) => t.ticket,
            Desk::TicketJoined(t) => t.ticket,
            Desk::TicketApart(t) => t.ticket,
            Desk::TicketSplit(t) => t.ticket,
            Desk::Fitting(f) => return Ok(Some(Asset::unit(&f.unit))),
            Desk::Loan(l) => return Ok(Some(l.unit())),
            Desk::LoanEnded(e) => return Ok(Some(Asset::unit(&e.unit))),
            Desk::NoticeDone(d) => return Ok(Some(d.asset.clone())),
            Desk::Worked(w) => w.ticket,
            Desk::Settlement(s) => return about_variants(store, s.id).await,
            Desk::Doubt(d) => return about_variants(store, d.of.id).await,
            Desk::Unproven(s)
            | Desk::Signature(s)
            | Desk::Uncountersigned(s)
            | Desk::Countersigned(s)
            | Desk::Outdated(s) => {
                return about_variants(store, s.of.id).await;
            }
            Desk::Correction(c) => return about_variants(store, c.of.id).await,
            Desk::Moved(m) => return Ok(m.moves.first().map(|one| one.asset.clone())),
            Desk::Acknowledged(a) => return about_variants(store, a.of.id).await,
            Desk::Register(_)
            | Desk::Notice(_)
            | Desk::NoticeEnded(_)
            | Desk::Rules(_)
            | Desk::TabletRevoked(_)
            | Desk::GapDealt(_)
            | Desk::AirSample(_)
            | Desk::PinStopped(_)
            | Desk::PinAllowed(_)
            | Desk::Crew(_)
            | Desk::RigStatus(_)
            | Desk::PersonChanged(_)
            | Desk::Left(_) => return Ok(None),
        },
    };
    Ok(store.ticket(ticket).await?.map(|t| t.asset))
}

async fn about_variants(store: &Store, id: uuid::Uuid) -> Result<Option<Asset>, WebError> {
    let kept = store.variants(id).await?;
    let fields = kept.iter().filter_map(|k| match &k.record.body {
        Body::Field(field) => Some(assets_of(field)),
        Body::Desk(_) => None,
    });
    Ok(fields.flatten().find(|a| a.kind == AssetKind::Unit))
}

fn who(fleet: &Fleet, e: &Envelope) -> String {
    match (&e.by, &e.written_by) {
        (Some(by), Some(writer)) => {
            format!("Signed by {}, written down by {}", fleet.name(by), fleet.name(writer))
        }
        (Some(by), None) => format!("Signed by {}", fleet.name(by)),
        (None, _) if e.tablet == DESK => "Written by the server itself".to_owned(),
        (None, _) => "Not signed".to_owned(),
    }
}

/// What a record alone makes of its unit.
fn made_of_it(event: &Event) -> Option<Standing> {
    match &event.kept.record.body {
        Body::Field(Field::Check(_)) => event.judged.as_ref().map(|j| match j.judgement.verdict {
            Verdict::InService => Standing::InService,
            Verdict::PutRight => Standing::PutRight,
            Verdict::Incomplete => Standing::CheckDue,
            Verdict::OutOfService => Standing::OutOfService,
        }),
        Body::Field(Field::TakenOut(_)) => Some(Standing::OutOfService),
        Body::Field(Field::Hold(_)) => Some(Standing::Held),
        Body::Desk(Desk::Retired(_)) => Some(Standing::Retired),
        Body::Field(_) | Body::Desk(_) => None,
    }
}

/// What is in doubt about a record, in sentences.
pub fn doubt_words(doubt: &InDoubt) -> String {
    let mut out: Vec<String> = doubt.reasons.iter().map(|r| sentence(r)).collect();
    out.dedup();
    out.push("Until it is settled, nothing good follows from it.".to_owned());
    out.join(" ")
}

fn fact(label: &str, value: impl Into<String>) -> Fact {
    Fact { label: label.to_owned(), value: value.into() }
}

/// What a record says besides answers.
async fn contents(
    store: &Store,
    fleet: &Fleet,
    body: &Body,
    asset: Option<&Asset>,
    officer: bool,
) -> Result<Vec<Fact>, WebError> {
    let grounds = match asset {
        Some(asset) => store.grounds(asset).await?,
        None => Vec::new(),
    };
    let ground = |key: &String| match grounds.iter().find(|(r, _)| r.key == *key) {
        Some((r, _)) => sentence(&r.say),
        None => key.clone(),
    };
    let clears = |keys: &[String]| keys.iter().map(|k| fact("Clears", ground(k))).collect::<Vec<_>>();
    let clock = &fleet.department.clock;
    Ok(match body {
        Body::Field(Field::Check(c)) => {
            let mut out = vec![fact("Begun", when(clock, c.started, fleet.now))];
            out.extend(c.bay.iter().map(|t| fact("Temperature in the bay", t.words())));
            out.extend(c.cylinder.iter().map(|n| fact("Cylinder", n)));
            out.extend(c.facepiece.iter().map(|n| fact("Facepiece", n)));
            out.extend(c.seen.iter().map(|k| fact("Shown beforehand", ground(k))));
            out
        }
        Body::Field(Field::TakenOut(t) | Field::Hold(t) | Field::Note(t)) => vec![fact("Why", &t.why)],
        Body::Field(Field::Photo(p)) => {
            vec![fact("What it shows", &p.what), fact("SHA-256 of the picture as sent", p.photo.to_string())]
        }
        Body::Field(Field::RigAccepted(a)) => reviewed(fleet, &a.places, officer),
        Body::Field(Field::Used(u)) => of_use(fleet, u),
        Body::Field(Field::Unknown { why, .. }) => vec![fact("Why it cannot be read", why)],
        Body::Desk(desk) => match desk {
            Desk::Return(r) => {
                let mut out = vec![fact("What was done", &r.remedy)];
                out.push(match r.worked_on.as_slice() {
                    [] => fact("Worked on", "nothing: no fault was found"),
                    parts => fact("Worked on", parts_words(parts)),
                });
                out.extend((!r.reproduced.is_empty()).then(|| fact("Conditions reproduced", &r.reproduced)));
                out.extend(r.bench_test.iter().map(|t| fact("Bench test or certificate", t)));
                out.extend(r.second_signer.iter().map(|s| fact("Second signer", fleet.name(s))));
                out.extend(clears(&r.clears));
                out
            }
            Desk::Release(c) | Desk::Cleaned(c) => {
                let mut out = vec![fact("Why", &c.why)];
                out.extend(clears(&c.clears));
                out
            }
            Desk::Settlement(s) => {
                let mut out = vec![fact("Why", &s.why)];
                out.extend(s.variants.iter().map(|d| {
                    let holds = if s.accepted == Some(*d) { "holds" } else { "does not hold" };
                    fact(&format!("Version {}", &d.to_string()[..12]), holds)
                }));
                out
            }
            Desk::Correction(c) => {
                let mut out = vec![fact("Why", &c.why)];
                out.extend(c.right_unit.iter().map(|(unit, _)| fact("The right unit", unit)));
                out.extend(misread(store, c).await?);
                out
            }
            Desk::Doubt(d) => vec![fact("Why", &d.why)],
            Desk::TicketSplit(t) => {
                let mut out = vec![fact("New ticket", t.into.to_string())];
                out.extend(clears(&t.grounds));
                out
            }
            Desk::Register(Register::Holder { place, .. }) => {
                vec![fact("Where", capital(&fleet.words_of(place)))]
            }
            Desk::Register(Register::Tablet { id, name, station, key }) => {
                let place = Place::Spare { station: station.clone() };
                let mut out = vec![fact("Tablet", name), fact("Its name in records", id)];
                out.push(fact("Where", capital(&fleet.words_of(&place))));
                out.push(fact("Public key", key.map_or("none".to_owned(), |k| k.to_string())));
                out
            }
            Desk::GapDealt(_) | Desk::TabletRevoked(_) => about_tablet(store, desk).await?,
            Desk::Register(Register::Unit { profile, serials, .. }) => {
                let mut out = vec![fact("Profile", profile)];
                out.extend(serials.iter().map(|(part, serial)| fact(&capital(part), serial)));
                out
            }
            Desk::Register(entry) => {
                let detail = tell_register(fleet, entry).detail;
                if detail.is_empty() { Vec::new() } else { vec![fact("What", capital(&detail))] }
            }
            Desk::CylinderRead(r) => vec![fact("Pressure", r.pressure.words())],
            Desk::Moved(m) => m
                .moves
                .iter()
                .map(|one| fact(&capital(&thing_words(&one.asset)), capital(&fleet.words_of(&one.to))))
                .chain([fact("Why", &m.why)])
                .collect(),
            desk => of_bench(desk),
        },
    })
}

/// What a unit came back from, and how.
fn of_use(fleet: &Fleet, u: &Used) -> Vec<Fact> {
    let mut out = vec![fact("What for", &u.what), fact("Came back", u.condition.id())];
    out.extend(u.occasion.map(|o| fact("At", o.id())));
    out.extend(u.wearer.as_deref().map(|m| fact("Worn by", fleet.name(m))));
    out.extend((!u.cylinders.is_empty()).then(|| fact("Cylinders", u.cylinders.join(", "))));
    out.extend(u.while_out.then(|| fact("It was", "out of service then")));
    out
}

/// What was said about a tablet.
async fn about_tablet(store: &Store, desk: &Desk) -> Result<Vec<Fact>, WebError> {
    Ok(match desk {
        Desk::GapDealt(g) => {
            let name = store.tablet(&g.tablet).await?.map_or(g.tablet.clone(), |row| row.name);
            let life = g.incarnation.map_or("none".to_owned(), |i| i.to_string());
            let what = capital(&g.what.to_string());
            vec![
                fact("Tablet", name),
                fact("Incarnation of the tablet", life),
                fact("What did not fit", what),
                fact("What came of it", &g.why),
            ]
        }
        Desk::TabletRevoked(t) => {
            let up_to = t.trusted.map_or("nothing more".to_owned(), |l| {
                format!("up to number {} of incarnation {}", l.number, l.incarnation)
            });
            let name = store.tablet(&t.tablet).await?.map_or(t.tablet.clone(), |row| row.name);
            vec![fact("Tablet", name), fact("Why", &t.why), fact("Believed", up_to)]
        }
        _ => Vec::new(),
    })
}

/// What happened to tickets, parts and notices, as it was written down.
fn of_bench(desk: &Desk) -> Vec<Fact> {
    match desk {
        Desk::Retired(t) => vec![fact("Why", &t.why)],
        Desk::Worked(w) => {
            let all = [("What was done", &w.text), ("Parts", &w.parts), ("Readings", &w.readings)];
            all.into_iter().filter(|(_, v)| !v.is_empty()).map(|(l, v)| fact(l, v)).collect()
        }
        Desk::TicketStage(t) => {
            let mut out = Vec::new();
            out.extend((!t.note.is_empty()).then(|| fact("Why", &t.note)));
            if let Some(sent) = &t.sent {
                out.push(fact("Repairer", &sent.repairer));
                out.push(fact("Reference", &sent.reference));
                out.push(fact("Due back", day_words(sent.due_back)));
                out.extend((!sent.loaner.is_empty()).then(|| fact("Lent meanwhile", &sent.loaner)));
            }
            out
        }
        Desk::Fitting(f) => fitting(f),
        Desk::Loan(l) => {
            let mut out = match l {
                Loan::Lent { to, .. } => vec![fact("Lent to", to)],
                Loan::Borrowed { from, theirs, profile, .. } => {
                    vec![fact("Borrowed from", from), fact("Their number", theirs), fact("Profile", profile)]
                }
            };
            out.push(fact("Reference", l.reference()));
            out.push(fact("Due back", day_words(l.due_back())));
            out
        }
        Desk::LoanEnded(e) => (!e.note.is_empty()).then(|| fact("Said", &e.note)).into_iter().collect(),
        Desk::Notice(n) => {
            let by = n.by.map_or("not used until dealt with".to_owned(), day_words);
            vec![
                fact("Notice", &n.number),
                fact("About", &n.title),
                fact("From", &n.source),
                fact("Which", reach_words(&n.reach)),
                fact("What is to be done", &n.what),
                fact("By", by),
            ]
        }
        Desk::NoticeDone(d) => vec![fact("Notice", &d.notice), fact("What was done", &d.what)],
        Desk::NoticeEnded(e) => vec![fact("Notice", &e.notice), fact("Why", &e.why)],
        Desk::TicketJoined(t) => vec![fact("Worked on under", format!("ticket {}", t.under))],
        _ => Vec::new(),
    }
}

/// A part's label, and what came out for it.
fn fitting(f: &Fitting) -> Vec<Fact> {
    let mut out = vec![fact("Part", capital(f.slot.words()))];
    out.extend(f.out.iter().map(|serial| fact("Taken out", serial)));
    if let Some(p) = &f.part {
        out.push(fact(if f.was_there { "Entered" } else { "Put in" }, &p.serial));
        out.push(fact("Name on its label", &p.name));
        out.push(fact("Edition", &p.edition));
        out.extend(p.made.map(|m| fact("Made", m.to_string())));
        out.extend(p.warranty.map(|d| fact("Warranty until", day_words(d))));
    }
    out.extend((!f.why.is_empty()).then(|| fact("Why", &f.why)));
    out
}

/// What stood in each place of a rig when an officer accepted it. Whether it was ready, and the officer's word
/// on it, may be about somebody's clearance: officers only.
fn reviewed(fleet: &Fleet, places: &[Reviewed], officer: bool) -> Vec<Fact> {
    let place = |seat: &str| fleet.seats.iter().find(|s| s.seat == seat).map_or("", |s| &s.name);
    let one = |p: &Reviewed| {
        let thing = p.asset.as_ref().map_or("nothing".to_owned(), thing_words);
        let who = p.member.as_deref().map_or(String::new(), |m| format!(", {}", fleet.name(m)));
        let word = p.word.as_deref().map_or(String::new(), |w| format!(": {w}"));
        let ready = if p.ready { ", ready" } else { ", not ready" };
        let told = if officer { format!("{ready}{word}") } else { String::new() };
        fact(place(&p.seat), format!("{}{who}{told}", capital(&thing)))
    };
    places.iter().map(one).collect()
}

/// The readings that a correction doubts, as they were written down: they stay.
async fn misread(store: &Store, c: &Correction) -> Result<Vec<Fact>, WebError> {
    let Some(seq) = store.seq_of(&c.of).await? else {
        return Ok(Vec::new());
    };
    let kept = store.record(seq).await?.ok_or(WebError::NotFound)?;
    let event = Event::of(store, kept).await?;
    let all = match event.judged.as_ref().zip(event.check()) {
        Some((j, check)) => entered::answered(&j.form, &j.judgement, &check.answers),
        None => Vec::new(),
    };
    let read = |step: &String| match all.iter().find(|(id, ..)| id == step) {
        Some((_, title, said)) => fact("Misread", format!("{title}: {said}")),
        None => fact("Misread", step),
    };
    Ok(c.misread.iter().map(read).collect())
}

/// The steps of a complete check that were left without an answer.
fn left_out(check: &Check, missing: &[String], form: &airmuster_domain::rules::Form) -> Option<Fact> {
    let titles: Vec<&str> =
        missing.iter().filter_map(|id| form.step(id)).map(|s| s.step.title.as_str()).collect();
    (check.outcome == Outcome::Complete && !titles.is_empty())
        .then(|| fact("Not answered", titles.join(", ")))
}

/// What the rule table in force would make of a check that was made with another one.
async fn by_todays_table(store: &Store, check: &Check) -> Result<Option<Fact>, WebError> {
    let in_force = store.rules_in_force().await?;
    let mut tables = store.tables();
    let in_force = in_force.unwrap_or_else(|| tables.default_digest());
    if check.rules == in_force || check.outcome != Outcome::Complete {
        return Ok(None);
    }
    let said = match tables.form(&in_force, &check.profile, check.purpose) {
        None => "it asks for no such check",
        Some(form) => match judge_readable(&form, &check.answers).0.verdict {
            Verdict::InService => "everything asked is good",
            Verdict::PutRight => "something would have to be put right",
            Verdict::Incomplete => "something more would have to be answered",
            Verdict::OutOfService => "out of service",
        },
    };
    Ok(Some(fact("By the rule table in force today", format!("{}. It changes nothing here.", capital(said)))))
}

fn provenance(store: &Store, fleet: &Fleet, kept: &Kept) -> Vec<Fact> {
    let e = &kept.record.envelope;
    let clock = &fleet.department.clock;
    let exact = |t| clock.local(t).format("%Y-%m-%d %H:%M:%S %Z").to_string();
    let mut out = vec![if e.tablet == DESK {
        fact("Written on", "the server")
    } else {
        fact("Written on", format!("tablet {}", e.tablet.trim_start_matches("tablet-")))
    }];
    out.extend(e.number.map(|n| fact("Its number there", n.to_string())));
    out.extend(e.incarnation.map(|i| fact("Incarnation of the tablet", i.to_string())));
    out.push(fact("Happened", exact(e.time())));
    if let Some(offset) = e.offset.filter(|o| *o != 0) {
        out.push(fact("The tablet’s clock", format!("corrected by {offset:+} ms")));
    }
    out.push(fact("Received", exact(kept.place.received)));
    if let Body::Field(Field::Check(c)) = &kept.record.body {
        let name = store.tables().get(&c.rules).map(|t| format!("{}, edition {}", t.name, t.edition));
        out.push(fact("Rule table", name.unwrap_or_else(|| "not known here".to_owned())));
        out.push(fact("Rule table’s SHA-256", c.rules.to_string()));
        out.push(fact("Judge’s version", c.engine.to_string()));
        out.push(fact("Checked as", &c.profile));
        out.push(fact("Run", c.run.to_string()));
    }
    if !e.client.is_empty() {
        out.push(fact("Program", &e.client));
    }
    out
}

async fn seals(store: &Store, kept: &Kept) -> Result<Vec<Fact>, WebError> {
    let link = store.link_of(kept.place.seq).await?.ok_or(WebError::NotFound)?;
    let mut out = vec![
        fact("Number in the logbook", kept.place.seq.to_string()),
        fact("Id", kept.record.name.id.to_string()),
        fact("SHA-256 of the record", kept.record.name.digest.to_string()),
        fact("Link of the chain", link.hash.to_string()),
        fact("Link before", link.previous.to_string()),
    ];
    if let Some(signature) = store.tablet_signature(kept.place.seq).await? {
        let tablet = store.tablet(&kept.record.envelope.tablet).await?;
        let key = tablet.as_ref().and_then(|t| t.key.as_ref());
        let holds = key.is_some_and(|key| is_signed(key, &kept.record, &signature));
        let name = tablet.map_or_else(String::new, |t| t.name);
        let words = if holds { format!("holds: the key of {name}") } else { "does not hold".to_owned() };
        out.push(fact("Tablet’s signature", words));
    }
    Ok(out)
}

async fn others(
    store: &Store,
    visitor: &Visitor,
    kept: &Kept,
    in_doubt: bool,
) -> Result<Vec<Link>, WebError> {
    let seq = kept.place.seq;
    let mut out = Vec::new();
    let mut link = |text: String, href: String| out.push(Link { text, href });
    let officer = visitor.member.is_none() || visitor.is(&[Role::Officer, Role::Administrator]);
    if in_doubt && officer {
        link("Settle it".to_owned(), format!("/records/{seq}/settle"));
    }
    let check = matches!(kept.record.body, Body::Field(Field::Check(_)));
    if check && officer {
        link("Correct it: another unit, or misread".to_owned(), format!("/records/{seq}/correct"));
    }
    for other in store.variants(kept.record.name.id).await? {
        if other.place.seq != seq {
            link("Another version of this record".to_owned(), format!("/records/{}", other.place.seq));
        }
    }
    for said in store.said(kept.record.name.id).await? {
        let what = match &said.record.body {
            Body::Desk(Desk::Settlement(_)) => "How it was settled",
            Body::Desk(Desk::Correction(_)) => "How it was corrected",
            Body::Desk(Desk::Signature(_)) => "How its signature was proven",
            Body::Desk(Desk::Countersigned(_)) => "How it was countersigned",
            Body::Desk(Desk::Doubt(_)) => "Why it was doubted",
            Body::Desk(Desk::Outdated(_)) => "Why it does not count",
            _ => continue,
        };
        link(what.to_owned(), format!("/records/{}", said.place.seq));
    }
    let names = match &kept.record.body {
        Body::Desk(Desk::Return(r)) => Some((r.proving, "The proving check")),
        Body::Desk(Desk::Accepted(a)) => Some((a.check, "The acceptance check")),
        Body::Desk(Desk::TicketOpened(t)) => Some((t.because, "The record that opened it")),
        Body::Desk(Desk::Doubt(d)) => Some((d.of, "The record in doubt")),
        Body::Desk(Desk::Unproven(s) | Desk::Signature(s)) => Some((s.of, "The record that was signed")),
        Body::Desk(Desk::Uncountersigned(s) | Desk::Countersigned(s) | Desk::Outdated(s)) => {
            Some((s.of, "The check that this is about"))
        }
        Body::Desk(Desk::Correction(c)) => Some((c.of, "The check that was corrected")),
        _ => None,
    };
    if let Some((name, text)) = names
        && let Some(seq) = store.seq_of(&name).await?
    {
        link(text.to_owned(), format!("/records/{seq}"));
    }
    if let Body::Desk(Desk::Settlement(s)) = &kept.record.body {
        for settled in store.variants(s.id).await? {
            link("What was settled".to_owned(), format!("/records/{}", settled.place.seq));
        }
    }
    let bench =
        visitor.member.is_none() || visitor.is(&[Role::Technician, Role::Officer, Role::Administrator]);
    let ticket = match &kept.record.body {
        Body::Desk(Desk::TicketOpened(t)) => Some(t.ticket),
        Body::Desk(Desk::TicketStage(t)) => Some(t.ticket),
        Body::Desk(Desk::TicketJoined(t)) => Some(t.ticket),
        Body::Desk(Desk::TicketApart(t)) => Some(t.ticket),
        Body::Desk(Desk::TicketSplit(t)) => Some(t.ticket),
        Body::Desk(Desk::Worked(w)) => Some(w.ticket),
        _ => None,
    };
    if let Some(n) = ticket.filter(|_| bench) {
        link(format!("Ticket {n}"), format!("/tickets/{n}"));
    }
    Ok(out)
}
