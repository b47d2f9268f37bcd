//! A what-if written into a brief's file: what is there stays as it is, comments and all.
//!
//! A draft is made and shown first, and writing it is a step of its own. May not change a file that says
//! something else than the settings in force.

use crate::catalogue::Catalogue;
use crate::catalogue::table::Document;
use crate::market::{Brief, Role};
use crate::watch::asking::{AskFault, Asked, Changes, Named, named};
use crate::watch::settings::read_brief_alone;
use similar::TextDiff;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, Value, value};

/// Lines around a difference. Common practice, no source.
const CONTEXT: usize = 3;

/// A brief's file as it is and as it would be.
pub struct Draft {
    pub path: PathBuf,
    /// Below the configuration's directory.
    pub file: String,
    pub before: String,
    pub after: String,
}

/// Why there is no draft.
pub enum DraftFault {
    Ask(AskFault),
    File { message: String, hint: &'static str },
}

/// What a what-if would write. `asked` is the brief with the changes, among which no price counts: a
/// brief takes them from the feeds.
///
/// # Errors
/// [`DraftFault`]
pub fn draft(asked: &Asked, changes: &Changes) -> Result<Draft, DraftFault> {
    let settings = &asked.settings;
    let file = format!("briefs/{}.toml", asked.brief.id);
    let path = settings.directory.join(&file);
    let before = std::fs::read_to_string(&path).map_err(|error| DraftFault::File {
        message: format!("cannot read {file}: {error}"),
        hint: "look whether the file is still there",
    })?;
    let bans = changes.bans.iter();
    let bans = bans.map(|name| Ok((named(settings, name)?, name.as_str())));
    let bans = bans.collect::<Result<Vec<_>, _>>();
    let bans = bans.map_err(DraftFault::Ask)?;
    let after = edited(&before, &asked.brief, changes, &bans).and_then(|after| {
        check(&file, &after, &asked.brief, &settings.catalogue)?;
        Ok(after)
    });
    let after = after.map_err(|message| DraftFault::File {
        message,
        hint: "edit the file by hand, or put right what is wrong with it first",
    })?;
    Ok(Draft {
        path,
        file,
        before,
        after,
    })
}

impl Draft {
    /// The differences as lines, in the form that `patch` takes; empty where there are none.
    pub fn difference(&self) -> String {
        difference(&self.file, &self.before, &self.after)
    }

    /// Writes the file whole or not at all, with the permissions that it had.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(&self) -> std::io::Result<()> {
        write(&self.path, &self.after)
    }
}

/// The file with what is different. `asked` is the brief as it is to be.
///
/// # Errors
/// Why the file cannot be edited, in words.
fn edited(
    text: &str,
    asked: &Brief,
    changes: &Changes,
    bans: &[(Named, &str)],
) -> Result<String, String> {
    let document = text.parse::<DocumentMut>();
    let mut document = document.map_err(|error| format!("the file is no TOML: {error}"))?;
    if changes.budget.is_some() {
        put(&mut document, "budget", asked.budget.decimal().into());
    }
    if let Some(most) = changes.most_retailers {
        put(&mut document, "most_retailers", i64::from(most).into());
    }
    for (roles, key, other) in [
        (&changes.pins, "pin", "owned"),
        (&changes.owned, "owned", "pin"),
    ] {
        for (name, part) in roles {
            // Of a role that is both, what the reader has counts.
            if key == "pin" && changes.owned.iter().any(|(role, _)| role == name) {
                continue;
            }
            let role = asked.roles.iter().find(|role| role.id.as_str() == name);
            let role = role.ok_or_else(|| format!("the brief has no role \"{name}\""))?;
            let table = role_table(&mut document, role)?;
            table.remove(other);
            put(table, key, part.as_str().into());
        }
    }
    for (kind, name) in bans {
        let key = match kind {
            Named::Part(_) => "parts",
            Named::Retailer(_) => "retailers",
            Named::Brand => "brands",
        };
        ban(&mut document, key, name)?;
    }
    Ok(document.to_string())
}

/// Puts a value in the place of another, with the comment that stands behind it.
fn put(table: &mut Table, key: &str, mut new: Value) {
    let old = table.get(key).and_then(Item::as_value);
    if let Some(old) = old {
        *new.decor_mut() = old.decor().clone();
    }
    table.insert(key, value(new));
}

/// The role's own table; one more where the brief has it without saying so.
fn role_table<'d>(document: &'d mut DocumentMut, role: &Role) -> Result<&'d mut Table, String> {
    let roles = document
        .entry("role")
        .or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
    let roles = roles
        .as_array_of_tables_mut()
        .ok_or("the file does not write its roles as [[role]]")?;
    let place = roles.iter().position(|table| is_of(table, role));
    let place = place.unwrap_or_else(|| {
        let mut table = Table::new();
        table.insert("id", value(role.id.as_str()));
        table.insert("kind", value(role.kind.name()));
        roles.push(table);
        roles.len() - 1
    });
    roles
        .get_mut(place)
        .ok_or_else(|| format!("the role \"{}\" is not to be found", role.id))
}

/// A role without an id has the usual one of its kind.
fn is_of(table: &Table, role: &Role) -> bool {
    match table.get("id").and_then(Item::as_str) {
        Some(id) => id == role.id.as_str(),
        None => {
            let usual = Role::defaults().into_iter();
            let mut usual = usual.filter(|usual| usual.kind == role.kind);
            let kind = table.get("kind").and_then(Item::as_str);
            kind == Some(role.kind.name()) && usual.any(|usual| usual.id == role.id)
        }
    }
}

