//! One client's connection, and what goes wrong on it.

use std::io::{ErrorKind, Result};
use std::sync::Arc;
use std::time::Duration;

use rand::Rng as _;
use rand::rngs::StdRng;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::sync::watch;

use crate::proxy::Shared;
use crate::wire::{Body, Message, Reader};
use crate::{Mode, Rule};

/// A slow upload comes in this many pieces.
const PIECES: usize = 20;

/// How a connection goes on after a request.
enum Then {
    Next,
    End,
    Reset,
}

pub(crate) struct Link {
    shared: Arc<Shared>,
    rules: watch::Receiver<Rule>,
    rng: StdRng,
    client: Reader<TcpStream>,
    /// Begun with the first request that goes on, so that what is swallowed here never touches the server.
    server: Option<Reader<TcpStream>>,
}

impl Link {
    pub(crate) fn new(
        shared: Arc<Shared>,
        rules: watch::Receiver<Rule>,
        rng: StdRng,
        client: TcpStream,
    ) -> Self {
        // Where a reply is cut must not depend on how the kernel gathers small writes.
        let _ = client.set_nodelay(true);
        Self { shared, rules, rng, client: Reader::new(client), server: None }
    }

    pub(crate) async fn run(mut self) {
        loop {
            let server = &mut self.server;
            let request = tokio::select! {
                request = self.client.request() => request,
                () = async {
                    match server {
                        Some(server) => server.ended().await,
                        None => std::future::pending().await,
                    }
                } => return self.end().await,
                () = refused(&mut self.rules) => return self.reset(),
            };
            let Ok(Some(request)) = request else { return };
            match self.pass_on(&request).await {
                Ok(Then::Next) if !request.head.last => {}
                Ok(Then::Reset) => return self.reset(),
                Ok(_) | Err(_) => return self.end().await,
            }
        }
    }

    async fn end(&mut self) {
        let _ = self.client.get_mut().shutdown().await;
    }

    fn reset(&mut self) {
        let _ = self.client.get_mut().set_zero_linger();
    }

    async fn pass_on(&mut self, request: &Message) -> Result<Then> {
        let (mode, slow) = self.shared.decide(&request.head.target, &mut self.rng);
        match mode {
            Mode::Pass => self.relay(request).await,
            Mode::Refuse => Ok(Then::Reset),
            Mode::Blackhole => {
                let mut swallowed = [0; 4096];
                tokio::select! {
                    () = async { while self.client.get_mut().read(&mut swallowed).await.is_ok_and(|n| n > 0) {} } => {}
                    () = refused(&mut self.rules) => {}
                }
                Ok(Then::Reset)
            }
            Mode::CutBeforeReply => {
                self.exchange(request, None).await?;
                Ok(Then::End)
            }
            Mode::CutInsideReply => {
                let reply = self.exchange(request, None).await?.bytes();
                let cut = self.rng.random_range(1..reply.len());
                self.client.get_mut().write_all(&reply[..cut]).await?;
                Ok(Then::End)
            }
            Mode::Delay => {
                tokio::time::sleep(self.part_of(slow)).await;
                let reply = self.exchange(request, None).await?;
                tokio::time::sleep(self.part_of(slow)).await;
                self.answer(&reply).await
            }
            Mode::DeliverAgain => {
                let mut other = Reader::new(self.connect().await?);
                let shared = Arc::clone(&self.shared);
                let (one, two) = if self.rng.random() {
                    tokio::join!(self.exchange(request, None), exchange(&shared, &mut other, request, None))
                } else {
                    let one = self.exchange(request, None).await;
                    (one, exchange(&shared, &mut other, request, None).await)
                };
                let reply = if self.rng.random() { one } else { two };
                self.answer(&reply?).await
            }
            Mode::SlowUpload => {
                let reply = self.exchange(request, Some(slow)).await?;
                self.answer(&reply).await
            }
            Mode::Instead(fake) => {
                self.client.get_mut().write_all(&fake.reply(&request.body)).await?;
                Ok(Then::Next)
            }
        }
    }

    fn part_of(&mut self, slow: Duration) -> Duration {
        slow.mul_f64(self.rng.random())
    }

    async fn connect(&self) -> Result<TcpStream> {
        let server = TcpStream::connect(self.shared.to).await?;
        server.set_nodelay(true)?;
        Ok(server)
    }

    async fn server(&mut self) -> Result<(&Shared, &mut Reader<TcpStream>)> {
        if self.server.is_none() {
            self.server = Some(Reader::new(self.connect().await?));
        }
        let server = self.server.as_mut().ok_or(ErrorKind::NotConnected)?;
        Ok((&self.shared, server))
    }

    async fn exchange(&mut self, request: &Message, slow: Option<Duration>) -> Result<Message> {
        let (shared, server) = self.server().await?;
        exchange(shared, server, request, slow).await
    }

    async fn answer(&mut self, reply: &Message) -> Result<Then> {
        self.client.get_mut().write_all(&reply.bytes()).await?;
        Ok(if reply.head.last { Then::End } else { Then::Next })
    }

    /// Passes a reply on as it comes, so that one without an end can be followed.
    async fn relay(&mut self, request: &Message) -> Result<Then> {
        let (shared, server) = self.server().await?;
        send(shared, server, request, None).await?;
        let Some(server) = &mut self.server else { return Ok(Then::End) };
        loop {
            let Some(head) = server.head(false).await? else { return Ok(Then::End) };
            self.client.get_mut().write_all(&head.bytes).await?;
            let mut body = Body::of_reply(&head, &request.head.method);
            let ends = head.last || body.ends_the_connection();
            while let Some(piece) = server.piece(&mut body).await? {
                self.client.get_mut().write_all(&piece).await?;
            }
            if head.status >= 200 {
                self.shared.count(|c| c.replies += 1);
                return Ok(if ends { Then::End } else { Then::Next });
            }
        }
    }
}

async fn refused(rules: &mut watch::Receiver<Rule>) {
    if rules.wait_for(Rule::refuses_all).await.is_err() {
        std::future::pending::<()>().await;
    }
}

async fn send(
    shared: &Shared,
    server: &mut Reader<TcpStream>,
    request: &Message,
    slow: Option<Duration>,
) -> Result<()> {
    let bytes = request.bytes();
    match slow {
        None => server.get_mut().write_all(&bytes).await?,
        Some(slow) => {
            for piece in bytes.chunks(bytes.len().div_ceil(PIECES)) {
                server.get_mut().write_all(piece).await?;
                tokio::time::sleep(slow.div_f64(20.0)).await;
            }
        }
    }
    let path = request.head.target.split('?').next().unwrap_or_default();
    let to = format!("{} {path}", request.head.method);
    shared.count(|c| *c.reached.entry(to).or_default() += 1);
    Ok(())
}

async fn exchange(
    shared: &Shared,
    server: &mut Reader<TcpStream>,
    request: &Message,
    slow: Option<Duration>,
) -> Result<Message> {
    send(shared, server, request, slow).await?;
    let reply = server.reply(&request.head.method).await?;
    shared.count(|c| c.replies += 1);
    Ok(reply)
}
