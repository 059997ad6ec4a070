//! Keeping the register: one list and one form for stations, rigs, seats, units, cylinders,
//! facepieces and members. A form is a row of the table that could be taken in as well, so what is
//! asked, what is refused and what is written down are the same on both ways.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use airmuster_domain::record::{Asset, Body, Cadence, Desk, Place, Register, Spot};
use airmuster_domain::role::Role;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::member;
use crate::service::exchange::{Column, Dates, ExchangeError, KEPT, Plan, Problem, Template, one_row, write};
use crate::service::fleet::Fleet;
use crate::service::{IntakeError, Origin, leaving};
use crate::store::Kept;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::problem;
use crate::web::view::register::{
    Change, Choice, Entries, Entry, EntryRow, FieldKind, FormField, Group, Index, Shelf,
};
use crate::web::view::{Fact, Link, ProblemLine, Problems};

/// In the place of an id: an entry that is not there yet. No id has such a sign.
const NEW: &str = "+";

/// What the lists and forms are made of.
pub struct Shelves {
    /// The register.
    pub entries: Vec<Register>,
    /// Names by member id.
    pub names: BTreeMap<String, String>,
    /// Units, places and the rule table.
    pub fleet: Arc<Fleet>,
}

impl Shelves {
    /// Reads it all.
    pub async fn load(app: &App) -> Result<Self, WebError> {
        Ok(Self {
            entries: app.store.entries().await?,
            names: app.store.names().await?.into_iter().collect(),
            fleet: Fleet::load(&app.store, app.clock.now()).await?,
        })
    }

    fn sheet(&self, template: &Template) -> write::Sheet {
        write::sheet(template, &self.entries, Some(&self.names))
    }
}

/// The table that a path names.
fn template(name: &str) -> Result<&'static Template, WebError> {
    KEPT.into_iter().find(|t| t.name == name).ok_or(WebError::NotFound)
}

/// What an entry of a table is called, with its article.
fn one(t: &Template) -> &'static str {
    match t.name {
        "stations" => "a station",
        "rigs" => "a rig",
        "seats" => "a seat or kit place",
        "units" => "a unit",
        "cylinders" => "a cylinder",
        "facepieces" => "a facepiece",
        _ => "a member",
    }
}

/// `GET /register`.
pub async fn show_index(State(app): State<App>, visitor: Visitor) -> Result<Html<Index>, WebError> {
    let shelves = Shelves::load(&app).await?;
    let shelf = |text: &str, href: &str, count: String, say: &str| Shelf {
        link: Link { text: text.to_owned(), href: href.to_owned() },
        count,
        say: say.to_owned(),
    };
    let say = |t: &Template| match t.name {
        "stations" => "Houses, in the order of display",
        "rigs" => "Vehicles, and where they stand",
        "seats" => "Riding positions and places of kits",
        "units" => "Profile, cadence, serial numbers",
        "cylinders" => "Rated pressure; marks and dates are at each",
        "facepieces" => "Size, and the unit they go with",
        _ => "Names, roles, PINs, transfer and leave",
    };
    let kept = KEPT.into_iter().map(|t| {
        let count = shelves.sheet(t).rows.len().to_string();
        shelf(&capital(t.name), &format!("/register/{}", t.name), count, say(t))
    });
    let tablets = app.store.tablets().await?;
    let in_use = tablets.iter().filter(|t| t.revoked_at.is_none()).count();
    let table = shelves.fleet.table.as_ref();
    let profiles = table.map_or(0, |t| t.profiles.len());
    let edition = table.map(|t| format!("{}, {}", t.name, t.edition)).unwrap_or_default();
    let others = vec![
        shelf("Settings", "/settings", String::new(), "Name, time zone, shift, platoons, what is asked"),
        shelf("Rule table and profiles", "/rules", format!("{profiles} profiles"), &edition),
        shelf("How often things are checked", "/cadences", String::new(), "By rig, place and spares"),
        shelf("Tablets", "/tablets", format!("{in_use} in use"), "Enrolled, lost, given up"),
        shelf("Qualifications", "/qualifications", String::new(), "Technicians’ certificates"),
        shelf("Fit tests and clearance", "/fitness", String::new(), "Who may wear which facepiece"),
        shelf("Tokens for programs", "/tokens", String::new(), "What other programs may read"),
        shelf("Take in tables", "/register/import", String::new(), "Everything above from a spreadsheet"),
    ];
    Ok(Html(Index { page: page(&app, &visitor, "Register").await?, shelves: kept.collect(), others }))
}

