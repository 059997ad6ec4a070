//! `faultproxy --to 127.0.0.1:PORT [--seed N] [--for SECONDS]`: says where it listens and where it
//! is controlled, and ends by itself.

use std::net::{Ipv4Addr, SocketAddr};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use faultproxy::Proxy;
use tokio::net::TcpListener;

/// No test needs it for longer.
const LONGEST_LIFE_S: u64 = 900;

struct Args {
    to: SocketAddr,
    seed: u64,
    life: Duration,
}

fn args() -> Result<Args, String> {
    let mut to = None;
    let (mut seed, mut seconds) = (1, LONGEST_LIFE_S);
    let mut given = std::env::args().skip(1);
    while let Some(name) = given.next() {
        let value = given.next().ok_or_else(|| format!("{name} needs a value"))?;
        let number = || value.parse().map_err(|e| format!("{name} {value}: {e}"));
        match name.as_str() {
            "--to" => to = Some(value.parse().map_err(|e| format!("{name} {value}: {e}"))?),
            "--seed" => seed = number()?,
            "--for" => seconds = number()?,
            _ => return Err(format!("there is no {name}")),
        }
    }
    let to = to.ok_or("--to says where the server is")?;
    Ok(Args { to, seed, life: Duration::from_secs(seconds) })
}

async fn run(args: Args) -> std::io::Result<()> {
    let proxy = Arc::new(Proxy::start(args.to, args.seed).await?);
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
    println!("proxy http://{}", proxy.address());
    println!("control http://{}", listener.local_addr()?);
    tokio::select! {
        ended = faultproxy::control(listener, proxy) => ended,
        () = tokio::time::sleep(args.life) => Ok(()),
    }
}

#[tokio::main]
async fn main() -> ExitCode {
    let outcome = match args() {
        Ok(args) => run(args).await.map_err(|e| e.to_string()),
        Err(say) => Err(say),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(say) => {
            eprintln!("faultproxy: {say}");
            ExitCode::from(2)
        }
    }
}
