//! Secrets of channels: the settings name where they are kept, never the secrets themselves.

use crate::catalogue::Fault;
use crate::catalogue::table::Table;
use std::cell::RefCell;
use std::path::{Path, PathBuf};

/// Who looks secrets up.
pub trait Secrets {
    fn variable(&self, name: &str) -> Option<String>;

    /// # Errors
    /// The file cannot be read or is not UTF-8.
    fn file(&self, path: &Path) -> std::io::Result<String>;

    /// Where a file is that the settings name.
    fn place(&self, path: &Path) -> PathBuf;

    /// Takes note of a secret that is missing; where it does not, that is a fault of the settings.
    fn notes(&self, _missing: &Fault) -> bool {
        false
    }
}

/// Looks secrets up with another, and keeps the faults of those that are missing.
pub(super) struct Noting<'s> {
    secrets: &'s dyn Secrets,
    pub missing: RefCell<Vec<Fault>>,
}

impl<'s> Noting<'s> {
    pub fn new(secrets: &'s dyn Secrets) -> Noting<'s> {
        Noting {
            secrets,
            missing: RefCell::default(),
        }
    }
}

impl Secrets for Noting<'_> {
    fn variable(&self, name: &str) -> Option<String> {
        self.secrets.variable(name)
    }

    fn file(&self, path: &Path) -> std::io::Result<String> {
        self.secrets.file(path)
    }

    fn place(&self, path: &Path) -> PathBuf {
        self.secrets.place(path)
    }

    fn notes(&self, missing: &Fault) -> bool {
        self.missing.borrow_mut().push(missing.clone());
        true
    }
}

/// This process's environment, and files relative to the configuration directory.
#[derive(Debug, Clone)]
pub struct MachineSecrets {
    pub directory: PathBuf,
}

impl Secrets for MachineSecrets {
    fn variable(&self, name: &str) -> Option<String> {
        std::env::var(name).ok()
    }

    fn file(&self, path: &Path) -> std::io::Result<String> {
        std::fs::read_to_string(self.place(path))
    }

    fn place(&self, path: &Path) -> PathBuf {
        self.directory.join(path)
    }
}

/// Keys that may hold one setting.
pub(super) struct SecretKeys {
    pub env: &'static str,
    pub file: &'static str,
}

/// Reads the secret that one of the keys names. The outer `None` stands for a fault, which is
/// recorded at its place, or for a missing secret that was taken note of; the inner one for a setting
/// that is not there.
pub(super) fn read_secret(
    table: &mut Table<'_, '_>,
    keys: &SecretKeys,
    secrets: &dyn Secrets,
) -> Option<Option<String>> {
    let SecretKeys { env, file } = keys;
    let both = table.has(env) && table.has(file);
    let (has_env, has_file) = (table.has(env), table.has(file));
    let (variable, path) = (table.text(env), table.text(file));
    if both {
        let message = format!("both `{env}` and `{file}` are set");
        table
            .document()
            .fault(&table.span(), message, "keep one of them");
        return None;
    }
    let (found, span, remedy) = match (variable, path) {
        (Some(name), _) => {
            let remedy = format!("set the environment variable {}", name.value);
            (secrets.variable(&name.value), name.span, remedy)
        }
        (None, Some(path)) => {
            let found = secrets.file(Path::new(&path.value)).ok();
            let remedy = format!("put the secret into {}", path.value);
            (found, path.span, remedy)
        }
        // A key of the wrong type has been reported already.
        (None, None) if has_env || has_file => return None,
        (None, None) => return Some(None),
    };
    let secret = found.map(|secret| secret.trim_end_matches(['\r', '\n']).to_owned());
    match secret.filter(|secret| !secret.is_empty()) {
        Some(secret) => Some(Some(secret)),
        None => {
            let message = "the secret that this names is missing or empty";
            let document = table.document();
            let (line, column) = document.position(span.start);
            let missing = Fault {
                file: document.file().to_owned(),
                line,
                column,
                message: message.to_owned(),
                remedy: remedy.clone(),
            };
            if !secrets.notes(&missing) {
                document.fault(&span, message, remedy);
            }
            None
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    /// Knows the variable `KNOWN` and the file `known`.
    pub(in crate::notify) struct FewSecrets;

    impl Secrets for FewSecrets {
        fn variable(&self, name: &str) -> Option<String> {
            match name {
                "KNOWN" => Some("from the environment".to_owned()),
                "URL" => Some("http://127.0.0.1:9/hook?key=hidden".to_owned()),
                _ => None,
            }
        }

        fn file(&self, path: &Path) -> std::io::Result<String> {
            match path.to_str() {
                Some("known") => Ok("from a file\n".to_owned()),
                Some("empty") => Ok("\n".to_owned()),
                _ => Err(std::io::ErrorKind::NotFound.into()),
            }
        }

        fn place(&self, path: &Path) -> PathBuf {
            path.to_owned()
        }
    }

    #[test]
    fn a_secret_comes_from_a_variable_or_a_file_and_a_missing_one_is_a_fault() {
        let good = |text: &str| Some(Some(text.to_owned()));
        let check = |toml: &str, expected: Option<Option<String>>, faults: &[&str]| {
            let document = Document::parse("rigtide.toml", toml);
            let keys = SecretKeys {
                env: "secret_env",
                file: "secret_file",
            };
            let found = read_secret(&mut document.root(), &keys, &FewSecrets);
            assert_eq!(found, expected, "{toml}");
            let said: Vec<String> = document
                .into_faults()
                .iter()
                .map(ToString::to_string)
                .collect();
            assert_eq!(said, faults, "{toml}");
        };
        check("", Some(None), &[]);
        check("secret_env = \"KNOWN\"", good("from the environment"), &[]);
        check("secret_file = \"known\"", good("from a file"), &[]);
        check(
            "secret_env = \"OTHER\"",
            None,
            &[
                "rigtide.toml:1:14: the secret that this names is missing or empty; \
               set the environment variable OTHER",
            ],
        );
        check(
            "secret_file = \"empty\"",
            None,
            &[
                "rigtide.toml:1:15: the secret that this names is missing or empty; \
               put the secret into empty",
            ],
        );
        check(
            "secret_env = \"KNOWN\"\nsecret_file = \"known\"",
            None,
            &["rigtide.toml:1:1: both `secret_env` and `secret_file` are set; keep one of them"],
        );
        check(
            "secret_env = 5",
            None,
            &[
                "rigtide.toml:1:14: `secret_env` should be text in quotes, found a whole number; \
               write text in quotes",
            ],
        );
    }
}
