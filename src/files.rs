//! Named bytes: what a plan is made from, and what it becomes. The library itself knows no file system.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::error::{Error, Result};

/// A file that comes out: its path inside the folder, and what it holds.
pub type File = (String, Vec<u8>);

/// The files that go in, by the names that the job calls them. A clone shares the bytes; two that share them are known to
/// be equal without reading them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Files(BTreeMap<PathBuf, Arc<Vec<u8>>>);

impl Files {
    /// What the file of this name holds.
    ///
    /// # Errors
    /// If there is none.
    pub fn get(&self, name: &Path) -> Result<&[u8]> {
        self.0
            .get(name)
            .map(|bytes| bytes.as_slice())
            .ok_or_else(|| {
                Error::file(
                    name,
                    "is not among the files given",
                    "Give every file that the job names.",
                )
            })
    }

    /// Adds a file, in place of one of the same name.
    pub fn insert(&mut self, name: PathBuf, bytes: Vec<u8>) {
        self.0.insert(name, Arc::new(bytes));
    }

    /// Only the files of these names, as far as they are there.
    pub fn only<'a>(&self, names: impl IntoIterator<Item = &'a Path>) -> Self {
        let named = names
            .into_iter()
            .filter_map(|name| self.0.get_key_value(name));
        Self(
            named
                .map(|(name, bytes)| (name.clone(), Arc::clone(bytes)))
                .collect(),
        )
    }
}

/// FNV-1a, 64 bits (Fowler, Noll and Vo; RFC 9923).
pub fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
