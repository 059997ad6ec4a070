//! Cylinders and facepieces: lists, one of them, where it is, what is stamped on it, condemning it.

use airmuster_domain::ground::Kind;
use airmuster_domain::record::{Asset, AssetKind, Marks, Month, Place, Register, Spec, TakenOut, Work};
use airmuster_domain::role::Role;
use airmuster_domain::standing::{Ground, State as Holds};
use airmuster_domain::upkeep::{Thing as Known, day_words, decimal};
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use super::{asset_href, asset_link, file, parts};
use crate::service::IntakeError;
use crate::service::ticket::thing_words;
use crate::service::upkeep::{Ledger, ThingFile};
use crate::web::auth::Visitor;
use crate::web::bench::BENCH;
use crate::web::entered::sentence;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, ground_words, member_options, page, standing, when};
use crate::web::serving::App;
use crate::web::signing::{check_pin, hand_in_desk, problem};
use crate::web::telling::happened;
use crate::web::view::ticket::StageOption;
use crate::web::view::unit::{Destination, Destinations, Ground as GroundView, Moving};
use crate::web::view::upkeep::{Condemn, List, ListRow, Marks as MarksView, Thing};
use crate::web::view::{Fact, Link, ProblemLine, Problems};

/// The search on a list.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sought {
    q: String,
}

/// `GET /cylinders`.
pub async fn list_cylinders(
    State(app): State<App>,
    visitor: Visitor,
    Query(sought): Query<Sought>,
) -> Result<Html<List>, WebError> {
    list(&app, &visitor, AssetKind::Cylinder, sought).await
}

/// `GET /facepieces`.
pub async fn list_facepieces(
    State(app): State<App>,
    visitor: Visitor,
    Query(sought): Query<Sought>,
) -> Result<Html<List>, WebError> {
    list(&app, &visitor, AssetKind::Facepiece, sought).await
}

async fn list(app: &App, visitor: &Visitor, kind: AssetKind, sought: Sought) -> Result<Html<List>, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let (title, href) = match kind {
        AssetKind::Cylinder => ("Cylinders", "/cylinders"),
        _ => ("Facepieces", "/facepieces"),
    };
    let q = sought.q.trim().to_lowercase();
    let mut all = ledger.all(&app.store, kind).await?;
    all.retain(|(asset, ..)| asset.number.to_lowercase().contains(&q));
    // What stands against something comes first, but for what is over.
    all.sort_by_key(|(asset, _, s)| {
        let over = s.state == Holds::Retired;
        (over, std::cmp::Reverse(s.state), s.grounds.is_empty(), asset.clone())
    });
    let rows = all.into_iter().map(|(asset, place, s)| {
        let thing = ledger.upkeep.things.get(&asset).cloned().unwrap_or_default();
        let next = dues(&ledger, &asset).into_iter().next();
        ListRow {
            thing: asset_link(&asset),
            standing: standing(&s),
            marks: kind_words(&thing),
            place: place.map_or("Not placed".to_owned(), |p| capital(&ledger.fleet.words_of(&p))),
            say: match (s.grounds.first(), next) {
                (Some(g), _) => sentence(&ground_words(g)),
                (None, Some(f)) => format!("{}: {}.", f.label, f.value),
                (None, None) => String::new(),
            },
        }
    });
    Ok(Html(List {
        page: page(app, visitor, title).await?,
        title: title.to_owned(),
        sought: sought.q,
        href: href.to_owned(),
        rows: rows.collect(),
    }))
}

/// `GET /assets/{asset}`.
pub async fn show_thing(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Response, WebError> {
    let file = file(&app, &asset).await?;
    if file.asset.kind == AssetKind::Unit {
        return Ok(Redirect::to(&asset_href(&file.asset)).into_response());
    }
    Ok(Html(view(&app, &visitor, &file, None).await?).into_response())
}

/// Where the form sends it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct PutInput {
    to: String,
}

