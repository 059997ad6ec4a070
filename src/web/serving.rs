//! Listening, and stopping without losing anything.

use std::net::SocketAddr;
use std::ops::Deref;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, header};
use axum::serve::Listener;
use axum::{Extension, Router};
use hyper::server::conn::http1::Builder;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use rustls::ServerConfig;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tower::Layer as _;

use super::auth::Peer;
use super::handshake::TlsListener;
use super::routes::router;
use super::shelf::Shelf;
use super::trust::{self, Authority};
use super::{layers, metrics};
use crate::clock::Clock;
use crate::service::Intake;
use crate::service::door::Door;
use crate::service::photos::Photos;
use crate::service::pin::{Cost, Pins};
use crate::service::ruling;
use crate::service::seal::SealKey;
use crate::service::sealed::Sealed;
use crate::service::tablets::Tablets;
use crate::store::{Store, StoreError};

/// How long open requests may take after the server was asked to stop.
const LAST_REQUESTS: Duration = Duration::from_secs(10);

/// How long a client may take to send the head of a request, however many bytes of it arrive in
/// between, and how long a connection may lie idle. A body and its answer have a limit of their own
/// (`layers`).
const SLOWEST_HEAD: Duration = Duration::from_secs(15);

/// How often it is looked whether a stated time has come.
const TIMED: Duration = Duration::from_secs(15);

/// What every handler can ask for. One handle on all of it: the layers and the handler of each request take a
/// copy, and a dozen counts up and down in each were more than a third of what a page from the shelf cost.
#[derive(Clone)]
pub struct App(Arc<Parts>);

impl Deref for App {
    type Target = Parts;

    fn deref(&self) -> &Parts {
        &self.0
    }
}

/// The parts of [`App`].
pub struct Parts {
    /// The database, for reading.
    pub store: Store,
    /// The way in.
    pub intake: Intake,
    /// Times and ids.
    pub clock: Clock,
    /// Members' PINs.
    pub pins: Pins,
    /// Where PINs are tried.
    pub door: Door,
    /// Sealed signatures.
    pub sealed: Sealed,
    /// Photographs.
    pub photos: Photos,
    /// What every page is to say.
    pub notice: Notice,
    /// Pages as they were last rendered.
    pub shelf: Shelf,
    /// Enrolling tablets.
    pub tablets: Tablets,
    /// Whether whoever comes may do what a tablet may: in the demo, and nowhere else.
    pub guests: bool,
    /// The secret word in the address of the calendar feed: a calendar program cannot sign in.
    pub feed: String,
    /// Where tablets find the server over TLS.
    pub address: Option<String>,
    /// Whether there is somebody who can sign in: once so, for good.
    begun: AtomicBool,
}

/// One sentence for every page, while there is something to say.
#[derive(Clone)]
pub struct Notice(Arc<dyn Fn() -> Option<String> + Send + Sync>);

impl Notice {
    /// Asks `say` anew for each page.
    pub fn new(say: impl Fn() -> Option<String> + Send + Sync + 'static) -> Self {
        Self(Arc::new(say))
    }

    /// Says what either has to say.
    fn and(self, other: Self) -> Self {
        Self::new(move || match (self.now(), other.now()) {
            (Some(a), Some(b)) => Some(format!("{a} {b}")),
            (a, b) => a.or(b),
        })
    }

    /// What there is to say now.
    pub fn now(&self) -> Option<String> {
        (self.0)()
    }
}

/// What serving over TLS needs. Where certificates come from is not the web's business.
pub struct Secure {
    /// How connections are answered.
    pub config: Arc<ServerConfig>,
    /// Where tablets find the server: `https://name:port`.
    pub address: String,
    /// The authority that tablets must install; with none, they know the certificate already.
    pub authority: Option<Authority>,
    /// Where to listen for plain http beside it.
    pub beside: Option<SocketAddr>,
    /// What there is to say about the certificate.
    pub notice: Notice,
}

impl Parts {
    /// Starts the writer. The handle ends when every clone of the app is dropped and all is
    /// written.
    fn start(store: Store, clock: Clock, cost: Cost, key: SealKey) -> (Self, JoinHandle<()>) {
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let pins = Pins::new(store.clone(), clock.clone(), cost);
        let door = Door::new(store.clone(), clock.clone(), pins.clone(), intake.clone());
        let feed = key.word("airmuster upkeep feed 1");
        // It has a way in of its own, so the writer ends after it.
        let (sealed, _) = Sealed::start(store.clone(), clock.clone(), intake.clone(), door.clone(), key);
        let photos = Photos::new(store.clone(), clock.clone());
        let tablets = Tablets::new(store.clone(), clock.clone(), intake.clone());
        let notice = Notice::new(|| None);
        (
            Self {
                store,
                intake,
                clock,
                pins,
                door,
                sealed,
                photos,
                notice,
                shelf: Shelf::default(),
                tablets,
                guests: false,
                feed,
                address: None,
                begun: AtomicBool::default(),
            },
            writer,
        )
    }

