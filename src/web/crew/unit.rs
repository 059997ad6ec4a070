//! A unit's page and its red tag.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{AssetKind, Component, Loan, Slot};
use airmuster_domain::role::Role;
use airmuster_domain::standing::{Ground, State as Holds};
use airmuster_domain::upkeep::day_words;
use axum::extract::{Path, State};
use axum::http::HeaderMap;

use crate::report::qr;
use crate::service::drift;
use crate::service::fleet::Fleet;
use crate::service::unit::UnitFile;
use crate::store::PhotosOf;
use crate::web::auth::Visitor;
use crate::web::bench::clear::{Act, acceptance};
use crate::web::bench::{BENCH, moving, watch};
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::photos::shots;
use crate::web::present::{
    Scale, capital, checked_sentence, ground_words, grounds_words, page, stack, standing, start_words, thin,
    unit_ref, when,
};
use crate::web::serving::{App, own_address};
use crate::web::telling::{cadence_words, happened, loan_words};
use crate::web::upkeep::asset_link;
use crate::web::view::print::RedTag;
use crate::web::view::unit::{Ground as GroundView, UnitPage};
use crate::web::view::watch::TrendView;
use crate::web::view::{Action, Fact, Link};

/// In the place of a name, where nobody signed.
const UNSIGNED: &str = "Unsigned";

/// Everything known of a unit, or that there is no such unit.
pub async fn file(app: &App, number: &str) -> Result<UnitFile, WebError> {
    UnitFile::load(&app.store, app.clock.now(), number).await?.ok_or(WebError::NotFound)
}

/// `GET /units/{unit}`.
pub async fn show_unit(
    State(app): State<App>,
    visitor: Visitor,
    Path(unit): Path<String>,
) -> Result<Html<UnitPage>, WebError> {
    let file = file(&app, &unit).await?;
    Ok(Html(view(&app, &visitor, &file, None).await?))
}

/// The page; `problem` is what to put right in the form that moves the unit.
pub async fn view(
    app: &App,
    visitor: &Visitor,
    file: &UnitFile,
    problem: Option<String>,
) -> Result<UnitPage, WebError> {
    let unit = &file.number;
    let fleet = &file.fleet;
    let s = &file.standing;
    let scale =
        file.row.as_ref().zip(fleet.table.as_ref()).and_then(|(row, table)| {
            table.profiles.get(&row.profile).map(|profile| Scale::of(table, profile))
        });
    Ok(UnitPage {
        page: page(app, visitor, &format!("Unit {unit}")).await?,
        unit: unit_ref(unit),
        profile: capital(&file.profile_words()),
        place: file.place_words(),
        standing: standing(s),
        grounds: grounds(file),
        strip: fleet.units.get(unit).and_then(|u| thin(fleet, u)),
        checked: checked(fleet, unit, s),
        next: next(file, visitor),
        others: others(file, visitor),
        moving: moving::form(file, visitor, problem),
        stack: scale.map(|s| stack(&s, &fleet.department.clock, &file.checks)).unwrap_or_default(),
        trends: trends(app, visitor, file).await?,
        facts: facts(file),
        shots: shots(app, fleet, PhotosOf::Asset(&file.standing.asset)).await?,
        events: happened(fleet, &file.events),
    })
}

/// When it was last checked, and what that still waits for.
fn checked(fleet: &Fleet, unit: &str, s: &airmuster_domain::standing::Standing) -> String {
    let checked = checked_sentence(fleet, s);
    match s.state {
        Holds::CheckDue if fleet.awaited.contains(unit) => {
            format!("{checked}. A good one waits for an officer’s countersignature")
        }
        _ => checked,
    }
}

/// What its readings do over time: the technician's business, and asked for by nobody else.
async fn trends(app: &App, visitor: &Visitor, file: &UnitFile) -> Result<Vec<TrendView>, WebError> {
    if !visitor.is(BENCH) {
        return Ok(Vec::new());
    }
    let fleet = &file.fleet;
    let trends = drift::of_unit(&app.store, fleet, &file.number).await?;
    let told = trends.iter().filter(|t| !t.points.is_empty());
    Ok(told.map(|t| watch::view(t, &fleet.department.clock, fleet.now)).collect())
}

