//! The department's own settings on one page: what holds, since when and by whom. What has a page of
//! its own is linked to from here.

use std::sync::Arc;

use airmuster_domain::record::{Asked, Body, Desk, Register};
use airmuster_domain::role::Role;
use airmuster_domain::shift::{Rotation, ShiftClock};
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::service::IntakeError;
use crate::service::fleet::Fleet;
use crate::store::{Identification, Kept};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::{capital, page, when};
use crate::web::serving::App;
use crate::web::signing::{hand_in_desk, problem};
use crate::web::telling::identification_words;
use crate::web::view::register::Shelf;
use crate::web::view::settings::{Setting, SettingField, Settings};
use crate::web::view::ticket::StageOption;
use crate::web::view::{Link, ProblemLine, Problems};

/// A department's and a platoon's name stay readable in a line.
const LONGEST: usize = 60;

/// The fields of the department's form: name, label, what goes in it, whether it is a number.
const FIELDS: [(&str, &str, &str, bool); 6] = [
    ("name", "Department", "What it is called on every page.", false),
    ("zone", "Time zone", "As the tz database names it, like America/Denver.", false),
    ("shift_start", "A shift starts at", "Local time, like 07:00.", false),
    ("shift_hours", "Length of a shift, hours", "24, or what divides it: 12, 8.", true),
    ("early_minutes", "Early, minutes", "A check so long before the start counts for the shift.", true),
    ("grace_minutes", "Late after, minutes", "A check is due this long after the start, then late.", true),
];

/// What was just done, said once.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Done {
    done: String,
}

/// What the forms send. Each of them has some of these.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    name: String,
    zone: String,
    shift_start: String,
    shift_hours: String,
    early_minutes: String,
    grace_minutes: String,
    turns: String,
    on_duty: String,
    apart: Vec<String>,
    asked: String,
    hours: String,
    from: String,
    to: String,
    minutes: String,
}

impl Input {
    fn field(&self, id: &str) -> &str {
        match id {
            "name" => &self.name,
            "zone" => &self.zone,
            "shift_start" => &self.shift_start,
            "shift_hours" => &self.shift_hours,
            "early_minutes" => &self.early_minutes,
            _ => &self.grace_minutes,
        }
    }
}

/// What holds now.
struct Held {
    fleet: Arc<Fleet>,
    rotation: Rotation,
    identification: Identification,
    records: Vec<Kept>,
}

impl Held {
    async fn load(app: &App) -> Result<Self, WebError> {
        Ok(Self {
            fleet: Fleet::load(&app.store, app.clock.now()).await?,
            rotation: app.store.rotation().await?,
            identification: app.store.identification().await?,
            records: app.store.settings_records().await?,
        })
    }

    /// As the form would have it.
    fn input(&self) -> Input {
        let (name, clock) = (&self.fleet.department.name, &self.fleet.department.clock);
        Input {
            name: name.clone(),
            zone: clock.zone.name().to_owned(),
            shift_start: clock.start.format("%H:%M").to_string(),
            shift_hours: clock.hours.to_string(),
            early_minutes: clock.early_minutes.to_string(),
            grace_minutes: clock.grace_minutes.to_string(),
            turns: self.rotation.turns.join(", "),
            on_duty: self.on_duty(),
            apart: self.rotation.apart.iter().cloned().collect(),
            asked: self.identification.asked.id().to_owned(),
            hours: self.identification.hours.to_string(),
            ..Input::default()
        }
    }

    /// The turn that runs: the platoon's name or, where it has several turns, its place in the list.
    fn on_duty(&self) -> String {
        let (clock, turns) = (&self.fleet.department.clock, &self.rotation.turns);
        let Some(nth) = self.rotation.turn(clock, self.fleet.now) else { return String::new() };
        let alone = turns.iter().filter(|t| **t == turns[nth]).count() == 1;
        if alone { turns[nth].clone() } else { (nth + 1).to_string() }
    }

