//! The private key to which tablets seal PINs: made at the first start, in a file of the data folder
//! that only this program's user may read.

use std::io;
use std::path::Path;

use super::private;

const FOLDER: &str = "keys";
const FILE: &str = "seal";

/// The key's bytes: those in the folder, or these new ones, which are there from now on.
pub fn keep(data: &Path, new: impl FnOnce() -> Vec<u8>) -> io::Result<Vec<u8>> {
    let folder = data.join(FOLDER);
    match std::fs::read(folder.join(FILE)) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            let key = new();
            private::write(&folder, FILE, &key)?;
            Ok(key)
        }
        there => there,
    }
}
