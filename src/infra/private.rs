//! Files that only this program's user may read.

use std::fs::{self, DirBuilder, Permissions};
use std::io::{self, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, PermissionsExt as _};
use std::path::Path;

/// Makes a folder, or closes one to everybody else.
pub fn folder(path: &Path) -> io::Result<()> {
    DirBuilder::new().recursive(true).mode(0o700).create(path)?;
    fs::set_permissions(path, Permissions::from_mode(0o700))
}

/// Writes a file in such a folder, whole or not at all, even if the power fails.
pub fn write(dir: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    folder(dir)?;
    // tempfile makes it with mode 0600.
    let mut file = tempfile::NamedTempFile::new_in(dir)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(dir.join(name))?;
    fs::File::open(dir)?.sync_all()
}