    /// Since when and by whom something is as it is: `of` picks it out of an entry of the register.
    fn since(&self, of: impl Fn(&Register) -> Option<String>) -> String {
        let mut held: Option<(String, &Kept)> = None;
        for kept in &self.records {
            let Body::Desk(Desk::Register(entry)) = &kept.record.body else { continue };
            if let Some(value) = of(entry)
                && held.as_ref().is_none_or(|(before, _)| *before != value)
            {
                held = Some((value, kept));
            }
        }
        let Some((_, kept)) = held else { return "as it is shipped".to_owned() };
        let e = &kept.record.envelope;
        let at = when(&self.fleet.department.clock, e.time(), self.fleet.now);
        format!("since {at}, {}", e.by.as_deref().map_or("at the machine itself", |by| self.fleet.name(by)))
    }
}

/// `GET /settings`.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Query(done): Query<Done>,
) -> Result<Html<Settings>, WebError> {
    let held = Held::load(&app).await?;
    let mut view = view(&app, &visitor, &held, &held.input(), "", Vec::new()).await?;
    view.done = match done.done.as_str() {
        "yes" => "Written down. It holds from now on.",
        "same" => "It said the same before: nothing was written.",
        _ => "",
    };
    Ok(Html(view))
}

/// `POST /settings/department`.
pub async fn set_department(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let name = input.name.trim();
    let mut lines = Vec::new();
    if name.is_empty() || name.chars().count() > LONGEST || name.contains(char::is_control) {
        lines.push(problem("name", "Give the name, in up to 60 characters."));
    }
    let mut number = |id: &str| {
        input.field(id).trim().parse::<u16>().unwrap_or_else(|_| {
            lines.push(problem(id, "Write a whole number."));
            0
        })
    };
    let (hours, early, grace) = (number("shift_hours"), number("early_minutes"), number("grace_minutes"));
    let hours = u8::try_from(hours).unwrap_or(u8::MAX);
    let (zone, start) = (input.zone.trim(), input.shift_start.trim());
    if lines.is_empty()
        && let Err(say) = ShiftClock::read(zone, start, hours, early, grace)
    {
        let field = if zone.parse::<chrono_tz::Tz>().is_err() {
            "zone"
        } else if chrono::NaiveTime::parse_from_str(start, "%H:%M").is_err() {
            "shift_start"
        } else if hours == 0 || 24 % hours != 0 {
            "shift_hours"
        } else {
            "grace_minutes"
        };
        lines.push(problem(field, format!("{}.", capital(&say))));
    }
    let entry = Register::Department {
        name: name.to_owned(),
        zone: zone.to_owned(),
        shift_start: start.to_owned(),
        shift_hours: hours,
        early_minutes: early,
        grace_minutes: grace,
    };
    finish(&app, &visitor, "department", &input, lines, entry).await
}

/// `POST /settings/platoons`: their turns, and who is on duty in the shift that runs.
pub async fn set_platoons(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let turns: Vec<String> =
        input.turns.split(',').map(|t| t.trim().to_owned()).filter(|t| !t.is_empty()).collect();
    let mut lines = Vec::new();
    if turns.iter().any(|t| t.chars().count() > LONGEST || t.contains(char::is_control)) {
        lines.push(problem("turns", "Give each a name of up to 60 characters."));
    }
    let clock = app.store.department().await?.clock;
    let on_duty = turn(&turns, input.on_duty.trim());
    if on_duty.is_none() && !turns.is_empty() && lines.is_empty() {
        let say = if turns.iter().any(|t| t.eq_ignore_ascii_case(input.on_duty.trim())) {
            "It has several turns: give the place in the list of the one that runs, like 4 for the fourth."
        } else {
            "Name the one of them that is on duty now."
        };
        lines.push(problem("on_duty", say));
    }
    let rigs = app.store.rigs().await?;
    if input.apart.iter().any(|id| !rigs.iter().any(|r| r.id == *id)) {
        return Err(WebError::Unreadable);
    }
    let now = app.clock.now();
    let Rotation { turns, first, .. } = Rotation::now(turns, on_duty.unwrap_or_default(), &clock, now);
    let apart = input.apart.iter().cloned().collect();
    finish(&app, &visitor, "platoons", &input, lines, Register::Rotation { turns, first, apart }).await
}

