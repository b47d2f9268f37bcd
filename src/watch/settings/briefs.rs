//! Briefs with what they ask to be told, checked against the channels.

use super::{File, Program};
use crate::catalogue::table::{Document, Table, nearest};
use crate::catalogue::{Catalogue, Fault};
use crate::decide::Telling;
use crate::market::{Brief, BriefId, read_country};
use crate::money::Currency;
use crate::notify::Channels;
use std::collections::BTreeMap;

type Told = BTreeMap<BriefId, Telling>;
type Abroad = BTreeMap<BriefId, Vec<String>>;

pub(super) fn read_briefs(
    files: &[File],
    catalogue: &Catalogue,
    program: Option<&Program>,
    faults: &mut Vec<Fault>,
) -> (Vec<Brief>, Told, Abroad) {
    let (mut briefs, mut telling) = (Vec::new(), Told::new());
    let mut abroad = Abroad::new();
    for file in files {
        let document = Document::parse(&file.name, &file.text);
        let mut root = document.root();
        let told = read_telling(&mut root, file);
        let countries = read_countries(&mut root);
        let brief = Brief::read(&file.stem, root, catalogue);
        if let (Some(mut brief), Some(program)) = (brief, program) {
            check_channels(&brief, &program.channels, &document);
            telling.insert(brief.id.clone(), told);
            abroad.insert(brief.id.clone(), countries);
            brief.rules = program.rules.clone();
            briefs.push(brief);
        }
        faults.extend(document.into_faults());
    }
    (briefs, telling, abroad)
}

/// A brief alone, as its file would be read: what it asks to be told is looked at, channels are not.
pub fn read_brief_alone(id: &str, mut root: Table<'_, '_>, catalogue: &Catalogue) -> Option<Brief> {
    let code = root.text("currency");
    let currency = code.and_then(|code| Currency::parse(&code.value).ok());
    Telling::read(&mut root, currency, &[]);
    read_countries(&mut root);
    Brief::read(id, root, catalogue)
}

/// The countries besides its own that a brief's guide is for.
fn read_countries(root: &mut Table<'_, '_>) -> Vec<String> {
    let codes = root.texts("countries").map(|at| at.value);
    let codes = codes.into_iter().flatten();
    codes
        .filter_map(|code| read_country(root, &code.value, &code.span))
        .collect()
}

/// What a brief asks to be told. Its faults that others find are left to them.
fn read_telling(root: &mut Table<'_, '_>, file: &File) -> Telling {
    let silent = Document::parse(&file.name, &file.text);
    let mut peek = silent.root();
    let code = peek.text("currency");
    let currency = code.and_then(|code| Currency::parse(&code.value).ok());
    let channels = peek.texts("channels").map(|texts| texts.value);
    let channels: Vec<String> = channels
        .unwrap_or_default()
        .into_iter()
        .map(|channel| channel.value)
        .collect();
    Telling::read(root, currency, &channels)
}

fn check_channels(brief: &Brief, channels: &Channels, document: &Document<'_>) {
    let mut root = document.root();
    let mut named = root
        .texts("channels")
        .map(|texts| texts.value)
        .unwrap_or_default();
    for mut asked in root.tables("tell") {
        named.extend(
            asked
                .texts("channels")
                .into_iter()
                .flat_map(|texts| texts.value),
        );
    }
    for name in named
        .iter()
        .filter(|name| !channels.contains_key(&name.value))
    {
        let remedy = match nearest(&name.value, channels.keys().map(String::as_str)) {
            Some(known) => format!("did you mean \"{known}\"?"),
            None => "define it with [[channel]] in rigtide.toml".to_owned(),
        };
        let message = format!(
            "the brief \"{}\" names no channel \"{}\"",
            brief.id, name.value
        );
        document.fault(&name.span, message, remedy);
    }
}