    /// Whether there is anybody who can sign in.
    pub async fn is_begun(&self) -> Result<bool, StoreError> {
        if !self.begun.load(Ordering::Relaxed) && self.store.has_somebody().await? {
            self.begun.store(true, Ordering::Relaxed);
        }
        Ok(self.begun.load(Ordering::Relaxed))
    }
}

/// The whole web side without a listener, and its way in: for tests in process.
pub fn app_router(store: Store, clock: Clock, cost: Cost) -> (Router, Intake) {
    let key = SealKey::new(&clock);
    let (parts, _) = Parts::start(store, clock, cost, key);
    let intake = parts.intake.clone();
    (router(&App(Arc::new(parts))), intake)
}

/// As [`app_router`], open to guests as the demo is.
pub fn demo_router(store: Store, clock: Clock, cost: Cost) -> (Router, Intake) {
    let key = SealKey::new(&clock);
    let (mut parts, _) = Parts::start(store, clock, cost, key);
    parts.guests = true;
    let intake = parts.intake.clone();
    (router(&App(Arc::new(parts))), intake)
}

/// A server that listens.
pub struct Serving {
    listener: TcpListener,
    address: SocketAddr,
    parts: Parts,
    writer: JoinHandle<()>,
    asked: watch::Receiver<bool>,
    secure: Option<Secure>,
    beside: Option<TcpListener>,
    metrics: Option<TcpListener>,
}

impl Serving {
    /// Listens on an address, and for the signals to stop, and starts the writer.
    ///
    /// # Errors
    /// When the address cannot be listened on.
    pub async fn bind(
        store: Store,
        clock: Clock,
        cost: Cost,
        key: SealKey,
        listen: SocketAddr,
    ) -> std::io::Result<Self> {
        let listener = listen_on(listen, "--listen").await?;
        let address = listener.local_addr()?;
        let asked = heed_signals()?;
        let (parts, writer) = Parts::start(store, clock, cost, key);
        Ok(Self { listener, address, parts, writer, asked, secure: None, beside: None, metrics: None })
    }

    /// Lets whoever comes do what a tablet may. Only the demo does.
    #[must_use]
    pub fn open_to_guests(mut self) -> Self {
        self.parts.guests = true;
        self
    }

    /// Serves over TLS, with plain http beside it if asked for.
    ///
    /// # Errors
    /// When the address for plain http cannot be listened on.
    pub async fn secured(mut self, secure: Secure) -> std::io::Result<Self> {
        if let Some(listen) = secure.beside {
            self.beside = Some(listen_on(listen, "--http-listen").await?);
        }
        self.parts.notice = secure.notice.clone();
        self.parts.address = Some(secure.address.clone());
        self.secure = Some(secure);
        Ok(self)
    }

    /// Serves `/metrics` on an address of its own.
    ///
    /// # Errors
    /// When the address cannot be listened on.
    pub async fn measured(mut self, listen: SocketAddr) -> std::io::Result<Self> {
        let listener = listen_on(listen, "--metrics-listen").await?;
        tracing::info!(address = %listener.local_addr()?, "figures are at /metrics");
        self.metrics = Some(listener);
        Ok(self)
    }