/// The turn that is meant, by a platoon's name where that has one turn, or by its place in the list.
fn turn(turns: &[String], said: &str) -> Option<usize> {
    let mut named = turns.iter().enumerate().filter(|(_, t)| t.eq_ignore_ascii_case(said));
    match (named.next(), named.next()) {
        (Some((nth, _)), None) => Some(nth),
        (Some(_), Some(_)) => None,
        (None, _) => said.parse::<usize>().ok()?.checked_sub(1).filter(|nth| *nth < turns.len()),
    }
}

/// `POST /settings/identification`.
pub async fn set_identification(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let asked = Asked::from_id(&input.asked).ok_or(WebError::Unreadable)?;
    let hours = input.hours.trim().parse::<u16>().ok().filter(|h| (1..=168).contains(h));
    let lines = match hours {
        Some(_) => Vec::new(),
        None => vec![problem("hours", "Give the hours, from 1 to 168.")],
    };
    let entry = Register::Identification { asked, hours: hours.unwrap_or_default() };
    finish(&app, &visitor, "identification", &input, lines, entry).await
}

/// `POST /settings/drives`.
pub async fn set_drive(
    State(app): State<App>,
    visitor: Visitor,
    Form(input): Form<Input>,
) -> Result<Response, WebError> {
    let stations = app.store.stations().await?;
    let known = |id: &str| stations.iter().any(|s| s.id == id);
    let mut lines = Vec::new();
    if !known(&input.from) {
        lines.push(problem("from", "Choose a station."));
    }
    if !known(&input.to) || input.from == input.to {
        lines.push(problem("to", "Choose another station."));
    }
    let minutes = input.minutes.trim().parse::<u16>().ok().filter(|m| *m <= 24 * 60);
    if minutes.is_none() {
        lines.push(problem("minutes", "Give the minutes of the drive."));
    }
    let (from, to) = (input.from.clone(), input.to.clone());
    let entry = Register::Drive { from, to, minutes: minutes.unwrap_or_default() };
    finish(&app, &visitor, "drives", &input, lines, entry).await
}

/// Writes it down where nothing is to be put right and it says something new. The session is
/// signature enough.
async fn finish(
    app: &App,
    visitor: &Visitor,
    form: &'static str,
    input: &Input,
    mut lines: Vec<ProblemLine>,
    entry: Register,
) -> Result<Response, WebError> {
    let by = visitor.member.as_ref().ok_or(WebError::Forbidden)?.id.clone();
    let held = Held::load(app).await?;
    if lines.is_empty() {
        if says_the_same(app, &held, &entry).await? {
            return Ok(Redirect::to("/settings?done=same").into_response());
        }
        match hand_in_desk(app, "register", &by, &entry).await {
            Ok(_) => return Ok(Redirect::to("/settings?done=yes").into_response()),
            Err(IntakeError::Refused(r)) => lines.push(problem(form, format!("{}.", capital(&r.say)))),
            Err(e) => return Err(e.into()),
        }
    }
    // What the other forms hold stays as it is.
    let now = held.input();
    let input = match form {
        "department" => Input {
            turns: now.turns,
            on_duty: now.on_duty,
            apart: now.apart,
            asked: now.asked,
            hours: now.hours,
            ..input.clone()
        },
        "platoons" => Input {
            turns: input.turns.clone(),
            on_duty: input.on_duty.clone(),
            apart: input.apart.clone(),
            ..now
        },
        "identification" => Input { asked: input.asked.clone(), hours: input.hours.clone(), ..now },
        _ => Input { from: input.from.clone(), to: input.to.clone(), minutes: input.minutes.clone(), ..now },
    };
    Ok(Again(view(app, visitor, &held, &input, form, lines).await?).into_response())
}

