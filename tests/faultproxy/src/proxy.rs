//! The proxy: listening, and what it has seen.

use std::collections::BTreeMap;
use std::io::{Error, ErrorKind, Result};
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use rand::rngs::StdRng;
use rand::{Rng, SeedableRng as _};
use serde_json::{Value, json};
use tokio::net::{TcpListener, TcpSocket};
use tokio::sync::watch;
use tokio::task::JoinSet;

use crate::link::Link;
use crate::{Mode, Rule};

/// What went through.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Counts {
    /// Connections taken.
    pub connections: u64,
    /// Requests taken in full, by what became of them.
    pub requests: BTreeMap<Mode, u64>,
    /// Requests that reached the server in full, by method and path.
    pub reached: BTreeMap<String, u64>,
    /// Replies that the server gave in full.
    pub replies: u64,
}

impl Counts {
    /// As the control channel gives it.
    pub fn to_json(&self) -> Value {
        let requests: BTreeMap<_, _> = self.requests.iter().map(|(mode, n)| (mode.id(), n)).collect();
        json!({
            "connections": self.connections,
            "requests": requests,
            "reached": self.reached,
            "replies": self.replies,
        })
    }

    /// Requests that reached the server in full, of this method under this path.
    pub fn reached(&self, method: &str, path: &str) -> u64 {
        let under = format!("{method} {path}");
        self.reached.iter().filter(|(to, _)| to.starts_with(&under)).map(|(_, n)| n).sum()
    }
}

/// What all connections share.
pub(crate) struct Shared {
    pub(crate) to: SocketAddr,
    rule: watch::Sender<Rule>,
    counts: Mutex<Counts>,
}

impl Shared {
    pub(crate) fn count(&self, what: impl FnOnce(&mut Counts)) {
        what(&mut self.counts.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// Draws what becomes of a request, and how long it may take.
    pub(crate) fn decide(&self, target: &str, rng: &mut impl Rng) -> (Mode, Duration) {
        let mut decided = (Mode::Pass, Duration::ZERO);
        // Nobody needs to hear of this change.
        self.rule.send_if_modified(|rule| {
            decided.1 = rule.slow;
            if rule.concerns(target) && rule.times != Some(0) {
                decided.0 = rule.draw(rng);
                rule.times = rule.times.map(|times| times - 1);
            }
            false
        });
        self.count(|c| *c.requests.entry(decided.0).or_default() += 1);
        decided
    }
}

/// A proxy that runs until it is dropped.
pub struct Proxy {
    address: SocketAddr,
    shared: Arc<Shared>,
    listening: watch::Receiver<bool>,
    task: tokio::task::JoinHandle<()>,
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Proxy {
    /// Listens on a free port of this machine and passes everything on to `to`.
    ///
    /// # Errors
    /// When `to` is not on this machine, or no port can be had.
    pub async fn start(to: SocketAddr, seed: u64) -> Result<Self> {
        if !to.ip().is_loopback() {
            return Err(Error::new(ErrorKind::InvalidInput, format!("{to} is not on this machine")));
        }
        // Bound and never listening: nobody else gets the port while nobody listens on it.
        let keeper = socket((Ipv4Addr::LOCALHOST, 0).into())?;
        let address = keeper.local_addr()?;
        let (rule, rules) = watch::channel(Rule::from(Mode::Pass));
        let (heard, mut listening) = watch::channel(false);
        let shared = Arc::new(Shared { to, rule, counts: Mutex::default() });
        let task = tokio::spawn({
            let shared = Arc::clone(&shared);
            async move {
                let _keeper = keeper;
                accept(&shared, address, rules, heard, seed).await;
            }
        });
        let _ = listening.wait_for(|l| *l).await;
        Ok(Self { address, shared, listening, task })
    }

    /// Where clients connect.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// From now on, this goes wrong. Holds for every request that begins after it returns.
    pub async fn set(&self, rule: impl Into<Rule>) {
        let rule = rule.into();
        let listens = !rule.refuses_all();
        self.shared.rule.send_replace(rule);
        let _ = self.listening.clone().wait_for(|l| *l == listens).await;
    }

    /// What went through so far.
    pub fn counts(&self) -> Counts {
        self.shared.counts.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Counts from nothing again.
    pub fn forget(&self) {
        self.shared.count(|c| *c = Counts::default());
    }
}

fn socket(address: SocketAddr) -> Result<TcpSocket> {
    let socket = TcpSocket::new_v4()?;
    socket.set_reuseaddr(true)?;
    socket.bind(address)?;
    Ok(socket)
}

async fn accept(
    shared: &Arc<Shared>,
    address: SocketAddr,
    mut rules: watch::Receiver<Rule>,
    heard: watch::Sender<bool>,
    seed: u64,
) {
    let mut listener: Option<TcpListener> = None;
    let mut links = JoinSet::new();
    loop {
        let refuses = rules.borrow_and_update().refuses_all();
        if refuses {
            listener = None;
        } else if listener.is_none() {
            listener = socket(address).and_then(|s| s.listen(1024)).ok();
        }
        heard.send_if_modified(|l| std::mem::replace(l, listener.is_some()) != listener.is_some());
        tokio::select! {
            accepted = async {
                match &listener {
                    Some(listener) => listener.accept().await,
                    // Nothing to do until the rule changes, or until the port can be had again.
                    None if refuses => std::future::pending().await,
                    None => {
                        tokio::time::sleep(Duration::from_millis(20)).await;
                        Err(ErrorKind::AddrInUse.into())
                    }
                }
            } => {
                if let Ok((client, _)) = accepted {
                    let mut number = 0;
                    shared.count(|c| {
                        c.connections += 1;
                        number = c.connections;
                    });
                    // Of its own for each connection, so that it does not depend on the others.
                    let rng = StdRng::seed_from_u64(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(number));
                    links.spawn(Link::new(Arc::clone(shared), rules.clone(), rng, client).run());
                }
            }
            _ = rules.changed() => {}
            Some(_) = links.join_next() => {}
        }
    }
}
