//! From the domain's words to what a screen says: the parts that several pages share.

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::judge::Finding;
use airmuster_domain::quantity::{Limit, Pressure};
use airmuster_domain::record::Cadence;
use airmuster_domain::role::Role;
use airmuster_domain::rules::{Consequence, Kind as StepKind, Profile, Purpose, Table};
use airmuster_domain::shift::ShiftClock;
use airmuster_domain::standing::{Ground, Standing, State};

use super::auth::Visitor;
use super::error::WebError;
use super::serving::App;
use super::view::check::StepState;
use super::view::strip::{Size, StackRow, Strip};
use super::view::{self, MemberOption, NavItem, Page, SignedIn, UnitRef};
use crate::service::fleet::{Fleet, UnitFacts};
use crate::service::house::House;
use crate::store::{CheckRow, Person};

/// The frame around a screen.
pub async fn page(app: &App, visitor: &Visitor, title: &str) -> Result<Page, WebError> {
    let house = House::load(&app.store, app.clock.now()).await?;
    let department = &house.department;
    let station = visitor.station.as_ref().and_then(|id| house.stations.iter().find(|s| s.id == *id));
    let station = station.map(|s| view::Link { text: s.name.clone(), href: station_href(&s.id) });
    let now = department.clock.local(app.clock.now());
    let (late, late_more) = super::officer::late::to_be_told(app, visitor, &house).await?;
    let name = if department.name.is_empty() { "airmuster".to_owned() } else { department.name.clone() };
    Ok(Page {
        title: title.to_owned(),
        department: name,
        clock: now.format("%a %-d %b · %H:%M").to_string(),
        nav: nav(visitor, station.as_ref()),
        station,
        signed_in: visitor
            .member
            .as_ref()
            .map(|m| SignedIn { name: m.name.clone(), role: m.role().to_owned() }),
        made: app.clock.now(),
        tablet: visitor.enrolled.as_ref().map(|t| view::OwnTablet {
            id: t.id.clone(),
            key: t.key.as_ref().map(ToString::to_string).unwrap_or_default(),
        }),
        flash: None,
        warning: app.notice.now(),
        gloves: visitor.gloves,
        late,
        late_more,
    })
}

fn nav(visitor: &Visitor, station: Option<&view::Link>) -> Vec<NavItem> {
    let mut out = Vec::new();
    let mut place = |text: &str, href: &str| {
        let here = visitor.path.split('?').next() == Some(href);
        out.push(NavItem { text: text.to_owned(), href: href.to_owned(), here });
    };
    if let Some(station) = station.filter(|_| visitor.is_in_house()) {
        place("Board", &station.href);
    }
    if visitor.is_in_house() {
        place("Stations", "/stations");
    }
    if visitor.is(&[Role::Officer, Role::Administrator]) {
        place("Rigs", "/rigs");
    }
    if visitor.is(&[Role::Technician, Role::Officer, Role::Administrator]) {
        place("Bench", "/bench");
        place("Upkeep", "/upkeep");
    }
    if visitor.is(&[Role::Officer, Role::Administrator]) {
        place("Tablets", "/tablets");
    }
    if visitor.is(&[Role::Administrator]) {
        place("Register", "/register");
    }
    out
}

/// The board of a station.
pub fn station_href(id: &str) -> String {
    format!("/stations/{id}")
}

/// A unit as it is named on a screen.
pub fn unit_ref(number: &str) -> UnitRef {
    UnitRef { number: number.to_owned(), href: format!("/units/{number}") }
}

/// People to choose from.
pub fn member_options(people: &[Person], chosen: Option<&str>) -> Vec<MemberOption> {
    people
        .iter()
        .map(|p| MemberOption {
            id: p.member.clone(),
            name: p.name.clone(),
            selected: chosen == Some(p.member.as_str()),
        })
        .collect()
}

/// A standing on a screen.
pub fn standing(s: &Standing) -> view::Standing {
    if !s.proved() {
        return view::Standing::NothingAgainst;
    }
    state(s.state)
}

/// A unit's state on a screen.
pub fn state(s: State) -> view::Standing {
    match s {
        State::Retired => view::Standing::Retired,
        State::Held => view::Standing::Held,
        State::OutOfService => view::Standing::OutOfService,
        State::PutRight => view::Standing::PutRight,
        State::CheckDue => view::Standing::CheckDue,
        State::InService => view::Standing::InService,
    }
}

