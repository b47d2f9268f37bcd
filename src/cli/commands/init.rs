//! `rigtide init DIR`: writes the commented starter configuration.

use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use anyhow::Context as _;
use std::fs;
use std::path::Path;

/// The starter, as it lies in `config/`.
const STARTER: &[(&str, &str)] = &[
    ("rigtide.toml", include_str!("../../../config/rigtide.toml")),
    (
        "catalogue/parts.toml",
        include_str!("../../../config/catalogue/parts.toml"),
    ),
    (
        "catalogue/workloads.toml",
        include_str!("../../../config/catalogue/workloads.toml"),
    ),
    (
        "retailers/example.toml",
        include_str!("../../../config/retailers/example.toml"),
    ),
    (
        "retailers/example-offers.csv",
        include_str!("../../../config/retailers/example-offers.csv"),
    ),
    (
        "briefs/example.toml",
        include_str!("../../../config/briefs/example.toml"),
    ),
];

pub fn run(directory: &Path, screen: &Screen) -> Result<(), Failure> {
    let is_taken = fs::read_dir(directory).is_ok_and(|mut entries| entries.next().is_some());
    if is_taken || directory.is_file() {
        return Err(Failure::usage(
            format!("{} is there already and not empty", directory.display()),
            "name a directory that does not exist yet; nothing was written",
        ));
    }
    for (name, text) in STARTER {
        let path = directory.join(name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder)
                .with_context(|| format!("cannot create {}", folder.display()))?;
        }
        fs::write(&path, text).with_context(|| format!("cannot write {}", path.display()))?;
    }
    let shown = directory.display();
    screen.line(format!("wrote {} files into {shown}", STARTER.len()));
    screen.line(format!(
        "next: rigtide -C {shown} check && rigtide -C {shown} poll && rigtide -C {shown} best"
    ));
    Ok(())
}
