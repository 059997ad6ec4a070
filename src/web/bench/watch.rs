//! The watch list: what will fail a check, and about when.

use airmuster_domain::Millis;
use airmuster_domain::drift::{Measure, Trend};
use airmuster_domain::shift::ShiftClock;
use axum::extract::State;

use crate::report::chart::{self, figure};
use crate::service::drift::watch_list;
use crate::service::fleet::Fleet;
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::{page, standing, unit_ref};
use crate::web::serving::App;
use crate::web::view::watch::{TrendView, WatchList, WatchRow};

/// `GET /watch`.
pub async fn show_list(State(app): State<App>, visitor: Visitor) -> Result<Html<WatchList>, WebError> {
    let fleet = Fleet::load(&app.store, app.clock.now()).await?;
    let rows = watch_list(&app.store, &fleet)
        .await?
        .into_iter()
        .filter_map(|w| {
            let facts = fleet.units.get(&w.unit)?;
            Some(WatchRow {
                unit: unit_ref(&w.unit),
                place: fleet.place_words(&facts.row),
                standing: standing(&facts.standing),
                date: date(&fleet.department.clock, w.crossing.at),
                past: w.crossing.at <= fleet.now,
                trend: view(&w.trend, &fleet.department.clock, fleet.now),
            })
        })
        .collect();
    Ok(Html(WatchList { page: page(&app, &visitor, "Watch list").await?, rows }))
}

fn date(clock: &ShiftClock, at: Millis) -> String {
    clock.local(at).format("%-d %b %Y").to_string()
}

/// A trend with its chart, and its numbers in words.
pub fn view(trend: &Trend, clock: &ShiftClock, now: Millis) -> TrendView {
    let unit = match trend.measure {
        Measure::Loss => format!("{} a day", trend.unit.symbol()),
        Measure::Disagreement | Measure::TripPoint => trend.unit.symbol().to_owned(),
    };
    let limits = match (trend.measure, trend.limits) {
        (Measure::Disagreement, (_, Some(most))) => format!("limit {} {unit} either way", figure(most, 0)),
        (_, (Some(least), Some(most))) => {
            format!("limits {} and {} {unit}", figure(least, 0), figure(most, 0))
        }
        (_, (Some(only), None) | (None, Some(only))) => format!("limit {} {unit}", figure(only, 0)),
        (_, (None, None)) => String::new(),
    };
    let day = |at: Millis| clock.local(at).format("%-d %b").to_string();
    let first = trend.points.first().map(|p| day(p.0)).unwrap_or_default();
    let count = trend.points.len();
    let stands = match trend.points.last().and_then(|p| trend.line_at(p.0)) {
        Some(line) => format!("Stands at {} {unit}; {limits}.", figure(line, 0)),
        None => format!("{count} readings so far, too few for a line; {limits}."),
    };
    let slope = trend.fit.map(|f| {
        let month = |slope: f64| figure(slope * 30.0, 1);
        let interval = format!("95 % interval {} to {}", month(f.low), month(f.high));
        let drifts = if f.is_sloped() { "" } else { ": no drift that these readings show" };
        format!(
            "{} {unit} in 30 days ({interval}), from {count} readings since {first}{drifts}.",
            month(f.slope)
        )
    });
    let reaches = trend.crossing.map(|c| {
        let (from, to) = c.between;
        if c.at <= now {
            format!("The line passed {} {unit} about {}.", figure(c.limit, 0), date(clock, c.at))
        } else if c.at > now.saturating_add(10 * 365 * 86_400_000) {
            "It would take more than ten years to the limit.".to_owned()
        } else {
            format!(
                "Going on like this it reaches {} {unit} about {}, between {} and {}.",
                figure(c.limit, 0),
                date(clock, c.at),
                date(clock, from),
                date(clock, to)
            )
        }
    });
    TrendView {
        title: trend.measure.words().to_owned(),
        chart: chart::trend(trend, now, day),
        says: [Some(stands), slope, reaches].into_iter().flatten().collect(),
    }
}
