//! A closed loop of HTTP requests over kept connections, each asked after the answer to the one before.

use std::error::Error;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use http_body_util::{BodyExt as _, Full};
use hyper::body::Bytes;
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper::{Method, Request, StatusCode, header};
use hyper_util::rt::TokioIo;
use tokio::net::TcpStream;

pub type Failed = Box<dyn Error + Send + Sync>;

/// An answer.
pub struct Answer {
    pub status: StatusCode,
    pub headers: hyper::HeaderMap,
    pub body: Bytes,
}

/// One connection to a server.
pub struct Connection {
    send: SendRequest<Full<Bytes>>,
    host: String,
    cookie: Option<String>,
}

impl Connection {
    pub async fn open(to: SocketAddr, cookie: Option<String>) -> Result<Self, Failed> {
        let stream = TcpStream::connect(to).await?;
        stream.set_nodelay(true)?;
        let (send, connection) = handshake(TokioIo::new(stream)).await?;
        tokio::spawn(connection);
        Ok(Self { send, host: to.to_string(), cookie })
    }

    pub async fn ask(
        &mut self,
        method: Method,
        path: &str,
        kind: &str,
        body: Bytes,
    ) -> Result<Answer, Failed> {
        self.send.ready().await?;
        let mut request = Request::builder().method(method).uri(path).header(header::HOST, &self.host);
        if let Some(cookie) = &self.cookie {
            request = request.header(header::COOKIE, cookie);
        }
        if !body.is_empty() {
            request = request.header(header::CONTENT_TYPE, kind);
        }
        let answer = self.send.send_request(request.body(Full::new(body))?).await?;
        let (status, headers) = (answer.status(), answer.headers().clone());
        Ok(Answer { status, headers, body: answer.into_body().collect().await?.to_bytes() })
    }

    pub async fn get(&mut self, path: &str) -> Result<Answer, Failed> {
        self.ask(Method::GET, path, "", Bytes::new()).await
    }

    /// Signs in and gives the cookie of the session.
    pub async fn sign_in(&mut self, member: &str, pin: &str) -> Result<String, Failed> {
        let body = Bytes::from(format!("member={member}&pin={pin}"));
        let answer = self.ask(Method::POST, "/sign-in", "application/x-www-form-urlencoded", body).await?;
        let mut cookies = answer.headers.get_all(header::SET_COOKIE).iter().filter_map(|v| v.to_str().ok());
        let cookie = cookies.find_map(|c| c.split(';').next());
        cookie
            .map(str::to_owned)
            .ok_or_else(|| format!("{member} could not sign in: {}", answer.status).into())
    }
}

/// The cookies of a session on the tablet of this number: each has a name of its own.
pub fn on_tablet(session: &str, nth: usize) -> String {
    format!("{session}; airmuster_tablet=tablet-{nth}")
}

/// What a load has come to.
#[derive(Debug, Clone, Copy)]
pub struct Load {
    /// Answers a second.
    pub rate: f64,
    /// The time that half of them took at most.
    pub half: Duration,
    /// The time that 99 of 100 took at most.
    pub p99: Duration,
}

/// So many connections, each asking for `path` as long as `lasts`.
pub async fn pages(
    to: SocketAddr,
    cookie: Option<&str>,
    path: &str,
    many: usize,
    lasts: Duration,
) -> Result<Load, Failed> {
    let path: Arc<str> = path.into();
    load(to, cookie, many, Lasts { all: lasts, pause: Duration::ZERO }, move |c, _, _| {
        let path = Arc::clone(&path);
        Box::pin(async move { c.get(&path).await })
    })
    .await
}

/// How long it all lasts, and how long a connection waits before it asks again.
#[derive(Clone, Copy)]
pub struct Lasts {
    pub all: Duration,
    pub pause: Duration,
}

type Asked<'a> = std::pin::Pin<Box<dyn Future<Output = Result<Answer, Failed>> + Send + 'a>>;

/// As [`pages`], with whatever each connection asks for: it is told its own number and how often it has asked.
pub async fn load<F>(
    to: SocketAddr,
    cookie: Option<&str>,
    many: usize,
    lasts: Lasts,
    ask: F,
) -> Result<Load, Failed>
where
    F: for<'a> Fn(&'a mut Connection, usize, u64) -> Asked<'a> + Clone + Send + Sync + 'static,
{
    let until = Instant::now() + lasts.all;
    let mut asking = Vec::with_capacity(many);
    for nth in 0..many {
        let (cookie, ask) = (cookie.map(|c| on_tablet(c, nth)), ask.clone());
        asking.push(tokio::spawn(async move {
            let mut connection = Connection::open(to, cookie).await?;
            let mut took = Vec::new();
            // Not all in the same moment.
            let share = u32::try_from(nth).unwrap_or(0) % 50;
            tokio::time::sleep(lasts.pause * share / 50).await;
            while Instant::now() < until {
                let began = Instant::now();
                let answer = ask(&mut connection, nth, u64::try_from(took.len()).unwrap_or(0)).await?;
                if answer.status != StatusCode::OK {
                    return Err(format!(
                        "answered {}: {}",
                        answer.status,
                        String::from_utf8_lossy(&answer.body)
                    )
                    .into());
                }
                took.push(began.elapsed());
                if !lasts.pause.is_zero() {
                    tokio::time::sleep(lasts.pause).await;
                }
            }
            Ok::<_, Failed>(took)
        }));
    }
    let mut took = Vec::new();
    for one in asking {
        took.extend(one.await??);
    }
    took.sort_unstable();
    let at = |percent: usize| took.get(took.len() * percent / 100).copied().unwrap_or_default();
    #[expect(clippy::cast_precision_loss, reason = "far below 2^52")]
    let rate = took.len() as f64 / lasts.all.as_secs_f64();
    Ok(Load { rate, half: at(50), p99: at(99) })
}
