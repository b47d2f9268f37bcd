//! The house rules that the compiler does not hold.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Each module and the modules of the crate that it may use.
const MAY_USE: &[(&str, &[&str])] = &[
    ("money", &[]),
    ("catalogue", &["money"]),
    ("template", &["money", "catalogue"]),
    ("fit", &["money", "catalogue"]),
    ("rates", &["money", "catalogue"]),
    ("market", &["money", "catalogue", "fit", "rates"]),
    ("history", &["money", "catalogue", "fit", "rates", "market"]),
    (
        "optimise",
        &["money", "catalogue", "fit", "rates", "market", "history"],
    ),
    (
        "decide",
        &[
            "money",
            "catalogue",
            "fit",
            "rates",
            "market",
            "history",
            "optimise",
            "template",
        ],
    ),
    (
        "chart",
        &["money", "catalogue", "fit", "rates", "market", "history"],
    ),
];
/// Edges use every pure module and no other edge.
const EDGES: &[&str] = &["feeds", "ledger", "notify", "guide", "web"];
/// These alone join edges.
const JOINS: &[(&str, &[&str])] = &[("watch", &[]), ("cli", &["watch"])];

/// Outside crates that have one home.
const HOMES: &[(&str, &[&str])] = &[
    ("good_lp", &["optimise/solve.rs"]),
    ("rusqlite", &["ledger/"]),
    ("parquet", &["ledger/transfer/"]),
    (
        "reqwest",
        &["feeds/http/", "feeds/source/access.rs", "notify/channels/"],
    ),
    ("lettre", &["notify/channels/mail"]),
    ("minijinja", &["template/"]),
    ("clap", &["cli/"]),
    ("sd_notify", &["cli/service.rs"]),
    (
        "rustix",
        &[
            "watch/status.rs",
            "cli/screen.rs",
            "cli/commands/password.rs",
        ],
    ),
    ("scraper", &["feeds/decode/"]),
    ("axum", &["web/"]),
    ("hyper", &["web/listen.rs"]),
    ("hyper_util", &["web/listen.rs"]),
    (
        "tower_service",
        &["web/listen.rs", "web/tests.rs", "web/api/tests.rs"],
    ),
    ("utoipa", &["web/"]),
    ("utoipa_axum", &["web/api/"]),
    ("maud", &["web/pages/"]),
    ("icu_decimal", &["web/pages/figures.rs"]),
    ("icu_locale_core", &["web/pages/figures.rs"]),
    ("fixed_decimal", &["web/pages/figures.rs"]),
    ("argon2", &["web/password.rs"]),
    ("toml_edit", &["watch/saving.rs"]),
    ("similar", &["watch/saving.rs"]),
    ("tokio", &["feeds/", "notify/", "watch/", "web/", "cli/"]),
];

fn sources() -> Vec<(PathBuf, String)> {
    fn collect(folder: &Path, into: &mut Vec<(PathBuf, String)>) {
        let mut entries: Vec<PathBuf> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                collect(&path, into);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                into.push((path, text));
            }
        }
    }
    let mut all = Vec::new();
    collect(&root().join("src"), &mut all);
    all
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn within(path: &Path) -> String {
    path.strip_prefix(root().join("src"))
        .unwrap()
        .to_string_lossy()
        .replace('\\', "/")
}

/// The code of a file before its tests.
fn code(text: &str) -> &str {
    text.split("#[cfg(test)]\nmod tests {")
        .next()
        .unwrap_or(text)
}

#[test]
fn modules_use_only_what_stands_to_their_left() {
    let mut allowed: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (module, uses) in MAY_USE {
        allowed.insert(module, uses.to_vec());
    }
    let pure: Vec<&str> = MAY_USE.iter().map(|(module, _)| *module).collect();
    for edge in EDGES {
        allowed.insert(edge, pure.clone());
    }
    for (join, more) in JOINS {
        allowed.insert(join, [&pure[..], EDGES, more].concat());
    }
    let mut offences = Vec::new();
    for (path, text) in sources() {
        let name = within(&path);
        let Some((module, _)) = name.split_once('/') else {
            continue;
        };
        let uses = allowed
            .get(module)
            .unwrap_or_else(|| panic!("{module} is not in the table"));
        for (number, line) in code(&text).lines().enumerate() {
            for after in line.split("crate::").skip(1) {
                let used: String = after
                    .chars()
                    .take_while(|one| one.is_alphanumeric() || *one == '_')
                    .collect();
                if used != module
                    && !uses.contains(&used.as_str())
                    && !line.trim_start().starts_with("//")
                {
                    offences.push(format!("{name}:{}: uses {used}", number + 1));
                }
            }
        }
    }
    assert_eq!(offences, Vec::<String>::new());
}

#[test]
fn outside_crates_stay_in_their_homes() {
    let mut offences = Vec::new();
    for (path, text) in sources() {
        let name = within(&path);
        for (number, line) in code(&text).lines().enumerate() {
            for (outside, homes) in HOMES {
                let names_it = line.contains(&format!("{outside}::"));
                let is_comment = line.trim_start().starts_with("//");
                if names_it && !is_comment && !homes.iter().any(|home| name.starts_with(home)) {
                    offences.push(format!("{name}:{}: names {outside}", number + 1));
                }
            }
            if line.contains("Utc::now") && name != "watch/clock.rs" {
                offences.push(format!("{name}:{}: reads the clock", number + 1));
            }
        }
    }
    assert_eq!(offences, Vec::<String>::new());
}

#[test]
fn every_file_opens_with_what_it_is_for() {
    for (path, text) in sources() {
        assert!(
            text.starts_with("//!"),
            "{} has no module docs",
            path.display()
        );
    }
}

#[test]
fn pure_modules_wall_themselves_off() {
    for (module, _) in MAY_USE {
        let Ok(text) = fs::read_to_string(root().join(format!("src/{module}/mod.rs"))) else {
            continue;
        };
        for lint in [
            "#![deny(",
            "clippy::disallowed_methods",
            "clippy::disallowed_types",
        ] {
            assert!(text.contains(lint), "{module} does not deny {lint}");
        }
    }
}

#[test]
fn every_rule_decoder_and_channel_is_registered() {
    for (folder, registry) in [
        ("src/fit/rules", "src/fit/registry.rs"),
        ("src/notify/channels", "src/notify/registry.rs"),
    ] {
        let Ok(entries) = fs::read_dir(root().join(folder)) else {
            continue;
        };
        let registry = fs::read_to_string(root().join(registry)).unwrap();
        for entry in entries {
            let stem = entry
                .unwrap()
                .path()
                .file_stem()
                .unwrap()
                .to_string_lossy()
                .into_owned();
            assert!(
                ["mod", "snapshots"].contains(&stem.as_str())
                    || registry.contains(&format!("{stem}::")),
                "{folder}/{stem}"
            );
        }
    }
}

#[test]
fn no_file_is_longer_than_one_reads_in_a_sitting() {
    let long: Vec<String> = sources()
        .iter()
        .map(|(path, text)| {
            let lines = code(text)
                .lines()
                .filter(|line| !line.trim().is_empty() && !line.trim_start().starts_with("//"));
            (within(path), lines.count())
        })
        .filter(|(name, lines)| *lines > 400 && !name.ends_with("tests.rs"))
        .map(|(name, lines)| format!("{name}: {lines}"))
        .collect();
    assert_eq!(long, Vec::<String>::new());
}