/// A finding's consequence on a screen.
pub fn step_state(f: &Finding) -> StepState {
    match f.consequence {
        Consequence::OutOfService => StepState::OutOfService,
        Consequence::PutRight if f.settled => StepState::Remark,
        Consequence::PutRight => StepState::PutRight,
        Consequence::Remark => StepState::Remark,
    }
}

/// A moment as a crew reads it: `06:58` today, `yesterday 19:10`, `26 Nov 07:12`, and with the
/// year where that is another one.
pub fn when(clock: &ShiftClock, t: Millis, now: Millis) -> String {
    let (at, today) = (clock.local(t), clock.local(now));
    let days = (today.date_naive() - at.date_naive()).num_days();
    match days {
        0 => at.format("%H:%M").to_string(),
        1 => at.format("yesterday %H:%M").to_string(),
        -1 => at.format("tomorrow %H:%M").to_string(),
        _ if at.format("%Y").to_string() == today.format("%Y").to_string() => {
            at.format("%-d %b %H:%M").to_string()
        }
        _ => at.format("%-d %b %Y %H:%M").to_string(),
    }
}

/// A day: `26 Nov`.
pub fn day(clock: &ShiftClock, t: Millis) -> String {
    clock.local(t).format("%-d %b").to_string()
}

/// How long ago, in one word and a number: `2 h`, `3 days`.
pub fn age(from: Millis, now: Millis) -> String {
    let minutes = (now - from).max(0) / 60_000;
    match minutes {
        0..=59 => format!("{minutes} min"),
        60..=2879 => format!("{} h", minutes / 60),
        _ => format!("{} days", minutes / 1440),
    }
}

/// What the button says that leads to the next check of a unit, which is not always the same check.
pub fn start_words(s: &Standing, cadence: Cadence) -> &'static str {
    match s.asks_for(cadence) {
        Purpose::AfterUse => "Start after-use check",
        Purpose::Periodic => "Start periodic check",
        _ => "Start check",
    }
}

/// A ground in a sentence that begins like one.
pub fn ground_words(g: &Ground) -> String {
    let title = g.raise.kind.terms().title;
    match g.raise.kind {
        Kind::Contaminated => format!(
            "{}. Bag it, keep it out of the cab, and clean it before anybody inspects it",
            capital(g.raise.say.trim_end_matches('.'))
        ),
        Kind::Finding
        | Kind::PutRight
        | Kind::AnotherItem
        | Kind::Contested
        | Kind::CheckDue
        | Kind::CheckAgain
        | Kind::Used
        | Kind::Misread
        | Kind::Soiled
        | Kind::NotAccepted
        | Kind::Overdue
        | Kind::NotToBeFilled
        | Kind::Lapsed
        | Kind::PastLife
        | Kind::BadAir
        | Kind::FittedOut
        | Kind::StopUsing
        | Kind::InspectBy
        | Kind::BeenAway => capital(&g.raise.say),
        _ => format!("{title}: {}", g.raise.say),
    }
}

/// The grounds of a standing in sentences, each thing said once: a broken-off part and the check
/// that it belongs to raise the same finding twice.
pub fn grounds_words<'a>(grounds: impl IntoIterator<Item = &'a Ground>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for g in grounds {
        let words = format!("{}.", ground_words(g).trim_end_matches('.'));
        if !out.contains(&words) {
            out.push(words);
        }
    }
    out
}

