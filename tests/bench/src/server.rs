//! The programs that are asked: airmuster itself, and a server that has the same bytes in memory.

use std::net::SocketAddr;
use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::{Path as Named, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use hyper::body::Bytes;
use tokio::io::{AsyncBufReadExt as _, BufReader};
use tokio::net::TcpListener;
use tokio::process::{Child, Command};

use super::client::{Connection, Failed};

/// A server in a process of its own. It ends with this.
pub struct Server {
    pub address: SocketAddr,
    child: Child,
}

/// What the kernel says of a process, in KiB.
#[derive(Debug, Clone, Copy)]
pub struct Memory {
    pub now: u64,
    pub most: u64,
}

impl Server {
    async fn start(command: &mut Command) -> Result<Self, Failed> {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .kill_on_drop(true)
            .spawn()?;
        let out = child.stdout.take().ok_or("no output")?;
        let mut lines = BufReader::new(out).lines();
        while let Some(line) = lines.next_line().await? {
            if let Some((_, address)) = line.split_once("http://") {
                let address = address.trim().parse()?;
                // What else is said goes nowhere, but has to be read.
                tokio::spawn(async move { while let Ok(Some(_)) = lines.next_line().await {} });
                return Ok(Self { address, child });
            }
        }
        Err("the server ended before it said where it is".into())
    }

    /// airmuster with a data folder, and how long it took until it was ready.
    pub async fn airmuster(program: &Path, data: &Path) -> Result<(Self, Duration), Failed> {
        let began = Instant::now();
        let mut command = Command::new(program);
        // As packaging/airmuster.service starts it.
        command.env("MIMALLOC_PURGE_DELAY", "0");
        command.args(["serve", "--listen", "127.0.0.1:0", "--log", "error", "--data"]).arg(data);
        let server = Self::start(&mut command).await?;
        let mut connection = Connection::open(server.address, None).await?;
        let answer = connection.get("/readyz").await?;
        if answer.status != StatusCode::OK {
            return Err(format!("not ready: {}", answer.status).into());
        }
        Ok((server, began.elapsed()))
    }

    /// The yardstick: this program once more, with pages in files.
    pub async fn from_memory(folder: &Path) -> Result<Self, Failed> {
        let mut command = Command::new(std::env::current_exe()?);
        command.arg("answer").arg(folder);
        Self::start(&mut command).await
    }

    pub fn memory(&self) -> Result<Memory, Failed> {
        let pid = self.child.id().ok_or("it has ended")?;
        let status = std::fs::read_to_string(format!("/proc/{pid}/status"))?;
        let field = |name: &str| {
            let line = status.lines().find_map(|l| l.strip_prefix(name));
            line.and_then(|l| l.split_whitespace().next()?.parse().ok()).ok_or("no such field")
        };
        Ok(Memory { now: field("VmRSS:")?, most: field("VmHWM:")? })
    }

    pub async fn stop(mut self) -> Result<(), Failed> {
        self.child.kill().await?;
        Ok(())
    }
}

/// Answers `/NAME` with the file of that name, from memory, until it is killed.
pub async fn answer(folder: &Path) -> Result<(), Failed> {
    let mut files = std::collections::BTreeMap::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().into_string().map_err(|_| "a name that is no text")?;
        files.insert(name, Bytes::from(std::fs::read(entry.path())?));
    }
    let give = async |State(files): State<Arc<std::collections::BTreeMap<String, Bytes>>>,
                      Named(name): Named<String>|
           -> Response {
        match files.get(&name) {
            Some(bytes) => {
                ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], bytes.clone()).into_response()
            }
            None => StatusCode::NOT_FOUND.into_response(),
        }
    };
    let app = Router::new().route("/{name}", get(give)).with_state(Arc::new(files));
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    println!("http://{}", listener.local_addr()?);
    axum::serve(listener, app).await?;
    Ok(())
}
