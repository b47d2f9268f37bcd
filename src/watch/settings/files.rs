//! The files that the configuration consists of: which they are, what they say, and whether they
//! have changed.
//!
//! Knows nothing of what they mean.

use crate::catalogue::Fault;
use crate::template;
use ring::digest::{Context, SHA256};
use std::collections::BTreeMap;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// The file with what is neither a part, a shop, a brief nor a measurement.
pub const PROGRAM: &str = "rigtide.toml";

/// A folder of the configuration, and how the names of the files that are read end.
#[derive(Debug, Clone, Copy)]
pub struct Folder {
    pub name: &'static str,
    pub endings: &'static [&'static str],
    /// Whether a configuration without it is whole.
    pub is_optional: bool,
}

pub const CATALOGUE: Folder = Folder {
    name: "catalogue",
    endings: &[".toml", ".csv"],
    is_optional: false,
};
/// Authors who write their rates at the parts need no results.
pub const MEASUREMENTS: Folder = Folder {
    name: "measurements",
    endings: &[".toml", ".csv"],
    is_optional: true,
};
pub const RETAILERS: Folder = Folder {
    name: "retailers",
    endings: &[".toml"],
    is_optional: false,
};
pub const BRIEFS: Folder = Folder {
    name: "briefs",
    endings: &[".toml"],
    is_optional: false,
};

/// Texts of the author's in the place of the program's.
pub const TEMPLATES: Folder = Folder {
    name: template::FOLDER,
    endings: &[".txt", ".html", ".md"],
    is_optional: true,
};

/// Every folder that is read, and hence watched.
pub const FOLDERS: [&Folder; 5] = [&CATALOGUE, &MEASUREMENTS, &RETAILERS, &BRIEFS, &TEMPLATES];

/// A file of the configuration with its text.
#[derive(Debug)]
pub struct File {
    /// Relative to the directory, with slashes.
    pub name: String,
    /// Its name without folder and ending: the id of a retailer or a brief.
    pub stem: String,
    pub text: String,
}

/// Equal for two readings of the configuration that found the same files with the same texts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Digest([u8; 32]);

/// Everything that was read, before anything is made of it.
#[derive(Debug)]
pub struct Files {
    pub program: Option<File>,
    pub catalogue: Vec<File>,
    pub measurements: Vec<File>,
    pub retailers: Vec<File>,
    pub briefs: Vec<File>,
    pub templates: Vec<File>,
    /// What could not be read.
    pub faults: Vec<Fault>,
}

impl Files {
    /// Reads the whole configuration.
    pub fn read(directory: &Path) -> Files {
        let mut faults = Vec::new();
        Files {
            program: read_file(directory, PROGRAM, &mut faults),
            measurements: read_folder(directory, &MEASUREMENTS, &mut faults),
            catalogue: read_folder(directory, &CATALOGUE, &mut faults),
            retailers: read_folder(directory, &RETAILERS, &mut faults),
            briefs: read_folder(directory, &BRIEFS, &mut faults),
            templates: read_folder(directory, &TEMPLATES, &mut faults),
            faults,
        }
    }

    pub fn digest(&self) -> Digest {
        let mut digested = Context::new(&SHA256);
        let mut add = |text: &str| {
            digested.update(&text.len().to_le_bytes());
            digested.update(text.as_bytes());
        };
        let folders = [
            &self.catalogue,
            &self.measurements,
            &self.retailers,
            &self.briefs,
            &self.templates,
        ];
        let files = self.program.iter().chain(folders.into_iter().flatten());
        for file in files {
            add(&file.name);
            add(&file.text);
        }
        self.faults.iter().for_each(|fault| add(&fault.to_string()));
        let digest = digested.finish();
        Digest(*digest.as_ref().first_chunk().expect("SHA-256 has 32 bytes"))
    }
}

/// What tells that a file was written, without reading it. Not the instant at which its
/// permissions changed: that is no change of what it says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stamp {
    modified: (i64, i64),
    bytes: u64,
    inode: u64,
}

/// The stamps of every file of the configuration. Files are found anew through their folders each
/// time, so that one that was put in another's place is seen.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Stamps(BTreeMap<PathBuf, Stamp>);

impl Stamps {
    pub fn of(directory: &Path) -> Stamps {
        let mut stamps = BTreeMap::new();
        let mut add = |path: PathBuf| {
            if let Ok(metadata) = std::fs::metadata(&path) {
                let stamp = Stamp {
                    modified: (metadata.mtime(), metadata.mtime_nsec()),
                    bytes: metadata.len(),
                    inode: metadata.ino(),
                };
                stamps.insert(path, stamp);
            }
        };
        add(directory.join(PROGRAM));
        for folder in FOLDERS {
            let place = directory.join(folder.name);
            let names = names(&place, folder).unwrap_or_default();
            names.into_iter().for_each(|name| add(place.join(name)));
        }
        Stamps(stamps)
    }

    /// Whether a file that said something is gone or empty now.
    pub fn lacks_what_was(&self, before: &Stamps) -> bool {
        before.0.iter().any(|(path, stamp)| {
            stamp.bytes > 0 && self.0.get(path).is_none_or(|now| now.bytes == 0)
        })
    }
}

/// The names of the files of a folder that are read, in their order.
fn names(place: &Path, folder: &Folder) -> std::io::Result<Vec<String>> {
    let mut names: Vec<String> = std::fs::read_dir(place)?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| folder.endings.iter().any(|ending| name.ends_with(ending)))
        .filter(|name| !name.starts_with('.'))
        .collect();
    names.sort();
    Ok(names)
}

/// The files of a folder, in the order of their names.
pub fn read_folder(directory: &Path, folder: &Folder, faults: &mut Vec<Fault>) -> Vec<File> {
    let place = directory.join(folder.name);
    let names = match names(&place, folder) {
        Ok(names) => names,
        Err(_) if folder.is_optional && !place.exists() => return Vec::new(),
        Err(error) => {
            let message = format!("the folder cannot be read: {error}");
            let remedy = "create it, or run `rigtide init`";
            faults.push(Fault::of_file(folder.name, message, remedy));
            return Vec::new();
        }
    };
    names
        .iter()
        .filter_map(|name| read_file(directory, &format!("{}/{name}", folder.name), faults))
        .collect()
}

fn read_file(directory: &Path, name: &str, faults: &mut Vec<Fault>) -> Option<File> {
    match std::fs::read_to_string(directory.join(name)) {
        Ok(text) => {
            let stem = Path::new(name).file_stem()?.to_string_lossy().into_owned();
            Some(File {
                name: name.to_owned(),
                stem,
                text,
            })
        }
        Err(error) => {
            let message = format!("the file cannot be read: {error}");
            let remedy = "create it, or write a starter with `rigtide init`";
            faults.push(Fault::of_file(name, message, remedy));
            None
        }
    }
}