/// `POST /assets/{asset}/put`: fitted to a unit, taken out of one, sent for test.
pub async fn put(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<PutInput>,
) -> Result<Response, WebError> {
    let member = visitor.member.as_ref().ok_or(WebError::Forbidden)?;
    let file = file(&app, &asset).await?;
    let again =
        |say: String| async { Ok(Again(view(&app, &visitor, &file, Some(say)).await?).into_response()) };
    let Some(place) = read(&file.ledger, &input.to).filter(|_| file.asset.kind != AssetKind::Unit) else {
        return again("Choose where it goes.".to_owned()).await;
    };
    let body = Register::Holder { asset: file.asset.clone(), place };
    match hand_in_desk(&app, "register", &member.id, &body).await {
        Ok(_) => Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
        Err(IntakeError::Refused(r)) => again(format!("{}.", capital(&r.say))).await,
        Err(e) => Err(e.into()),
    }
}

fn read(ledger: &Ledger, to: &str) -> Option<Place> {
    let fleet = &ledger.fleet;
    match to.split_once('/').unwrap_or((to, "")) {
        ("with", unit) => fleet.units.contains_key(unit).then(|| Place::With { unit: unit.to_owned() }),
        ("seat", id) => {
            fleet.seats.iter().find(|s| s.seat == id).map(|s| Place::Seat { seat: s.seat.clone() })
        }
        ("spare", id) => {
            fleet.stations.iter().find(|s| s.id == id).map(|s| Place::Spare { station: s.id.clone() })
        }
        ("bench", "") => Some(Place::Bench),
        ("repairer", "") => Some(Place::Repairer),
        _ => None,
    }
}

fn moving(file: &ThingFile, visitor: &Visitor, problem: Option<String>) -> Option<Moving> {
    let destination = |value: String, label: String| Destination { value, label };
    let bench = || destination("bench".to_owned(), "On the bench".to_owned());
    match file.standing.state {
        _ if !visitor.is(BENCH) => return None,
        // Off the unit, so that another one can be fitted; nowhere else.
        Holds::Retired if file.thing.with.is_some() => {
            let groups = vec![Destinations { label: "Away".to_owned(), places: vec![bench()] }];
            return Some(Moving { groups, problem });
        }
        Holds::Held | Holds::Retired => return None,
        _ => {}
    }
    let fleet = &file.ledger.fleet;
    let rated = file.thing.rated.map(airmuster_domain::quantity::Pressure::amount);
    let fits = |profile: &str| {
        let wanted = fleet.profile(profile).map(|p| p.rated.amount());
        rated.zip(wanted).is_none_or(|(own, wanted)| own == wanted)
    };
    // A unit has one cylinder; facepieces, often somebody's own, go with it as they come.
    let taken = |unit: &str| {
        let things = file.ledger.upkeep.things.iter().filter(|(a, _)| a.kind == AssetKind::Cylinder);
        things.filter(|(a, _)| a.kind == file.asset.kind).any(|(_, t)| t.with.as_deref() == Some(unit))
    };
    let units = fleet
        .units
        .values()
        .filter(|u| u.standing.state < Holds::Held && fits(&u.row.profile) && !taken(&u.row.number));
    let units = units.map(|u| {
        let place = fleet.place_words(&u.row);
        destination(format!("with/{}", u.row.number), format!("Unit {}, {place}", u.row.number))
    });
    let racks =
        fleet.seats.iter().filter(|s| s.kit && s.asset.is_none() && file.asset.kind == AssetKind::Cylinder);
    let racks = racks.map(|s| {
        let place = Place::Seat { seat: s.seat.clone() };
        destination(format!("seat/{}", s.seat), capital(&fleet.words_of(&place)))
    });
    let spares =
        fleet.stations.iter().map(|s| destination(format!("spare/{}", s.id), format!("Spare at {}", s.name)));
    let away = match file.asset.kind {
        AssetKind::Cylinder => "Sent for requalification or repair",
        _ => "Sent to a repairer",
    };
    let away = vec![bench(), destination("repairer".to_owned(), away.to_owned())];
    let group = |label: &str, places: Vec<Destination>| Destinations { label: label.to_owned(), places };
    let mut groups = vec![
        group("Fit to a unit", units.collect()),
        group("In a rack", racks.collect()),
        group("Spare", spares.collect()),
        group("Away", away),
    ];
    groups.retain(|g| !g.places.is_empty());
    Some(Moving { groups, problem })
}