async fn says_the_same(app: &App, held: &Held, entry: &Register) -> Result<bool, WebError> {
    let (department, clock) = (&held.fleet.department, &held.fleet.department.clock);
    Ok(match entry {
        Register::Department { name, zone, shift_start, shift_hours, early_minutes, grace_minutes } => {
            *name == department.name
                && ShiftClock::read(zone, shift_start, *shift_hours, *early_minutes, *grace_minutes)
                    .is_ok_and(|read| read == *clock)
        }
        Register::Rotation { turns, first, apart } => {
            let new = Rotation { turns: turns.clone(), first: *first, apart: apart.clone() };
            let turn = |rotation: &Rotation| rotation.turn(clock, held.fleet.now);
            (&held.rotation.turns, &held.rotation.apart) == (turns, apart)
                && turn(&held.rotation) == turn(&new)
        }
        Register::Identification { asked, hours } => {
            held.identification == Identification { asked: *asked, hours: *hours }
        }
        Register::Drive { from, to, minutes } => {
            let key = (from.min(to).clone(), from.max(to).clone());
            app.store.drives().await?.get(&key) == Some(&u32::from(*minutes))
        }
        _ => false,
    })
}

/// Name, zone and shift, each since when and by whom.
fn department(held: &Held, now: &Input) -> Vec<Setting> {
    let all = FIELDS.iter().map(|(id, label, ..)| Setting {
        label: (*label).to_owned(),
        value: now.field(id).to_owned(),
        since: held.since(|entry| match entry {
            Register::Department { name, zone, shift_start, shift_hours, early_minutes, grace_minutes } => {
                Some(match *id {
                    "name" => name.clone(),
                    "zone" => zone.clone(),
                    "shift_start" => shift_start.clone(),
                    "shift_hours" => shift_hours.to_string(),
                    "early_minutes" => early_minutes.to_string(),
                    _ => grace_minutes.to_string(),
                })
            }
            _ => None,
        }),
    });
    all.collect()
}