fn ban(document: &mut DocumentMut, key: &str, name: &str) -> Result<(), String> {
    let table = document.entry("ban").or_insert(Item::Table(Table::new()));
    let table = table
        .as_table_like_mut()
        .ok_or("`ban` is no table in this file")?;
    let names = table.entry(key).or_insert(value(Array::new()));
    let names = names
        .as_array_mut()
        .ok_or_else(|| format!("`{key}` of [ban] is no list"))?;
    if !names.iter().any(|known| known.as_str() == Some(name)) {
        names.push(name);
    }
    Ok(())
}

/// That the file says what was asked for, as the program will read it.
///
/// # Errors
/// Why it does not, in words.
fn check(file: &str, text: &str, asked: &Brief, catalogue: &Catalogue) -> Result<(), String> {
    let document = Document::parse(file, text);
    let read = read_brief_alone(asked.id.as_str(), document.root(), catalogue);
    let faults = document.into_faults();
    if let Some(first) = faults.first() {
        return Err(format!("the file would not be read: {first}"));
    }
    let read = read.map(|read| Brief {
        rules: asked.rules.clone(),
        ..read
    });
    match read.as_ref() == Some(asked) {
        true => Ok(()),
        false => Err(format!(
            "{file} says something else than the settings in force"
        )),
    }
}

/// The differences as lines, in the form that `patch` takes; empty where there are none.
fn difference(file: &str, before: &str, after: &str) -> String {
    TextDiff::from_lines(before, after)
        .unified_diff()
        .context_radius(CONTEXT)
        .header(file, file)
        .to_string()
}

/// Writes a file whole or not at all, with the permissions that it had.
///
/// # Errors
/// What the system says.
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    // A link stays one.
    let path = path.canonicalize()?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let permissions = std::fs::metadata(&path)?.permissions();
    let mut file = tempfile::Builder::new()
        .permissions(permissions)
        .tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    file.persist(&path)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = "\
# My brief.
name = \"Quiet\"
budget = \"950.00\" # as agreed
currency = \"EUR\"

# The seats.
[[role]]
id = \"processor\" # the usual
kind = \"cpu\"

[[role]]
kind = \"gpu\"
owned = \"old-one\"
";

    fn brief(budget: i64) -> Brief {
        use crate::market::RoleId;
        use crate::money::{Currency, Money};
        let budget = Money::from_minor(budget, Currency::parse("EUR").unwrap());
        let mut brief = Brief::ad_hoc(budget, "DE", Vec::new());
        for role in &mut brief.roles {
            if role.kind.name() == "cpu" {
                role.id = RoleId::new("processor");
            }
        }
        brief
    }

    #[test]
    fn what_is_there_stays_as_it_is_with_every_comment() {
        let pair = |role: &str, part: &str| (role.to_owned(), part.to_owned());
        let changes = Changes {
            budget: Some("1200.5".to_owned()),
            pins: vec![pair("graphics", "new-one"), pair("case", "box")],
            owned: vec![pair("processor", "brisk-6")],
            bans: vec!["loud".to_owned(), "part-1".to_owned()],
            most_retailers: Some(2),
            prices: Vec::new(),
        };
        let part = Named::Part(crate::catalogue::PartId::new("part-1"));
        let bans = [(Named::Brand, "loud"), (part, "part-1")];
        let after = edited(FILE, &brief(120_050), &changes, &bans).unwrap();
        let wanted = [
            r#"--- briefs/quiet.toml"#,
            r#"+++ briefs/quiet.toml"#,
            r#"@@ -1,13 +1,24 @@"#,
            r#" # My brief."#,
            r#" name = "Quiet""#,
            r#"-budget = "950.00" # as agreed"#,
            r#"+budget = "1200.50" # as agreed"#,
            r#" currency = "EUR""#,
            r#"+most_retailers = 2"#,
            r#" "#,
            r#" # The seats."#,
            r#" [[role]]"#,
            r#" id = "processor" # the usual"#,
            r#" kind = "cpu""#,
            r#"+owned = "brisk-6""#,
            r#" "#,
            r#" [[role]]"#,
            r#" kind = "gpu""#,
            r#"-owned = "old-one""#,
            r#"+pin = "new-one""#,
            r#"+"#,
            r#"+[[role]]"#,
            r#"+id = "case""#,
            r#"+kind = "case""#,
            r#"+pin = "box""#,
            r#"+"#,
            r#"+[ban]"#,
            r#"+brands = ["loud"]"#,
            r#"+parts = ["part-1"]"#,
            "",
        ];
        let shown = difference("briefs/quiet.toml", FILE, &after);
        assert_eq!(shown, wanted.join("\n"));
        assert_eq!(edited(&after, &brief(120_050), &changes, &bans), Ok(after));
        assert_eq!(difference("f", FILE, FILE), "");
    }

    #[test]
    fn a_file_that_cannot_be_edited_is_left() {
        let changes = Changes {
            pins: vec![("processor".to_owned(), "a".to_owned())],
            ..Changes::default()
        };
        for text in ["role = 1", "role = [{ kind = \"cpu\" }]", "x = "] {
            assert!(edited(text, &brief(1), &changes, &[]).is_err(), "{text}");
        }
    }
}