    /// Lets every page say something more, while there is something to say.
    #[must_use]
    pub fn noticed(mut self, notice: Notice) -> Self {
        self.parts.notice = self.parts.notice.and(notice);
        self
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where it listens for plain http beside TLS.
    pub fn beside(&self) -> Option<SocketAddr> {
        self.beside.as_ref().and_then(|l| l.local_addr().ok())
    }

    /// Serves until SIGINT or SIGTERM, finishes what was begun, and closes the database.
    ///
    /// # Errors
    /// When serving fails.
    pub async fn run(self) -> std::io::Result<()> {
        let app = App(Arc::new(self.parts));
        let store = app.store.clone();
        let pages = router(&app);
        let asked = self.asked;
        let figures = self.metrics.map(|listener| (listener, metrics::router(app.clone())));
        let timed = minutes(app.store.clone(), app.intake.clone(), app.clock.clone());
        drop(app);
        let third = asked.clone();
        let measure = async move {
            match figures {
                Some((listener, router)) => serve(listener, router, third).await,
                None => Ok(()),
            }
        };
        let (first, second) = (asked.clone(), asked.clone());
        let (secure, listener, beside) = (self.secure, self.listener, self.beside);
        let serve = async move {
            let Some(secure) = secure else { return serve(listener, pages, first).await };
            let pages = layers::over_tls(pages, secure.authority.is_none());
            let tls = serve(TlsListener::new(listener, secure.config), pages, first);
            match (beside, secure.authority) {
                (None, _) => tls.await,
                (Some(plain), authority) => {
                    let explain = match authority {
                        Some(authority) => trust::router(&authority, &secure.address),
                        None => trust::to_https(secure.address),
                    };
                    tokio::try_join!(tls, serve(plain, explain, second)).map(|_| ())
                }
            }
        };
        let serve = async move { tokio::try_join!(serve, measure).map(|_| ()) };
        tokio::select! {
            served = serve => served?,
            // Never ends by itself; what it had begun with the database is undone.
            () = timed => {}
            () = async { told(asked).await; tokio::time::sleep(LAST_REQUESTS).await } => {
                tracing::warn!("some requests did not finish in time");
            }
        }
        // The router held the last way in; the writer ends when all is written.
        let _ = tokio::time::timeout(LAST_REQUESTS, self.writer).await;
        store.close().await;
        Ok(())
    }
}

/// What happens at a stated time: rule tables come into force.
async fn minutes(store: Store, intake: Intake, clock: Clock) {
    loop {
        if let Err(e) = ruling::come_into_force(&store, &intake, &clock).await {
            tracing::error!(error = %e, "rule tables that are due could not be looked at");
        }
        tokio::time::sleep(TIMED).await;
    }
}

async fn listen_on(listen: SocketAddr, flag: &str) -> std::io::Result<TcpListener> {
    TcpListener::bind(listen).await.map_err(|e| {
        std::io::Error::new(
            e.kind(),
            format!("{listen} cannot be listened on ({e}); choose another with {flag}"),
        )
    })
}

/// Answers connections until it is asked to stop, and then finishes what was begun.
///
/// By hand, because axum's own loop gives a client all the time in the world for its headers.
async fn serve<L>(mut listener: L, router: Router, stop: watch::Receiver<bool>) -> std::io::Result<()>
where
    L: Listener<Addr = SocketAddr>,
{
    let mut server = Builder::new();
    server.timer(TokioTimer::new()).header_read_timeout(SLOWEST_HEAD);
    let open = GracefulShutdown::new();
    let mut stopped = std::pin::pin!(told(stop));
    loop {
        let (stream, from) = tokio::select! {
            accepted = listener.accept() => accepted,
            () = &mut stopped => break,
        };
        let answers = Extension(ConnectInfo(Peer::at(from))).layer(router.clone());
        let connection = server.serve_connection(TokioIo::new(stream), TowerToHyperService::new(answers));
        let connection = open.watch(connection);
        tokio::spawn(async move {
            if let Err(e) = connection.await {
                tracing::debug!(error = %e, "a connection ended early");
            }
        });
    }
    // Whoever comes from now on is turned away, and not kept waiting for nothing.
    drop(listener);
    open.shutdown().await;
    Ok(())
}

/// Waits until the server was asked to stop.
async fn told(mut stop: watch::Receiver<bool>) {
    if stop.wait_for(|stop| *stop).await.is_err() {
        // Whoever listened for the signal is gone; then nobody asks.
        std::future::pending::<()>().await;
    }
}

/// Hears SIGINT and SIGTERM from now on: whoever is told that the server is there may also ask it
/// to stop.
fn heed_signals() -> std::io::Result<watch::Receiver<bool>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut terminate, mut interrupt) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    let (ask, asked) = watch::channel(false);
    tokio::spawn(async move {
        tokio::select! { _ = terminate.recv() => {}, _ = interrupt.recv() => {} }
        tracing::info!("stopping: open requests are finished first");
        let _ = ask.send(true);
    });
    Ok(asked)
}

/// A page's whole address, which a QR code leads to: where tablets find the server, or else how whoever
/// asks has found it. None where that is not known.
pub fn own_address(app: &App, headers: &HeaderMap, path: &str) -> Option<String> {
    if let Some(address) = &app.address {
        return Some(format!("{address}{path}"));
    }
    let host = headers.get(header::HOST)?.to_str().ok()?;
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | ':' | '-' | '[' | ']');
    host.chars().all(fits).then(|| format!("http://{host}{path}"))
}