async fn view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    problem: Option<String>,
) -> Result<Thing, WebError> {
    let fleet = &file.ledger.fleet;
    let title = thing_words(&file.asset);
    let place = match &file.place {
        Some(Place::With { unit }) => {
            Link { text: format!("On unit {unit}"), href: format!("/units/{unit}") }
        }
        Some(place) => Link { text: capital(&fleet.words_of(place)), href: String::new() },
        None => Link { text: "Not placed".to_owned(), href: String::new() },
    };
    Ok(Thing {
        page: page(app, visitor, &title).await?,
        href: asset_href(&file.asset),
        kind: capital(&kind_words(&file.thing)),
        place,
        standing: standing(&file.standing),
        grounds: file.standing.grounds.iter().map(|g| against(file, g)).collect(),
        facts: facts(file),
        dues: dues(&file.ledger, &file.asset),
        moving: moving(file, visitor, problem),
        others: others(file, visitor),
        no_fill: no_fill(file).unwrap_or_default(),
        events: happened(fleet, &file.events),
        title,
    })
}

fn against(file: &ThingFile, g: &Ground) -> GroundView {
    let raise = &g.raise;
    let fleet = &file.ledger.fleet;
    let computed = raise.from.id.is_nil();
    let who = raise.by.as_deref().map_or("Unsigned", |by| fleet.name(by));
    GroundView {
        text: sentence(&ground_words(g)),
        basis: raise.basis.clone(),
        raised: if computed {
            String::new()
        } else {
            format!("{who}, {}", when(&fleet.department.clock, raise.at, fleet.now))
        },
        clears: match g.state {
            Holds::Retired => "Nothing brings it back.".to_owned(),
            _ => format!("Cleared by {}. Who can: {}.", g.cleared_by, g.who),
        },
        record: None,
    }
}

/// Rating, volume and make of a cylinder; size and model of a facepiece.
pub fn kind_words(thing: &Known) -> String {
    let mut parts: Vec<String> = thing.rated.iter().map(|r| r.words()).collect();
    if let Some(m) = &thing.marks {
        parts.push(format!("{} L", decimal(m.volume_ml, 3)));
        parts.push(m.spec.words().to_owned());
    }
    let made = [&thing.make, &thing.model, &thing.style].map(String::as_str).join(" ");
    parts.extend([thing.size.clone(), made.trim().to_owned()].into_iter().filter(|s| !s.is_empty()));
    parts.join(", ")
}

fn facts(file: &ThingFile) -> Vec<Fact> {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let thing = &file.thing;
    let mut out = Vec::new();
    out.extend(thing.rated.map(|r| fact("Rated pressure", r.words())));
    if let Some(m) = &thing.marks {
        out.push(fact("Water volume", format!("{} L", decimal(m.volume_ml, 3))));
        out.push(fact("Made to", m.spec.words().to_owned()));
        out.push(fact("Made", m.made.to_string()));
        out.push(fact("Last requalified", m.requalified.map_or("not yet".to_owned(), |r| r.to_string())));
        out.extend((!m.serial.is_empty()).then(|| fact("Maker’s serial", m.serial.clone())));
    } else if file.asset.kind == AssetKind::Cylinder {
        out.push(fact("Marks", "not in the register yet".to_owned()));
    }
    if file.asset.kind == AssetKind::Facepiece {
        out.push(fact("Size", thing.size.clone()));
        for (label, part) in [("Make", &thing.make), ("Model", &thing.model), ("Style", &thing.style)] {
            let said = if part.is_empty() { "not in the register yet" } else { part };
            out.push(fact(label, said.to_owned()));
        }
        let cleaned = thing.done.get(&Work::Cleaned).map_or("not written down".to_owned(), |d| day_words(*d));
        out.push(fact("Last cleaned", cleaned));
    }
    if let Some(f) = &thing.filled {
        let source = file.ledger.upkeep.sources.get(&f.source).map_or(&f.source, |s| &s.name);
        let at = when(&file.ledger.fleet.department.clock, f.at, file.ledger.fleet.now);
        out.push(fact("Last filled", format!("{at}, to {}, from {source}", f.pressure.words())));
    }
    out
}

/// Why a cylinder is not to be filled now; none where it may be.
fn no_fill(file: &ThingFile) -> Option<String> {
    if file.asset.kind != AssetKind::Cylinder {
        return None;
    }
    let mut why = file.ledger.upkeep.no_fill_for(&file.asset, file.ledger.today);
    let tagged =
        file.standing.grounds.iter().find(|g| matches!(g.raise.kind, Kind::Finding | Kind::TakenOut));
    why.extend(tagged.map(|g| format!("it is out of service: {}", g.raise.say)));
    if file.standing.state == Holds::Held {
        why.push("it is held for an inquiry".to_owned());
    }
    (!why.is_empty()).then(|| sentence(&capital(&why.join("; "))))
}