/// With its first letter large.
pub fn capital(s: &str) -> String {
    let mut chars = s.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// When a unit was checked, and by when it is due.
pub fn checked_words(fleet: &Fleet, s: &Standing) -> (Option<String>, Option<String>) {
    let clock = &fleet.department.clock;
    let checked = s.last_check.as_ref().map(|c| when(clock, c.at, fleet.now));
    let due = s.until.filter(|u| *u > fleet.now).map(|u| when(clock, u, fleet.now));
    (checked, due)
}

/// The same as a sentence. What is not in service has no use for the time until which its last
/// good check would count.
pub fn checked_sentence(fleet: &Fleet, s: &Standing) -> String {
    match (checked_words(fleet, s), s.state) {
        ((Some(checked), Some(due)), State::InService) => format!("Checked {checked}, due by {due}"),
        ((Some(checked), _), _) => format!("Last good check {checked}"),
        ((None, _), _) => "No good check yet".to_owned(),
    }
}

/// What a strip needs to know of a profile: the marks on its scale.
#[derive(Debug, Clone)]
pub struct Scale {
    unit: airmuster_domain::quantity::PressureUnit,
    rated: u32,
    recharge: u32,
    alarm: u32,
    limit: Option<u32>,
}

impl Scale {
    /// The marks of a profile in a rule table.
    pub fn of(table: &Table, profile: &Profile) -> Self {
        let rated = profile.rated;
        let unit = rated.unit();
        let whole = |l: Limit| whole(l.amount(rated).thousandths_of(unit));
        let mut recharge = 0;
        let mut limit = None;
        for step in &table.steps {
            match &step.kind {
                StepKind::Reading { above: Some(l), .. } => recharge = whole(*l),
                StepKind::Pair { largest } => {
                    limit = largest.iter().min_by_key(|l| l.amount(rated)).map(|l| whole(*l));
                }
                _ => {}
            }
        }
        let alarm = table.alarms.get(&profile.alarm).map_or(0, |a| whole(a.at_least));
        let rated = self::whole(rated.amount().thousandths_of(unit));
        Self { unit, rated, recharge, alarm, limit }
    }

    /// A pressure on this scale.
    pub fn place(&self, p: Pressure) -> u32 {
        whole(p.amount().thousandths_of(self.unit))
    }

    /// A strip with nothing read.
    pub fn empty(&self, size: Size) -> Strip {
        Strip {
            size,
            unit: self.unit.symbol().to_owned(),
            rated: self.rated,
            recharge: self.recharge,
            alarm: self.alarm,
            limit: self.limit,
            ..Strip::default()
        }
    }

    /// The strip of a check.
    pub fn strip(&self, size: Size, check: Option<&CheckRow>) -> Strip {
        let mut strip = self.empty(size);
        if let Some(c) = check {
            strip.reading = c.last_pressure().map(|p| self.place(p));
            strip.other = c.gauges.map(|(_, b)| self.place(b));
            strip.tripped = if size == Size::Stack { c.trip.map(|p| self.place(p)) } else { None };
        }
        strip
    }
}

fn whole(thousandths: i64) -> u32 {
    u32::try_from((thousandths + 500) / 1000).unwrap_or(0)
}

/// The thin strip of a unit.
pub fn thin(fleet: &Fleet, unit: &UnitFacts) -> Option<Strip> {
    let table = fleet.table.as_ref()?;
    let profile = table.profiles.get(&unit.row.profile)?;
    Some(Scale::of(table, profile).strip(Size::Thin, unit.last_known()))
}

/// Strips one under the other, oldest first, from checks newest first.
pub fn stack(scale: &Scale, clock: &ShiftClock, checks: &[CheckRow]) -> Vec<StackRow> {
    checks
        .iter()
        .rev()
        .filter(|c| c.last_pressure().is_some())
        .map(|c| {
            let strip = scale.strip(Size::Stack, Some(c));
            let mut figures = strip.read();
            if let (Some(a), Some(b)) = (strip.reading, strip.other) {
                figures = format!("{figures} / {} · {} apart", view::strip::grouped(b), a.abs_diff(b));
            }
            if let Some(t) = strip.tripped {
                figures = format!("{figures} · alarm {}", view::strip::grouped(t));
            }
            StackRow { when: day(clock, c.at), strip, figures }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_said_the_way_a_crew_says_it() {
        let clock = ShiftClock::default();
        let now = 1_795_676_640_000; // 2026-11-26 07:04 UTC, by `date -u -d @1795676640`
        let hour = 3_600_000;
        assert_eq!(when(&clock, now, now), "07:04");
        assert_eq!(when(&clock, now - 12 * hour, now), "yesterday 19:04");
        assert_eq!(when(&clock, now - 48 * hour, now), "24 Nov 07:04");
        assert_eq!(when(&clock, now - 365 * 24 * hour, now), "26 Nov 2025 07:04");
        assert_eq!(
            (age(now - 90_000, now), age(now - 49 * hour, now)),
            ("1 min".to_owned(), "2 days".to_owned())
        );
    }
}
