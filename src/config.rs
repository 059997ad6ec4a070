//! Settings, in one order: a flag wins over its environment variable, that over the settings
//! file, that over the default. clap sees to the first two; this reads the file.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use serde::Deserialize;

/// The settings file, looked for in the data folder unless `--config` names another.
pub const FILE: &str = "airmuster.toml";

/// The address that is served when nothing says otherwise.
pub const LISTEN: &str = "127.0.0.1:8460";

/// What the settings file may hold.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct File {
    /// `listen = "127.0.0.1:8460"`.
    pub listen: Option<SocketAddr>,
    /// `log = "info"`: a tracing filter.
    pub log: Option<String>,
    /// `log_format = "text"` or `"json"`.
    pub log_format: Option<LogFormat>,
    /// `tls = true`: HTTPS.
    pub tls: Option<bool>,
    /// `host = "airmuster.station.example"`: the name under which tablets reach the server.
    pub host: Option<String>,
    /// `tls_cert = "FILE"`: the department's own certificate.
    pub tls_cert: Option<PathBuf>,
    /// `tls_key = "FILE"`: its key.
    pub tls_key: Option<PathBuf>,
    /// `http_listen = "127.0.0.1:8461"`: plain http beside HTTPS.
    pub http_listen: Option<SocketAddr>,
    /// `backups = "DIR"`: nightly backups.
    pub backups: Option<PathBuf>,
    /// `backups_copy = "DIR"`: each is copied there.
    pub backups_copy: Option<PathBuf>,
    /// `backups_keep = 31`: how many of the newest stay.
    pub backups_keep: Option<u16>,
    /// `metrics_listen = "127.0.0.1:8462"`: figures for a monitoring system.
    pub metrics_listen: Option<SocketAddr>,
    /// `mail_server = "smtps://mail.example:465"`: notices by mail.
    pub mail_server: Option<String>,
    /// `mail_from = "airmuster@district.example"`.
    pub mail_from: Option<String>,
    /// `mail_to = "chief@district.example"`; several with commas between.
    pub mail_to: Option<String>,
    /// `mail_about = "out-of-service,seat-open,check-late"`.
    pub mail_about: Option<String>,
    /// `mail_user = "airmuster"`: who signs in at the mail server.
    pub mail_user: Option<String>,
    /// `mail_password_file = "FILE"`: with which password.
    pub mail_password_file: Option<PathBuf>,
}

/// How log lines are written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum LogFormat {
    /// For people.
    #[default]
    Text,
    /// For machines.
    Json,
}

/// Why the settings cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file that was named is not there.
    #[error("the settings file {0} cannot be read: {1}")]
    Unreadable(PathBuf, std::io::Error),
    /// The file does not say what it should.
    #[error("the settings file {0}: {1}")]
    Wrong(PathBuf, String),
}

impl File {
    /// Reads the named file, or the one in the data folder if there is one.
    ///
    /// # Errors
    /// When a named file is missing, or a file has a setting that is not known.
    pub fn read(named: Option<&Path>, data: &Path) -> Result<Self, ConfigError> {
        let path = named.map_or_else(|| data.join(FILE), Path::to_owned);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if named.is_none() && e.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Self::default());
            }
            Err(e) => return Err(ConfigError::Unreadable(path, e)),
        };
        toml::from_str(&text).map_err(|e| ConfigError::Wrong(path, e.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_file_means_defaults_but_a_named_file_must_be_there() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(File::read(None, dir.path()).unwrap(), File::default());
        let missing = dir.path().join("other.toml");
        assert!(matches!(File::read(Some(&missing), dir.path()), Err(ConfigError::Unreadable(..))));
    }

    #[test]
    fn a_setting_that_is_not_known_is_told() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(FILE), "listen = \"127.0.0.1:9000\"\nlisten_on = 3\n").unwrap();
        let told = File::read(None, dir.path()).unwrap_err().to_string();
        assert!(told.contains("listen_on"), "{told}");
    }
}