/// What falls due on it, the first first.
fn dues(ledger: &Ledger, asset: &Asset) -> Vec<Fact> {
    let mut all: Vec<_> =
        Work::DUE.into_iter().filter_map(|w| Some((ledger.upkeep.due(asset, w)?, w))).collect();
    all.sort();
    all.into_iter()
        .map(|(by, work)| Fact { label: capital(work.words()), value: format!("by {}", day_words(by)) })
        .collect()
}

fn others(file: &ThingFile, visitor: &Visitor) -> Vec<Link> {
    let href = asset_href(&file.asset);
    let link = |text: &str, to: String| Link { text: text.to_owned(), href: to };
    let mut out = Vec::new();
    let over = matches!(file.standing.state, Holds::Held | Holds::Retired);
    match file.standing.state {
        Holds::Held => {
            out.push(link("Seal and hand over", format!("{href}/seal")));
            if visitor.is(&[Role::Administrator]) {
                out.push(link("Release it", format!("{href}/release")));
            }
        }
        Holds::Retired => {}
        _ => out.push(link("Hold for an inquiry", format!("{href}/seal"))),
    }
    if visitor.is(&[Role::Technician, Role::Administrator]) && !over {
        out.push(link("Write down upkeep", format!("{href}/upkeep")));
        if file.asset.kind == AssetKind::Cylinder {
            out.push(link("Condemn it", format!("{href}/condemn")));
        }
    } else if !over && file.asset.kind == AssetKind::Facepiece && visitor.member.is_some() {
        out.push(link("Write down cleaning", format!("{href}/upkeep")));
    }
    if visitor.is(&[Role::Administrator]) && file.asset.kind == AssetKind::Cylinder && !over {
        out.push(link("Enter its marks", format!("{href}/marks")));
    }
    if visitor.is(&[Role::Administrator]) && file.asset.kind == AssetKind::Facepiece && !over {
        out.push(link("Enter its model", format!("{href}/model")));
    }
    if file.asset.kind == AssetKind::Cylinder && !over && no_fill(file).is_none() {
        out.push(link("Fill it", format!("/fills?cylinder={}", file.asset.number)));
    }
    out
}

/// The marks form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct MarksInput {
    spec: String,
    volume: String,
    made: String,
    requalified: String,
    life_until: String,
    serial: String,
}