/// What a list is narrowed to.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sought {
    q: String,
}

/// `GET /register/{table}`.
pub async fn show_list(
    State(app): State<App>,
    visitor: Visitor,
    Path(table): Path<String>,
    Query(sought): Query<Sought>,
) -> Result<Html<Entries>, WebError> {
    let t = template(&table)?;
    let shelves = Shelves::load(&app).await?;
    let sheet = shelves.sheet(t);
    let q = sought.q.trim().to_lowercase();
    let mut rows: Vec<EntryRow> = sheet
        .rows
        .iter()
        .filter(|row| row.iter().any(|cell| cell.to_lowercase().contains(&q)))
        .map(|row| entry_row(&shelves, t, &sheet, row))
        .collect();
    rows.sort_by_key(|r| r.over);
    let href = format!("/register/{}", t.name);
    Ok(Html(Entries {
        page: page(&app, &visitor, &capital(t.name)).await?,
        title: capital(t.name),
        one: one(t).to_owned(),
        sought: sought.q,
        rows,
        files: ["csv", "json"]
            .map(|kind| Link {
                text: format!("As {}", kind.to_uppercase()),
                href: format!("/lists/{}.{kind}", t.name),
            })
            .into(),
        href,
    }))
}

fn entry_row(shelves: &Shelves, t: &Template, sheet: &write::Sheet, row: &[String]) -> EntryRow {
    let cell = |heading: &str| sheet.cell(row, heading);
    let id = row.first().cloned().unwrap_or_default();
    let rig = |id: &str| name_of(&shelves.entries, "rigs", id);
    let station = |id: &str| name_of(&shelves.entries, "stations", id);
    let with =
        |unit: &str| if unit.is_empty() { "on no unit".to_owned() } else { format!("with unit {unit}") };
    let (text, facts) = match t.name {
        "stations" => (cell("name").to_owned(), vec![id.clone()]),
        "rigs" => (cell("name").to_owned(), vec![station(cell("station"))]),
        "seats" => {
            let there = shelves.fleet.seats.iter().find(|s| s.seat == id).and_then(|s| s.asset.as_deref());
            let there = there.map_or("empty".to_owned(), |a| a.replace(':', " "));
            (format!("{}, {}", rig(cell("rig")), cell("name").to_lowercase()), vec![there])
        }
        "units" => {
            let unit = shelves.fleet.units.get(&id);
            let place = unit.map(|u| capital(&shelves.fleet.place_words(&u.row))).unwrap_or_default();
            (id.clone(), vec![cell("profile").to_owned(), cell("cadence").to_owned(), place])
        }
        "cylinders" => (id.clone(), vec![cell("rated").to_owned(), with(cell("with unit"))]),
        "facepieces" => (id.clone(), vec![cell("size").to_owned(), with(cell("with unit"))]),
        _ => {
            let name = cell("name");
            let roles = cell("roles").replace(' ', ", ");
            let roles = if roles.is_empty() { "no role".to_owned() } else { roles };
            let name = if name.is_empty() { id.clone() } else { name.to_owned() };
            (name, vec![id.clone(), roles, cell("qualified").replace(' ', ", ")])
        }
    };
    let over = t.name == "members" && cell("roles").is_empty();
    EntryRow { link: Link { text, href: format!("/register/{}/{id}", t.name) }, facts, over }
}

/// What a station or rig is called.
fn name_of(entries: &[Register], table: &str, wanted: &str) -> String {
    let name = entries.iter().find_map(|e| match (table, e) {
        ("stations", Register::Station { id, name, .. }) | ("rigs", Register::Rig { id, name, .. })
            if id == wanted =>
        {
            Some(name.clone())
        }
        _ => None,
    });
    name.unwrap_or_else(|| wanted.to_owned())
}

