//! `bash tests/bench.sh` makes histories with this and measures the program with them.

mod bare;
mod client;
mod make;
mod measure;
mod past;
mod server;
mod soak;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

#[derive(Debug, Parser)]
enum What {
    /// Fill a new data folder with years of history
    Make {
        dir: PathBuf,
        #[arg(long)]
        years: i64,
    },
    /// Measure the program with each of these folders, and print a table
    Measure {
        program: PathBuf,
        #[arg(required = true)]
        dirs: Vec<PathBuf>,
    },
    /// Let eight tablets work with the program for so many minutes
    Soak {
        program: PathBuf,
        dir: PathBuf,
        #[arg(long, default_value_t = 30)]
        minutes: u64,
    },
    /// Answer with the files of a folder from memory, as a yardstick
    Answer { folder: PathBuf },
}

#[tokio::main(worker_threads = 2)]
async fn main() -> ExitCode {
    let done = match What::parse() {
        What::Make { dir, years } => make::make(&dir, years).await,
        What::Measure { program, dirs } => measure::measure(&program, &dirs).await,
        What::Soak { program, dir, minutes } => soak::soak(&program, &dir, minutes).await,
        What::Answer { folder } => server::answer(&folder).await,
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("bench: {e}");
            ExitCode::FAILURE
        }
    }
}