/// What speaks against it; for a unit in service, the check that proves it.
fn grounds(file: &UnitFile) -> Vec<GroundView> {
    let mut out: Vec<GroundView> = Vec::new();
    for g in file.standing.grounds.iter().map(|g| against(file, g)) {
        // A broken-off part and the check that it belongs to find the same twice.
        match out.iter_mut().find(|o| o.text == g.text) {
            // The one that somebody has signed says more.
            Some(same) if same.raised.starts_with(UNSIGNED) => *same = g,
            Some(_) => {}
            None => out.push(g),
        }
    }
    if let (true, Some(check)) = (out.is_empty(), &file.standing.last_check) {
        let fleet = &file.fleet;
        let at = when(&fleet.department.clock, check.at, fleet.now);
        let until = file.standing.until.map(|t| when(&fleet.department.clock, t, fleet.now));
        out.push(GroundView {
            text: "Everything asked was good in its last complete check.".to_owned(),
            basis: String::new(),
            raised: said_by(file, check.by.as_deref(), &at),
            clears: until
                .map_or("It counts until it is used.".to_owned(), |t| format!("It counts until {t}.")),
            record: record_link(file.seq(&check.name)),
        });
    }
    out
}

/// A ground in words: what it says, who said so, and what clears it.
pub fn against(file: &UnitFile, g: &Ground) -> GroundView {
    let raise = &g.raise;
    let at = when(&file.fleet.department.clock, raise.at, file.fleet.now);
    let raised = match raise.kind {
        Kind::CheckDue if file.standing.last_check.is_none() => String::new(),
        Kind::CheckDue => format!("Last good check {at}"),
        _ if raise.from.id.is_nil() => String::new(),
        _ => said_by(file, raise.by.as_deref(), &at),
    };
    let lacks = match raise.kind {
        Kind::NotAccepted if file.row.is_some() && !file.lacks.is_empty() => {
            format!(" Still to be entered: {}.", file.lacks.join(", "))
        }
        _ => String::new(),
    };
    GroundView {
        text: format!("{}{lacks}", sentence(&ground_words(g))),
        basis: raise.basis.clone(),
        raised,
        clears: match raise.kind {
            Kind::Retired => "Nothing brings it back.".to_owned(),
            Kind::BeenAway if is_lent(file) => {
                "Cleared by its return and a complete good check after it.".to_owned()
            }
            _ => format!("Cleared by {}. Who can: {}.", g.cleared_by, g.who),
        },
        record: record_link(file.seq(&raise.from)),
    }
}

fn said_by(file: &UnitFile, by: Option<&str>, at: &str) -> String {
    by.map_or_else(|| format!("{UNSIGNED}, {at}"), |by| format!("{}, {at}", file.fleet.name(by)))
}

fn record_link(seq: Option<i64>) -> Option<Link> {
    seq.map(|seq| Link { text: "the record".to_owned(), href: format!("/records/{seq}") })
}

/// Whether a visitor is sent there: one who is not signed in may sign in on the way.
pub fn may(visitor: &Visitor, any: &[Role]) -> bool {
    visitor.member.is_none() || visitor.is(any)
}

/// What a signature alone clears, where it can be signed now and the visitor is sent there.
fn clearing(file: &UnitFile, visitor: &Visitor) -> Option<Action> {
    let act = Act::first(file).filter(|a| may(visitor, a.roles()))?;
    let ready = act != Act::Accept || (acceptance(file).is_some() && file.lacks.is_empty());
    let href = format!("/units/{}/clear", file.number);
    ready.then(|| Action { text: act.verb().to_owned(), href, next: true })
}

/// Whether another department has it.
fn is_lent(file: &UnitFile) -> bool {
    let thing = file.upkeep.things.get(&file.standing.asset);
    thing.is_some_and(|t| matches!(t.loan, Some(Loan::Lent { .. })))
}