/// What was just done, said once.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Done {
    done: String,
}

/// `GET /register/{table}/{id}`.
pub async fn show_entry(
    State(app): State<App>,
    visitor: Visitor,
    Path((table, id)): Path<(String, String)>,
    Query(done): Query<Done>,
) -> Result<Html<Entry>, WebError> {
    let t = template(&table)?;
    let mut view = view(&app, &visitor, t, &id, None, Vec::new()).await?;
    let said = match done.done.as_str() {
        "yes" => "Written down.",
        "same" => "It said the same before: nothing was written.",
        "pin" => "The new PIN holds from now on.",
        "left" => "Assignments and qualifications have ended.",
        "erased" => "What was personal is erased.",
        _ => "",
    };
    said.clone_into(&mut view.done);
    Ok(Html(view))
}

/// `POST /register/{table}/{id}`: a new entry, or a changed one.
pub async fn take_entry(
    State(app): State<App>,
    visitor: Visitor,
    Path((table, id)): Path<(String, String)>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let t = template(&table)?;
    let mut given: HashMap<String, Vec<String>> = HashMap::new();
    for (field, value) in pairs {
        given.entry(field).or_default().push(value.trim().to_owned());
    }
    let key = t.columns[0].name;
    let number = if id == NEW { first(&given, &field_id(key)) } else { id.clone() };
    let shelves = Shelves::load(&app).await?;
    let there = shelves.sheet(t).rows.iter().any(|row| row.first() == Some(&number));
    let mut lines = Vec::new();
    if id == NEW && there {
        lines.push(problem(&field_id(key), format!("“{number}” is there already. Open it to change it.")));
    } else if id != NEW && !there {
        return Err(WebError::NotFound);
    }
    if t.name == "members"
        && !given.get("roles").is_some_and(|r| r.iter().any(|r| r == Role::Administrator.id()))
        && leaving::is_last_administrator(&app.store, &number).await?
    {
        lines.push(problem("roles", "Somebody stays administrator. Give the role to another member first."));
    }
    if lines.is_empty() {
        let cells = cells(t, &number, id == NEW, &given);
        let file = (t.file(), one_row(&cells));
        let plan = Plan::of(&app.store, app.clock.now(), Dates::Unsaid, &[file]).await?;
        lines.extend(plan.problems().iter().map(|p| line(t, p)));
        if lines.is_empty() {
            let done = if plan.is_empty() { "same" } else { "yes" };
            match plan.take_in(&app.intake, &app.clock, Some(&by), &Origin::Desk).await {
                Ok(()) => {
                    let to = format!("/register/{}/{number}?done={done}", t.name);
                    return Ok(Redirect::to(&to).into_response());
                }
                Err(ExchangeError::Refused(IntakeError::Refused(r))) => {
                    lines.push(problem(&field_id(key), format!("{}.", capital(&r.say))));
                }
                Err(ExchangeError::Refused(e)) => return Err(e.into()),
                Err(ExchangeError::Store(e)) => return Err(e.into()),
            }
        }
    }
    Ok(Again(view(&app, &visitor, t, &id, Some(&given), lines).await?).into_response())
}

/// What stands in the row that the form is.
fn cells(
    t: &Template,
    number: &str,
    new: bool,
    given: &HashMap<String, Vec<String>>,
) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for (nth, column) in t.columns.iter().enumerate() {
        let value = match (t.name, column.name) {
            _ if nth == 0 => number.to_owned(),
            ("units", "seat" | "spare at" | "away") => {
                let place = first(given, PLACE);
                let (at, id) = place.split_once('/').unwrap_or(("", ""));
                if at == column.name { id.to_owned() } else { String::new() }
            }
            _ => given.get(&field_id(column.name)).map(|v| v.join(" ")).unwrap_or_default(),
        };
        if new || nth == 0 || asked_again(t, column) {
            out.push((column.name.to_owned(), value));
        }
    }
    let family = t.family.map(|f| format!("{f}-")).unwrap_or_default();
    if !family.is_empty() {
        let mut parts: Vec<_> = given.iter().filter(|(field, _)| field.starts_with(&family)).collect();
        parts.sort();
        out.extend(parts.into_iter().map(|(field, values)| (field.replacen('-', " ", 1), values.join(" "))));
    }
    out
}

