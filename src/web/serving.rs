//! Listening, and stopping without losing anything.

use std::net::SocketAddr;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::task::JoinHandle;

use super::routes::router;
use crate::clock::Clock;
use crate::service::Intake;
use crate::service::pin::{Cost, Pins};
use crate::store::Store;

/// How long open requests may take after the server was asked to stop.
const LAST_REQUESTS: Duration = Duration::from_secs(10);

/// What every handler can ask for.
#[derive(Clone, axum::extract::FromRef)]
pub struct App {
    /// The database, for reading.
    pub store: Store,
    /// The way in.
    pub intake: Intake,
    /// Times and ids.
    pub clock: Clock,
    /// PINs.
    pub pins: Pins,
}

impl App {
    /// Starts the writer. The handle ends when every clone of the app is dropped and all is
    /// written.
    fn start(store: Store, clock: Clock, cost: Cost) -> (Self, JoinHandle<()>) {
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let pins = Pins::new(store.clone(), clock.clone(), cost);
        (Self { store, intake, clock, pins }, writer)
    }
}

/// The whole web side without a listener, and its way in: for tests in process.
pub fn app_router(store: Store, clock: Clock, cost: Cost) -> (axum::Router, Intake) {
    let (app, _) = App::start(store, clock, cost);
    (router(&app), app.intake)
}

/// A server that listens.
pub struct Serving {
    listener: TcpListener,
    address: SocketAddr,
    app: App,
    writer: JoinHandle<()>,
}

impl Serving {
    /// Listens on an address and starts the writer.
    ///
    /// # Errors
    /// When the address cannot be listened on.
    pub async fn bind(store: Store, clock: Clock, cost: Cost, listen: SocketAddr) -> std::io::Result<Self> {
        let listener = TcpListener::bind(listen).await.map_err(|e| {
            std::io::Error::new(
                e.kind(),
                format!("{listen} cannot be listened on ({e}); choose another with --listen"),
            )
        })?;
        let address = listener.local_addr()?;
        let (app, writer) = App::start(store, clock, cost);
        Ok(Self { listener, address, app, writer })
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves until SIGINT or SIGTERM, finishes what was begun, and closes the database.
    ///
    /// # Errors
    /// When serving fails.
    pub async fn run(self) -> std::io::Result<()> {
        let store = self.app.store.clone();
        let router = router(&self.app);
        drop(self.app);
        let (asked, stop) = tokio::sync::watch::channel(());
        let mut late = asked.subscribe();
        let serve = axum::serve(self.listener, router).with_graceful_shutdown(async move {
            asked_to_stop().await;
            tracing::info!("stopping: open requests are finished first");
            let _ = asked.send(());
        });
        drop(stop);
        tokio::select! {
            served = serve => served?,
            () = async { let _ = late.changed().await; tokio::time::sleep(LAST_REQUESTS).await } => {
                tracing::warn!("some requests did not finish in time");
            }
        }
        // The router held the last way in; the writer ends when all is written.
        let _ = tokio::time::timeout(LAST_REQUESTS, self.writer).await;
        store.close().await;
        Ok(())
    }
}

async fn asked_to_stop() {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut terminate), Ok(mut interrupt)) =
        (signal(SignalKind::terminate()), signal(SignalKind::interrupt()))
    else {
        tracing::error!("signals cannot be heard; stop the program with SIGKILL");
        return std::future::pending().await;
    };
    tokio::select! { _ = terminate.recv() => {}, _ = interrupt.recv() => {} }
}