/// The one thing to do next, by what weighs most.
fn next(file: &UnitFile, visitor: &Visitor) -> Option<Action> {
    let number = &file.number;
    let action = |text: &str, href: String| Some(Action { text: text.to_owned(), href, next: true });
    let check = |text: &str| action(text, format!("/units/{number}/check"));
    if is_lent(file) {
        return action("See the loan", "/loans".to_owned()).filter(|_| may(visitor, BENCH));
    }
    let Some(worst) = file.standing.grounds.first() else {
        return Some(Action {
            text: "Check again".to_owned(),
            href: format!("/units/{number}/check"),
            next: false,
        });
    };
    let bench = may(visitor, BENCH);
    let tag = action("Print the red tag", format!("/units/{number}/tag"));
    match worst.raise.kind {
        Kind::CheckDue | Kind::CheckAgain | Kind::Used | Kind::Misread | Kind::PutRight | Kind::BeenAway => {
            let words = file.row.as_ref().map(|row| start_words(&file.standing, row.cadence));
            check(words.unwrap_or("Start check"))
        }
        Kind::AnotherItem => check("Check with another one"),
        Kind::Finding | Kind::TakenOut => match &file.ticket {
            Some(t) if bench => action("See the ticket", format!("/tickets/{}", t.ticket)),
            _ => tag,
        },
        Kind::Contested | Kind::Doubted => match file.seq(&worst.raise.from) {
            Some(seq) if may(visitor, &[Role::Officer, Role::Administrator]) => {
                action("Settle it", format!("/records/{seq}/settle"))
            }
            Some(seq) => action("Read the record", format!("/records/{seq}")),
            None => tag,
        },
        Kind::NotAccepted if file.row.is_some() && !file.lacks.is_empty() && bench => {
            let parts = file.lacks.iter().any(|l| l.contains("serial"));
            if parts {
                action("Enter its parts", format!("/units/{number}/parts"))
            } else {
                action("Enter its flow test", format!("/assets/unit:{number}/upkeep"))
            }
        }
        Kind::NotAccepted if file.row.is_some() => clearing(file, visitor).or_else(|| {
            action("Start the acceptance check", format!("/units/{number}/check?purpose=acceptance"))
        }),
        Kind::StopUsing if bench => action("See the notices", "/notices".to_owned()),
        Kind::Overdue | Kind::NotToBeFilled | Kind::InspectBy => Some(Action {
            text: "Check again".to_owned(),
            href: format!("/units/{number}/check"),
            next: false,
        }),
        Kind::Lapsed if bench => action("Enter the flow test", format!("/assets/unit:{number}/upkeep")),
        Kind::FittedOut if visitor.member.is_some() => {
            let item = worst
                .raise
                .key
                .strip_prefix("now/fitted/")
                .and_then(|item| item.parse::<airmuster_domain::record::Asset>().ok())?;
            action(&format!("See {} {}", item.kind.words(), item.number), asset_link(&item).href)
        }
        Kind::PastLife | Kind::BadAir if bench => action("See the upkeep", "/upkeep".to_owned()),
        Kind::NotAccepted
        | Kind::Lapsed
        | Kind::PastLife
        | Kind::BadAir
        | Kind::FittedOut
        | Kind::StopUsing => tag,
        Kind::Held | Kind::Contaminated => clearing(file, visitor).or(tag),
        Kind::Soiled => clearing(file, visitor),
        Kind::Retired => None,
    }
}

fn others(file: &UnitFile, visitor: &Visitor) -> Vec<Link> {
    let number = &file.number;
    let next = next(file, visitor).map(|n| n.href).unwrap_or_default();
    let mut out = Vec::new();
    let mut link = |text: String, href: String| {
        if href != next {
            out.push(Link { text, href });
        }
    };
    let bench = may(visitor, BENCH);
    let ticket = file.ticket.as_ref().filter(|_| bench);
    if let Some(t) = ticket {
        link(format!("Ticket {}", t.ticket), format!("/tickets/{}", t.ticket));
    }
    if let Some(clear) = clearing(file, visitor) {
        link(clear.text, clear.href);
    }
    if visitor.member.is_some() {
        for item in &file.with {
            let thing = asset_link(&item.asset);
            link(thing.text, thing.href);
        }
    }
    let state = file.standing.state;
    if matches!(state, Holds::OutOfService | Holds::Held) {
        link("Print the red tag".to_owned(), format!("/units/{number}/tag"));
    }
    if !matches!(state, Holds::Held | Holds::Retired) {
        link("It was used".to_owned(), format!("/units/{number}/used"));
        link("Take out of service".to_owned(), format!("/units/{number}/out"));
    }
    if state == Holds::Held {
        link("Seal and hand over".to_owned(), format!("/assets/unit:{number}/seal"));
    }
    if file.row.is_some() && visitor.is(BENCH) {
        link("Parts".to_owned(), format!("/units/{number}/parts"));
    }
    if file.row.is_some() && visitor.is(BENCH) {
        match file.upkeep.things.get(&file.standing.asset) {
            Some(thing) if thing.loan.is_some() => link("See the loan".to_owned(), "/loans".to_owned()),
            Some(thing) if state < Holds::OutOfService && !thing.away && thing.owner.is_empty() => {
                link("Lend it".to_owned(), format!("/units/{number}/lend"));
            }
            _ => {}
        }
    }
    if state < Holds::Held && visitor.is(&[Role::Technician, Role::Administrator]) {
        link("Write down upkeep".to_owned(), format!("/assets/unit:{number}/upkeep"));
    }
    if state != Holds::Retired && visitor.is(&[Role::Technician, Role::Administrator]) {
        link("Retire for good".to_owned(), format!("/units/{number}/retire"));
    }
    out
}

