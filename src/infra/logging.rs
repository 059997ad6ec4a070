//! The log goes to standard error: a readable message with fields, never a PIN or a token.

use tracing_subscriber::EnvFilter;

use crate::config::LogFormat;

/// Starts logging.
///
/// # Errors
/// When the filter cannot be read.
pub fn start(filter: Option<&str>, format: LogFormat) -> Result<(), String> {
    let filter = filter.unwrap_or("info");
    let filter = EnvFilter::try_new(filter).map_err(|e| format!("“{filter}” is not a log filter: {e}"))?;
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let started = match format {
        LogFormat::Text => log.try_init(),
        LogFormat::Json => log.json().try_init(),
    };
    // Only a second start in one process fails, and then logging runs already.
    started.or(Ok(()))
}
