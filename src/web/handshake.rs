//! Connections over TLS, as axum accepts them.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::serve::Listener;
use rustls::ServerConfig;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

/// How long a client may take to agree on a connection.
const SLOWEST: Duration = Duration::from_secs(10);

/// So many agree at once at most; more wait in the operating system's queue.
const MOST: usize = 256;

type Agreed = io::Result<(TlsStream<TcpStream>, SocketAddr)>;

/// Agrees with several clients at once, so that a slow one keeps nobody waiting.
pub struct TlsListener {
    listener: TcpListener,
    acceptor: TlsAcceptor,
    agreeing: JoinSet<Agreed>,
}

impl TlsListener {
    /// Over a listener for plain connections.
    pub fn new(listener: TcpListener, config: Arc<ServerConfig>) -> Self {
        Self { listener, acceptor: config.into(), agreeing: JoinSet::new() }
    }
}

impl Listener for TlsListener {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        loop {
            tokio::select! {
                // The listener's own accept waits out what it cannot help, such as too many open files.
                (stream, from) = Listener::accept(&mut self.listener), if self.agreeing.len() < MOST => {
                    let acceptor = self.acceptor.clone();
                    self.agreeing.spawn(async move {
                        Ok((timeout(SLOWEST, acceptor.accept(stream)).await??, from))
                    });
                }
                Some(agreed) = self.agreeing.join_next() => match agreed {
                    Ok(Ok(agreed)) => return agreed,
                    // A tablet without the authority, most often.
                    Ok(Err(e)) => tracing::debug!(error = %e, "a client did not agree on TLS"),
                    Err(e) => tracing::error!(error = %e, "a TLS connection panicked"),
                }
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}