/// The field that stands for the three columns of where a unit is.
const PLACE: &str = "place";

/// Where something is, whether it was accepted and how often it is checked is changed elsewhere.
fn asked_again(t: &Template, column: &Column) -> bool {
    !matches!(
        (t.name, column.name),
        ("units", "in use" | "seat" | "spare at" | "away")
            | ("cylinders" | "facepieces", "with unit")
            | ("rigs" | "seats", "checked")
    )
}

fn first(given: &HashMap<String, Vec<String>>, field: &str) -> String {
    given.get(field).and_then(|v| v.first()).cloned().unwrap_or_default()
}

fn field_id(column: &str) -> String {
    column.replace(' ', "-")
}

/// A problem of the row as one of the form.
fn line(t: &Template, p: &Problem) -> ProblemLine {
    let field = match p.column.as_str() {
        "" => field_id(t.columns[0].name),
        "seat" | "spare at" | "away" => PLACE.to_owned(),
        column => field_id(column),
    };
    problem(&field, format!("{}.", capital(&p.say)))
}

/// The form of an entry with what was given, or with what is there.
pub async fn view(
    app: &App,
    visitor: &Visitor,
    t: &Template,
    id: &str,
    given: Option<&HashMap<String, Vec<String>>>,
    lines: Vec<ProblemLine>,
) -> Result<Entry, WebError> {
    let shelves = Shelves::load(app).await?;
    let sheet = shelves.sheet(t);
    let new = id == NEW;
    let row = sheet.rows.iter().find(|row| row.first().is_some_and(|first| first == id));
    if !new && row.is_none() {
        return Err(WebError::NotFound);
    }
    let value = |field: &str, column: &str| -> Vec<String> {
        match (given, row) {
            (Some(given), _) => given.get(field).cloned().unwrap_or_default(),
            (None, Some(row)) => vec![sheet.cell(row, column).to_owned()],
            (None, None) if column == "order" => vec![(sheet.rows.len() + 1).to_string()],
            (None, None) => Vec::new(),
        }
    };
    let mut fields: Vec<FormField> = Vec::new();
    for (nth, column) in t.columns.iter().enumerate() {
        let skipped = (t.name == "units" && matches!(column.name, "spare at" | "away"))
            || column.name == "checked"
            || (!new && (nth == 0 || !asked_again(t, column)));
        if skipped {
            continue;
        }
        let id = match (t.name, column.name) {
            ("units", "seat") => PLACE.to_owned(),
            (_, name) => field_id(name),
        };
        let values = value(&id, column.name);
        fields.push(field(&shelves, t, column, id, &values));
    }
    if let Some(family) = t.family {
        let mut parts: Vec<String> =
            ["regulator", "reducer", "alarm", "display", "gauge"].map(|p| format!("{family} {p}")).into();
        let more = sheet.headings.iter().filter(|h| h.starts_with(family) && !parts.contains(h));
        let more: Vec<String> = more.cloned().collect();
        parts.extend(more);
        for part in parts {
            let id = part.replacen(' ', "-", 1);
            fields.push(FormField {
                kind: FieldKind::Text(value(&id, &part).join(" ")),
                label: part.replacen(' ', " number, ", 1).replace("serial", "Serial"),
                optional: true,
                id,
                ..FormField::default()
            });
        }
    }
    let (title, name) = match row {
        None => (format!("A new {}", one(t).trim_start_matches("a ")), capital(one(t))),
        Some(row) => {
            let shown = entry_row(&shelves, t, &sheet, row).link.text;
            let thing = matches!(t.name, "units" | "cylinders" | "facepieces");
            (
                if thing { format!("{} {shown}", capital(one(t).trim_start_matches("a "))) } else { shown },
                t.about.to_owned(),
            )
        }
    };
    let lead = match (new, t.name) {
        (true, "units") => "A new unit is accepted by a good acceptance check before it rides.".to_owned(),
        (true, "members") => "Enter the member first; the PIN is set on the next page.".to_owned(),
        (true, _) => format!("{name}. Its {} stays what it is.", t.columns[0].name),
        (false, _) => format!("{}: {id}.", capital(t.columns[0].name)),
    };
    let (facts, others) = elsewhere(&shelves, t, if new { "" } else { id });
    Ok(Entry {
        page: page(app, visitor, &title).await?,
        title,
        lead,
        action: format!("/register/{}/{id}", t.name),
        back: Link { text: capital(t.name), href: format!("/register/{}", t.name) },
        problems: Problems { lines },
        fields,
        facts,
        others,
        member: if t.name == "members" && !new {
            Some(member::parts(app, &shelves, id, given).await?)
        } else {
            None
        },
        changes: if new { Vec::new() } else { changes(app, &shelves, t, id).await? },
        done: String::new(),
    })
}

