//! The log goes to standard error: a readable message with fields, never a PIN or a token.

use tracing_subscriber::EnvFilter;

use crate::config::LogFormat;

/// Whether a filter can be read.
///
/// # Errors
/// When it cannot, in words.
pub fn check(filter: &str) -> Result<(), String> {
    read(filter).map(|_| ())
}

fn read(filter: &str) -> Result<EnvFilter, String> {
    EnvFilter::try_new(filter).map_err(|e| format!("“{filter}” is not a log filter: {e}"))
}

/// Starts logging.
///
/// # Errors
/// When the filter cannot be read.
pub fn start(filter: Option<&str>, format: LogFormat) -> Result<(), String> {
    let filter = read(filter.unwrap_or("info"))?;
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let started = match format {
        LogFormat::Text => log.try_init(),
        LogFormat::Json => log.json().try_init(),
    };
    // Only a second start in one process fails, and then logging runs already.
    started.or(Ok(()))
}