/// `GET /assets/{asset}/marks`.
pub async fn show_marks(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Html<MarksView>, WebError> {
    let file = cylinder(&app, &asset).await?;
    let input = file.thing.marks.as_ref().map_or_else(MarksInput::default, |m| MarksInput {
        spec: m.spec.id().to_owned(),
        volume: decimal(m.volume_ml, 3),
        made: m.made.to_string(),
        requalified: m.requalified.map(|m| m.to_string()).unwrap_or_default(),
        life_until: m.life_until.map(|m| m.to_string()).unwrap_or_default(),
        serial: m.serial.clone(),
    });
    Ok(Html(marks_view(&app, &visitor, &file, &input, Vec::new()).await?))
}

/// `POST /assets/{asset}/marks`.
pub async fn take_marks(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<MarksInput>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let file = cylinder(&app, &asset).await?;
    let mut lines = Vec::new();
    match read_marks(&input) {
        Ok(marks) => {
            let body = Register::CylinderMarks { number: file.asset.number.clone(), marks };
            match hand_in_desk(&app, "register", &by, &body).await {
                Ok(_) => return Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
                Err(IntakeError::Refused(r)) => lines.push(problem("made", format!("{}.", capital(&r.say)))),
                Err(e) => return Err(e.into()),
            }
        }
        Err(found) => lines = found,
    }
    Ok(Again(marks_view(&app, &visitor, &file, &input, lines).await?).into_response())
}

fn read_marks(input: &MarksInput) -> Result<Marks, Vec<ProblemLine>> {
    let mut lines = Vec::new();
    let spec = Spec::from_id(&input.spec);
    if spec.is_none() {
        lines.push(problem("spec", "Choose what it was made to; it is stamped on it."));
    }
    let volume_ml = parts(&input.volume, 3).filter(|v| (500..=20_000).contains(v));
    if volume_ml.is_none() {
        lines.push(problem("volume", "Give the water volume in litres, such as 6.8."));
    }
    let mut month = |field: &str, text: &str, needed: bool| -> Option<Month> {
        let read = text.trim().parse().ok();
        if read.is_none() && (needed || !text.trim().is_empty()) {
            lines.push(problem(field, "Give it as year and month, such as 2021-03."));
        }
        read
    };
    let made = month("made", &input.made, true);
    let requalified = month("requalified", &input.requalified, false);
    let life_until = month("life_until", &input.life_until, false);
    match (spec, volume_ml, made) {
        (Some(spec), Some(volume_ml), Some(made)) if lines.is_empty() => {
            let serial = input.serial.trim().to_owned();
            Ok(Marks { volume_ml, spec, made, requalified, life_until, serial })
        }
        _ => Err(lines),
    }
}

async fn cylinder(app: &App, asset: &str) -> Result<ThingFile, WebError> {
    let file = file(app, asset).await?;
    if file.asset.kind == AssetKind::Cylinder { Ok(file) } else { Err(WebError::NotFound) }
}

async fn marks_view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: &MarksInput,
    lines: Vec<ProblemLine>,
) -> Result<MarksView, WebError> {
    let title = thing_words(&file.asset);
    let specs = Spec::ALL.into_iter().map(|s| StageOption {
        value: s.id().to_owned(),
        label: capital(s.words()),
        selected: s.id() == input.spec,
    });
    Ok(MarksView {
        page: page(app, visitor, &format!("Marks of {title}")).await?,
        href: asset_href(&file.asset),
        specs: specs.collect(),
        volume: input.volume.clone(),
        made: input.made.clone(),
        requalified: input.requalified.clone(),
        life_until: input.life_until.clone(),
        serial: input.serial.clone(),
        problems: Problems { lines },
        title,
    })
}

/// The condemning form.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct CondemnInput {
    why: String,
    member: String,
    pin: String,
}

/// `GET /assets/{asset}/condemn`.
pub async fn show_condemn(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
) -> Result<Html<Condemn>, WebError> {
    let file = still_there(&app, &asset).await?;
    let member = visitor.member.as_ref().map(|m| m.id.clone()).unwrap_or_default();
    let input = CondemnInput { member, ..CondemnInput::default() };
    Ok(Html(condemn_view(&app, &visitor, &file, &input, Vec::new()).await?))
}

/// `POST /assets/{asset}/condemn`.
pub async fn condemn(
    State(app): State<App>,
    visitor: Visitor,
    Path(asset): Path<String>,
    Form(input): Form<CondemnInput>,
) -> Result<Response, WebError> {
    let file = still_there(&app, &asset).await?;
    let mut lines = Vec::new();
    if input.why.trim().is_empty() {
        lines.push(problem("why", "Say why, in a few words."));
    }
    lines.extend(check_pin(&app, &visitor, &input.member, &input.pin).await?.err());
    if lines.is_empty() {
        let body = TakenOut { asset: file.asset.clone(), why: input.why.trim().to_owned() };
        match hand_in_desk(&app, "condemned", &input.member, &body).await {
            Ok(_) => return Ok(Redirect::to(&asset_href(&file.asset)).into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem("member", format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    Ok(Again(condemn_view(&app, &visitor, &file, &input, lines).await?).into_response())
}

async fn still_there(app: &App, asset: &str) -> Result<ThingFile, WebError> {
    let file = cylinder(app, asset).await?;
    match file.standing.state {
        Holds::Retired => {
            Err(WebError::Conflict(format!("{} is condemned already.", thing_words(&file.asset))))
        }
        _ => Ok(file),
    }
}

async fn condemn_view(
    app: &App,
    visitor: &Visitor,
    file: &ThingFile,
    input: &CondemnInput,
    lines: Vec<ProblemLine>,
) -> Result<Condemn, WebError> {
    let title = format!("cylinder {}", file.asset.number);
    Ok(Condemn {
        page: page(app, visitor, &format!("Condemn {title}")).await?,
        href: asset_href(&file.asset),
        standing: standing(&file.standing),
        why: input.why.clone(),
        members: member_options(&app.store.people().await?, Some(&input.member)),
        problems: Problems { lines },
        title,
    })
}