fn field(shelves: &Shelves, t: &Template, column: &Column, id: String, values: &[String]) -> FormField {
    let value = values.first().cloned().unwrap_or_default();
    let choice = |of: &str, label: String| Choice { value: of.to_owned(), label, chosen: of == value };
    let alone = |choices: Vec<Choice>| FieldKind::One(vec![Group { label: String::new(), choices }]);
    let nothing = |label: &str| choice("", label.to_owned());
    let fleet = &shelves.fleet;
    let table = fleet.table.as_ref();
    let (label, kind) = match (t.name, column.name) {
        ("units", "seat") => ("Where it is".to_owned(), FieldKind::One(places(fleet, &value))),
        ("units", "in use") => {
            let ways = [("no", "New: it is accepted first"), ("yes", "It was in service before")];
            ("Is it new?".to_owned(), alone(ways.map(|(v, l)| choice(v, l.to_owned())).into()))
        }
        ("units", "cadence") => {
            let ways = Cadence::ALL.map(|c| choice(c.words(), capital(c.words())));
            ("It is checked".to_owned(), alone(ways.into()))
        }
        ("units", "profile") => {
            let profiles = table.into_iter().flat_map(|t| t.profiles.iter());
            let label = |p: &airmuster_domain::rules::Profile| p.title.clone();
            let mut all: Vec<Choice> = profiles.map(|(id, p)| choice(id, label(p))).collect();
            if !all.iter().any(|c| c.chosen) {
                all.insert(0, nothing("Choose which"));
            }
            ("Profile".to_owned(), alone(all))
        }
        (_, "station") => {
            let mut all: Vec<Choice> = fleet.stations.iter().map(|s| choice(&s.id, s.name.clone())).collect();
            if value.is_empty() {
                all.insert(0, nothing("Choose a station"));
            }
            ("Station".to_owned(), alone(all))
        }
        (_, "rig") => {
            let rigs = shelves.entries.iter().filter_map(|e| match e {
                Register::Rig { id, name, .. } => Some(choice(id, name.clone())),
                _ => None,
            });
            let mut all: Vec<Choice> = rigs.collect();
            if value.is_empty() {
                all.insert(0, nothing("Choose a rig"));
            }
            ("Rig".to_owned(), alone(all))
        }
        (_, "kit") => {
            let ways = [("no", "A riding position"), ("yes", "The place of a kit")];
            ("What it is".to_owned(), alone(ways.map(|(v, l)| choice(v, l.to_owned())).into()))
        }
        (_, "with unit") => {
            let mut all = vec![nothing("With none")];
            all.extend(fleet.units.values().map(|u| {
                let place = fleet.place_words(&u.row);
                choice(&u.row.number, format!("Unit {}, {place}", u.row.number))
            }));
            ("With unit".to_owned(), alone(all))
        }
        (_, "roles") => {
            ("Roles".to_owned(), FieldKind::Some(ticks(&Role::ALL.map(Role::id), values, capital)))
        }
        (_, "qualified") => {
            let mut families: Vec<&str> =
                table.into_iter().flat_map(|t| t.profiles.values()).map(|p| p.family.as_str()).collect();
            families.sort_unstable();
            families.dedup();
            (
                "Qualified to sign repairs of".to_owned(),
                FieldKind::Some(ticks(&families, values, str::to_owned)),
            )
        }
        _ => (capital(column.name), FieldKind::Text(value)),
    };
    let help = match (&kind, column.name) {
        (FieldKind::One(_) | FieldKind::Some(_), _) => String::new(),
        (_, "order") => "Smaller comes first.".to_owned(),
        _ => format!("{}.", capital(column.help)),
    };
    let optional = !column.required && matches!(kind, FieldKind::Text(_)) && column.name != "name";
    FormField { id, label, help, optional, kind }
}

