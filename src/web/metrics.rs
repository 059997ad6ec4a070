//! Figures for a monitoring system, in the `OpenMetrics` text format, on an address of their own.

use airmuster_domain::standing::State as Holds;
use axum::Router;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::registry::Registry;

use super::error::WebError;
use super::serving::App;

/// Everything in the order worst first, so that a standing that no unit has is told as 0.
const STANDINGS: [Holds; 6] =
    [Holds::Retired, Holds::Held, Holds::OutOfService, Holds::PutRight, Holds::CheckDue, Holds::InService];

/// `GET /metrics` and nothing else.
pub fn router(app: App) -> Router {
    Router::new().route("/metrics", get(show)).with_state(app)
}

async fn show(State(app): State<App>) -> Result<Response, WebError> {
    let mut registry = Registry::with_prefix("airmuster");
    let mut gauge = |name: &str, help: &str, value: i64| {
        let gauge: Gauge = Gauge::default();
        gauge.set(value);
        registry.register(name, help, gauge);
    };
    let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    let head = app.store.head().await?;
    gauge("records", "Records in the logbook", head.seq);
    gauge("records_not_backed_up", "Records that are in no proved backup yet", head.seq - head.backed_up);
    gauge("tickets_open", "Tickets that are not closed", count(app.store.open_tickets().await?.len()));
    let attention = count(app.store.needing_attention().await?.len());
    gauge("records_needing_attention", "Records that cannot be judged here", attention);
    let unproven = count(app.store.unproven().await?.len());
    gauge("checks_unproven", "Checks whose signature nothing has proven yet", unproven);
    let missing = count(app.store.missteps().await?.len());
    gauge("tablet_gaps", "Records of tablets that do not follow the one before", missing);
    let department = app.store.department().await?.clock;
    let standings = app.store.unit_standings(&department, app.clock.now()).await?;
    let units = Family::<Vec<(&'static str, &'static str)>, Gauge>::default();
    for state in STANDINGS {
        let of = standings.values().filter(|s| s.state == state).count();
        units.get_or_create(&vec![("standing", state.words())]).set(count(of));
    }
    registry.register("units", "Units by standing", units);
    let named = || Family::<Vec<(&'static str, String)>, Gauge>::default();
    let (unsent, oldest, silence) = (named(), named(), named());
    let now = app.clock.now();
    let seconds = |since: i64| (now - since).max(0) / 1000;
    for tablet in app.store.tablets().await?.into_iter().filter(|t| t.revoked_at.is_none()) {
        let label = vec![("tablet", tablet.id.clone()), ("name", tablet.name.clone())];
        if let Some(holding) = &tablet.holding {
            unsent.get_or_create(&label).set(holding.count);
            oldest.get_or_create(&label).set(holding.oldest_at.map_or(0, seconds));
        }
        if let Some(at) = tablet.seen_at {
            silence.get_or_create(&label).set(seconds(at));
        }
    }
    registry.register("tablet_unsent_records", "Records that a tablet holds, by its own word", unsent);
    registry.register("tablet_unsent_age_seconds", "How old the oldest of them is", oldest);
    registry.register("tablet_heard_age_seconds", "How long ago a tablet was heard", silence);
    let mut text = String::new();
    encode(&mut text, &registry).map_err(|e| {
        tracing::error!(error = %e, "the figures could not be written");
        WebError::Internal
    })?;
    Ok(([(header::CONTENT_TYPE, "application/openmetrics-text; version=1.0.0; charset=utf-8")], text)
        .into_response())
}