async fn view(
    app: &App,
    visitor: &Visitor,
    held: &Held,
    input: &Input,
    open: &'static str,
    lines: Vec<ProblemLine>,
) -> Result<Settings, WebError> {
    let fleet = &held.fleet;
    let now = held.input();
    let turns = held.rotation.turns.join(", ");
    let mut platoons = vec![Setting {
        label: "Platoons".to_owned(),
        value: if turns.is_empty() { "Nobody rotates".to_owned() } else { turns },
        since: held.since(|entry| match entry {
            Register::Rotation { turns, first, apart } => Some(format!("{turns:?}{first}{apart:?}")),
            _ => None,
        }),
    }];
    let clock = &fleet.department.clock;
    if let Some(nth) = held.rotation.turn(clock, fleet.now) {
        let (all, name) = (held.rotation.turns.len(), &held.rotation.turns[nth]);
        let value =
            if now.on_duty == *name { name.clone() } else { format!("{name}, turn {} of {all}", nth + 1) };
        platoons.push(Setting { label: "On duty now".to_owned(), value, since: String::new() });
    }
    let rigs = app.store.rigs().await?;
    let apart: Vec<&str> =
        rigs.iter().filter(|r| held.rotation.apart.contains(&r.id)).map(|r| r.name.as_str()).collect();
    if !apart.is_empty() {
        let label = "Take no turns".to_owned();
        platoons.push(Setting { label, value: apart.join(", "), since: String::new() });
    }
    let told = held.identification;
    let identification = vec![Setting {
        label: "Wearer identification".to_owned(),
        value: capital(&identification_words(told.asked, told.hours)),
        since: held.since(|entry| match entry {
            Register::Identification { asked, hours } => Some(format!("{}{hours}", asked.id())),
            _ => None,
        }),
    }];
    let station = |id: &str| fleet.stations.iter().find(|s| s.id == id).map_or("", |s| &s.name).to_owned();
    let drives = app.store.drives().await?.into_iter().map(|((one, other), minutes)| Setting {
        label: format!("{} to {}", station(&one), station(&other)),
        value: format!("{minutes} min"),
        since: held.since(|entry| match entry {
            Register::Drive { from, to, minutes } if (from.min(to), from.max(to)) == (&one, &other) => {
                Some(minutes.to_string())
            }
            _ => None,
        }),
    });
    let ends = [&input.from, &input.to].map(|chosen| {
        let one = |s: &crate::store::Station| StageOption {
            value: s.id.clone(),
            label: s.name.clone(),
            selected: s.id == *chosen,
        };
        fleet.stations.iter().map(one).collect()
    });
    let way = |a: Asked, label: &str| StageOption {
        value: a.id().to_owned(),
        label: label.to_owned(),
        selected: input.asked == a.id(),
    };
    Ok(Settings {
        page: page(app, visitor, "Settings").await?,
        may: visitor.is(&[Role::Administrator]),
        done: "",
        department: department(held, &now),
        fields: FIELDS
            .iter()
            .map(|(id, label, help, number)| SettingField {
                id,
                label,
                help,
                number: *number,
                value: input.field(id).to_owned(),
            })
            .collect(),
        open,
        platoons,
        turns: input.turns.clone(),
        on_duty: input.on_duty.clone(),
        apart: rigs
            .iter()
            .map(|r| StageOption {
                value: r.id.clone(),
                label: r.name.clone(),
                selected: input.apart.contains(&r.id),
            })
            .collect(),
        identification,
        asked: vec![
            way(Asked::No, "Not asked"),
            way(Asked::Shown, "Shown beside the member; it blocks nothing"),
            way(Asked::Needed, "Needed: without it a seat is not ready"),
        ],
        hours: input.hours.clone(),
        drives: drives.collect(),
        ends,
        minutes: input.minutes.clone(),
        others: others(app, visitor, held).await?,
        problems: Problems { lines },
    })
}

/// What is set on pages of its own.
async fn others(app: &App, visitor: &Visitor, held: &Held) -> Result<Vec<Shelf>, WebError> {
    let fleet = &held.fleet;
    let shelf = |text: &str, href: &str, count: String, say: String| Shelf {
        link: Link { text: text.to_owned(), href: href.to_owned() },
        count,
        say,
    };
    let required = app.store.countersigning().await?;
    let asked = held.since(|entry| match entry {
        Register::Countersigning { required } => Some(required.to_string()),
        _ => None,
    });
    let set = app.store.cadences().await?.set.len();
    let mut out = vec![
        shelf(
            "Countersigning",
            "/countersign",
            if required { "Asked for" } else { "Not asked" }.to_owned(),
            asked,
        ),
        shelf(
            "How often things are checked",
            "/cadences",
            if set == 1 { "1 place set".to_owned() } else { format!("{set} places set") },
            "By rig, by place on it, and for each station’s spares".to_owned(),
        ),
        shelf(
            "Periods of upkeep",
            "/periods",
            String::new(),
            "Flow tests, requalification, air, batteries".to_owned(),
        ),
    ];
    if visitor.is(&[Role::Administrator]) {
        let table = fleet.table.as_ref();
        let edition = table.map(|t| format!("{}, {}", t.name, t.edition)).unwrap_or_default();
        let say = format!("{edition}. Steps, limits, and psi or bar: each profile reads as its gauges do");
        out.push(shelf("Rule table and profiles", "/rules", String::new(), say));
    }
    Ok(out)
}