/// Where a new unit can be put.
fn places(fleet: &Fleet, value: &str) -> Vec<Group> {
    let choice = |of: String, label: String| Choice { chosen: of == value, value: of, label };
    let seats =
        fleet.seats.iter().filter(|s| s.asset.is_none()).map(|s| {
            choice(format!("seat/{}", s.seat), format!("{}, {}", s.rig_name, s.name.to_lowercase()))
        });
    let stations = fleet.stations.iter().map(|s| choice(format!("spare at/{}", s.id), s.name.clone()));
    let group = |label: &str, choices: Vec<Choice>| Group { label: label.to_owned(), choices };
    let away = vec![
        choice("away/bench".to_owned(), "On the bench".to_owned()),
        choice("away/repairer".to_owned(), "At an outside repairer".to_owned()),
    ];
    let mut groups = vec![
        group("", vec![choice(String::new(), "Not placed yet".to_owned())]),
        group("In a seat", seats.collect()),
        group("Spare at", stations.collect()),
        group("Away", away),
    ];
    groups.retain(|g| !g.choices.is_empty());
    groups
}

/// Words of which some are ticked.
fn ticks(words: &[&str], values: &[String], label: fn(&str) -> String) -> Vec<Choice> {
    let ticked: Vec<&str> = values.iter().flat_map(|v| v.split(' ')).collect();
    let choice = |w: &&str| Choice { value: (*w).to_owned(), label: label(w), chosen: ticked.contains(w) };
    words.iter().map(choice).collect()
}

/// What is kept of it on other pages, and the ways there.
fn elsewhere(shelves: &Shelves, t: &Template, id: &str) -> (Vec<Fact>, Vec<Link>) {
    let link = |text: &str, href: String| Link { text: text.to_owned(), href };
    let place = |asset: Asset| {
        let at = shelves.entries.iter().find_map(|e| match e {
            Register::Holder { asset: a, place } if *a == asset => Some(place),
            _ => None,
        });
        let words = at.map_or("not placed".to_owned(), |p: &Place| shelves.fleet.words_of(p));
        vec![Fact { label: "Where it is".to_owned(), value: capital(&words) }]
    };
    match t.name {
        _ if id.is_empty() => (Vec::new(), Vec::new()),
        "units" => (
            place(Asset::unit(id)),
            vec![
                link("Its page, and where to move it", format!("/units/{id}")),
                link("Retire it", format!("/units/{id}/retire")),
            ],
        ),
        "cylinders" => (
            place(Asset::cylinder(id)),
            vec![
                link("Its page, and where to move it", format!("/assets/cylinder:{id}")),
                link("Its marks", format!("/assets/cylinder:{id}/marks")),
                link("Condemn it", format!("/assets/cylinder:{id}/condemn")),
            ],
        ),
        "facepieces" => (
            place(Asset::facepiece(id)),
            vec![link("Its page, and where to move it", format!("/assets/facepiece:{id}"))],
        ),
        "stations" => {
            (Vec::new(), vec![link("How often its spares are checked", format!("/cadences?at=spares/{id}"))])
        }
        "rigs" => (
            said(shelves, &Spot::Rig { rig: id.to_owned() }),
            vec![
                link("How often it is checked", format!("/cadences?at=rig/{id}")),
                link("Where it is and what it is for", format!("/rigs/{id}/status")),
            ],
        ),
        "seats" => (
            said(shelves, &Spot::Seat { seat: id.to_owned() }),
            vec![link("How often it is checked", format!("/cadences?at=seat/{id}"))],
        ),
        "members" => (
            Vec::new(),
            vec![
                link("Fit tests and clearance", format!("/fitness/{id}")),
                link("Until when qualifications hold", "/qualifications".to_owned()),
            ],
        ),
        _ => (Vec::new(), Vec::new()),
    }
}