fn facts(file: &UnitFile) -> Vec<Fact> {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let mut out =
        vec![fact("Kind", capital(&file.profile_words())), fact("Where", capital(&file.place_words()))];
    out.extend(file.row.as_ref().map(|row| fact("Checked", cadence_words(&file.fleet, row))));
    for item in &file.with {
        let label = match item.asset.kind {
            AssetKind::Cylinder => "Cylinder",
            AssetKind::Facepiece => "Facepiece",
            AssetKind::Unit => "Unit",
        };
        let value = match item.grounds.first() {
            Some(g) => {
                format!("{}: {}. {}", item.asset.number, item.state.words().to_lowercase(), ground_words(g))
            }
            None => item.asset.number.clone(),
        };
        out.push(fact(label, value));
    }
    let thing = file.upkeep.things.get(&file.standing.asset);
    out.extend(thing.filter(|t| !t.owner.is_empty()).map(|t| fact("Belongs to", t.owner.clone())));
    if let Some(loan) = thing.and_then(|t| t.loan.as_ref()) {
        out.push(fact("On loan", loan_words(loan)));
    }
    for (slot, fitted) in thing.into_iter().flat_map(|t| &t.parts) {
        out.push(fact(&capital(slot.words()), part_words(&fitted.part)));
    }
    if let Some(row) = &file.row {
        let others = row.serials.iter().filter(|(part, _)| Slot::named(part).is_none());
        out.extend(others.map(|(part, serial)| fact(&capital(part), serial.clone())));
    }
    out
}

/// A part in a line: name, serial, edition, made, warranty.
pub fn part_words(p: &Component) -> String {
    let mut out: Vec<String> = [&p.serial, &p.name].into_iter().filter(|s| !s.is_empty()).cloned().collect();
    out.extend((!p.edition.is_empty()).then(|| format!("edition {}", p.edition)));
    out.extend(p.made.map(|m| format!("made {m}")));
    out.extend(p.warranty.map(|d| format!("warranty until {}", day_words(d))));
    out.join(", ")
}

/// `GET /units/{unit}/tag`: the red tag to print.
pub async fn show_tag(
    State(app): State<App>,
    headers: HeaderMap,
    Path(unit): Path<String>,
) -> Result<Html<RedTag>, WebError> {
    let file = file(&app, &unit).await?;
    let s = &file.standing;
    let worst = s.grounds.first().filter(|_| matches!(s.state, Holds::OutOfService | Holds::Held));
    let Some(worst) = worst else {
        let now = s.state.words().to_lowercase();
        return Err(WebError::Conflict(format!("Unit {unit} is {now}: there is no red tag for it.")));
    };
    let raise = &worst.raise;
    Ok(Html(RedTag {
        department: file.fleet.department.name.clone(),
        place: capital(&file.place_words()),
        back: format!("/units/{unit}"),
        profile: capital(&file.profile_words()),
        standing: standing(s),
        // What alone would let it ride is not what it hangs there for.
        grounds: grounds_words(s.grounds.iter().filter(|g| g.state >= Holds::OutOfService)),
        when: when(&file.fleet.department.clock, raise.at, file.fleet.now),
        signer: raise
            .by
            .as_deref()
            .map_or("an unsigned answer in a check".to_owned(), |by| file.fleet.name(by).to_owned()),
        ticket: file.ticket.as_ref().map(|t| t.ticket.to_string()),
        record: raise.from.digest.to_string()[..12].to_owned(),
        code: own_address(&app, &headers, &format!("/units/{unit}")).and_then(|a| qr::svg(&a)),
        unit,
    }))
}