/// How often it is checked, where that is said of the place itself.
fn said(shelves: &Shelves, spot: &Spot) -> Vec<Fact> {
    let at = shelves.entries.iter().find_map(|e| match e {
        Register::Cadence { at, cadence: Some(c) } if at == spot => Some(c.words()),
        _ => None,
    });
    at.map(|c| Fact { label: "It is checked".to_owned(), value: capital(c) }).into_iter().collect()
}

/// How an entry came to be as it is, newest first.
async fn changes(app: &App, shelves: &Shelves, t: &Template, id: &str) -> Result<Vec<Change>, WebError> {
    let mut out: Vec<Change> = Vec::new();
    let mut before: BTreeMap<String, String> = BTreeMap::new();
    let fleet = &shelves.fleet;
    for kept in app.store.register_records(id).await? {
        let Body::Desk(desk) = &kept.record.body else { continue };
        let what = match desk {
            Desk::Register(Register::Cadence { at, cadence }) => match (t.name, at) {
                ("rigs", Spot::Rig { rig: of })
                | ("seats", Spot::Seat { seat: of })
                | ("stations", Spot::Spares { station: of })
                    if of == id =>
                {
                    format!("checked: {}", cadence.map_or("nothing", Cadence::words))
                }
                _ => continue,
            },
            Desk::Register(entry) => {
                let sheet = write::sheet(t, std::slice::from_ref(entry), None);
                let Some(row) = sheet.rows.iter().find(|r| r.first().is_some_and(|f| f == id)) else {
                    continue;
                };
                // Where it is and what the member is called is not in this entry.
                let told = |h: &str| {
                    let column = t.columns.iter().find(|c| c.name == h);
                    column.is_none_or(|c| asked_again(t, c)) && h != t.columns[0].name && h != "name"
                        || (h == "name" && t.name != "members")
                };
                let now: BTreeMap<String, String> = sheet
                    .headings
                    .iter()
                    .cloned()
                    .zip(row.iter().cloned())
                    .filter(|(h, _)| told(h))
                    .collect();
                let new = now
                    .iter()
                    .filter(|(h, v)| before.get(*h) != Some(*v))
                    .map(|(h, v)| format!("{h}: {}", if v.is_empty() { "nothing" } else { v }));
                let gone = before.keys().filter(|h| !now.contains_key(*h)).map(|h| format!("{h}: nothing"));
                let words = new.chain(gone).collect::<Vec<_>>().join("; ");
                before = now;
                words
            }
            Desk::PersonChanged(p) if t.name == "members" && p.member == id => {
                format!("Outside the logbook: {}", crate::web::telling::personal_words(p.what))
            }
            Desk::Left(l) if t.name == "members" && l.member == id => {
                before.insert("qualified".to_owned(), String::new());
                if !l.how.keeps_roles() {
                    before.insert("roles".to_owned(), String::new());
                }
                format!("{}. {}", l.how.words(), l.why)
            }
            _ => continue,
        };
        out.push(change(fleet, &kept, capital(&what)));
    }
    out.reverse();
    Ok(out)
}

fn change(fleet: &Fleet, kept: &Kept, what: String) -> Change {
    let e = &kept.record.envelope;
    Change {
        when: when(&fleet.department.clock, e.time(), fleet.now),
        who: e.by.as_deref().map_or("at the machine itself", |by| fleet.name(by)).to_owned(),
        what,
        href: format!("/records/{}", kept.place.seq),
    }
}
