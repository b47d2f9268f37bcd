//! Bulletins as entries of an Atom feed file (RFC 4287).
//!
//! The file is written beside and renamed, so that who reads it finds the old feed or the new one.
//! It holds the newest bulletins; an entry's id and dates come from its bulletin alone and stay
//! the same when the file is made anew, moved or served elsewhere. A file that this channel did not
//! write is left alone.

use crate::catalogue::table::Table;
use crate::decide::Bulletin;
use crate::notify::body::{one_line, within_page};
use crate::notify::channel::{Channel, DeliveryFault, Pause, Sending};
use crate::notify::registry::ChannelKind;
use crate::notify::secrets::Secrets;
use chrono::SecondsFormat;
use ring::digest::{SHA256, digest};
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "atom",
    about: "Keeps the newest bulletins in the Atom feed `file`, under `title`; `address` is where \
            it is read, if it is served.",
    read,
};

const ENTRIES_MAX: usize = 50;
const OURS: &str = "<!-- Written by rigtide; changes by hand are lost. -->";
const ENTRY: &str = "<entry>";
const ENTRY_END: &str = "</entry>\n";

struct Atom {
    file: PathBuf,
    title: String,
    address: Option<String>,
    /// One writer at a time.
    writing: Mutex<()>,
}

impl Channel for Atom {
    fn address(&self) -> String {
        self.file.display().to_string()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move { self.write(bulletin) })
    }

    fn feed(&self) -> Option<String> {
        let text = fs::read_to_string(&self.file).ok();
        text.filter(|text| text.contains(OURS))
    }

    fn preview(&self, bulletin: &Bulletin) -> String {
        entry(bulletin)
    }
}

impl Atom {
    fn write(&self, bulletin: &Bulletin) -> Result<(), DeliveryFault> {
        let _writing = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let failed = |error: io::Error| {
            passing(format!(
                "{} cannot be written: {error}",
                self.file.display()
            ))
        };
        let before = match fs::read_to_string(&self.file) {
            Ok(text) if text.contains(OURS) => text,
            Ok(_) => {
                let file = self.file.display();
                let reason = format!("{file} is no feed of this program: move it away");
                return Err(passing(reason));
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(failed(error)),
        };
        put(&self.file, &self.feed(&before, bulletin)).map_err(failed)
    }

    /// The feed with a bulletin put first among those that it had.
    fn feed(&self, before: &str, bulletin: &Bulletin) -> String {
        let new = entry(bulletin);
        let id = format!("<id>{}</id>", uuid(bulletin.id.as_str()));
        let known = entries(before).filter(|known| !known.contains(&id));
        let mut all: Vec<&str> = std::iter::once(new.as_str()).chain(known).collect();
        // The latest first, however late it was delivered.
        all.sort_by(|one, other| updated(other).cmp(updated(one)));
        all.truncate(ENTRIES_MAX);
        let newest = all.first().map_or("", |first| updated(first));
        // A feed keeps its id wherever its file goes.
        let feed_id = head(before).and_then(|head| between(head, "<id>", "</id>"));
        let feed_id = feed_id.map_or_else(|| uuid(&self.address()), str::to_owned);
        let link = self.address.as_ref().map_or(String::new(), |address| {
            let address = escaped(address);
            format!("  <link rel=\"self\" href=\"{address}\"/>\n")
        });
        format!(
            "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n{OURS}\n\
             <feed xmlns=\"http://www.w3.org/2005/Atom\">\n  <id>{feed_id}</id>\n  \
             <title>{}</title>\n  <updated>{newest}</updated>\n  \
             <author><name>rigtide</name></author>\n{link}{}</feed>\n",
            escaped(&self.title),
            all.concat()
        )
    }
}

fn entry(bulletin: &Bulletin) -> String {
    let at = bulletin.at.to_rfc3339_opts(SecondsFormat::Millis, true);
    // RFC 4287, section 4.1.3.3: what could stand in a `div`.
    let (kind, content) = match within_page(bulletin) {
        Some(body) => ("html", body),
        None => ("text", bulletin.text.as_str()),
    };
    format!(
        "{ENTRY}\n    <id>{}</id>\n    <title>{}</title>\n    <published>{at}</published>\n    \
         <updated>{at}</updated>\n    <category term=\"{}\"/>\n    \
         <content type=\"{kind}\">{}</content>\n{ENTRY_END}",
        uuid(bulletin.id.as_str()),
        escaped(&one_line(&bulletin.subject)),
        escaped(&bulletin.brief),
        escaped(content),
    )
}

/// The entries of a feed as this channel writes them: no text within has a `<` of its own.
fn entries(feed: &str) -> impl Iterator<Item = &str> {
    feed.split_inclusive(ENTRY_END).filter_map(|piece| {
        let start = piece.find(ENTRY)?;
        piece.ends_with(ENTRY_END).then(|| &piece[start..])
    })
}

fn head(feed: &str) -> Option<&str> {
    let end = feed.find(ENTRY).unwrap_or(feed.len());
    Some(&feed[..end]).filter(|head| !head.is_empty())
}

fn updated(entry: &str) -> &str {
    between(entry, "<updated>", "</updated>").unwrap_or("")
}

fn between<'t>(text: &'t str, from: &str, to: &str) -> Option<&'t str> {
    let (_, rest) = text.split_once(from)?;
    Some(rest.split_once(to)?.0)
}

/// Text as XML 1.0 can hold it: control characters are none of its characters (section 2.2).
fn escaped(text: &str) -> String {
    let is_character = |one: &char| matches!(one, '\t' | '\n' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    let plain: String = text.chars().filter(is_character).collect();
    html_escape::encode_quoted_attribute(&plain).into_owned()
}

/// A name-based id of 122 bits of SHA-256 (RFC 9562, section 5.8: version 8).
fn uuid(name: &str) -> String {
    let digest = digest(&SHA256, name.as_bytes());
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest.as_ref()[..16]);
    bytes[6] = bytes[6] & 0x0f | 0x80;
    bytes[8] = bytes[8] & 0x3f | 0x80;
    let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let parts = [
        &hex[..8],
        &hex[8..12],
        &hex[12..16],
        &hex[16..20],
        &hex[20..],
    ];
    format!("urn:uuid:{}", parts.join("-"))
}

/// Writes beside and renames, durably.
fn put(path: &Path, text: &str) -> io::Result<()> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    let mut beside = tempfile::Builder::new()
        .prefix(".rigtide-feed-")
        .tempfile_in(folder)?;
    beside.write_all(text.as_bytes())?;
    readable(beside.as_file())?;
    beside.as_file().sync_all()?;
    beside.persist(path).map_err(|error| error.error)?;
    Ok(())
}

/// A feed is there to be read by a server that runs as somebody else.
#[cfg(unix)]
fn readable(file: &fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    file.set_permissions(fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable(_: &fs::File) -> io::Result<()> {
    Ok(())
}

fn passing(reason: String) -> DeliveryFault {
    let pause = Pause::Unsaid;
    DeliveryFault::Passing { reason, pause }
}

fn read(table: &mut Table<'_, '_>, secrets: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    let file = table.required_text("file")?;
    let title = table
        .text("title")
        .map_or_else(|| "Bulletins on PC builds".to_owned(), |title| title.value);
    let address = table.text("address").map(|address| address.value);
    Some(Arc::new(Atom {
        file: secrets.place(Path::new(&file.value)),
        title,
        address,
        writing: Mutex::new(()),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::BulletinId;
    use crate::notify::samples::{bulletin, channel};
    use chrono::TimeDelta;

    fn atom(file: &Path) -> Arc<dyn Channel> {
        let file = file.display();
        channel(&format!(
            "kind = \"atom\"\nfile = '{file}'\ntitle = \"A & B\"\n\
             address = \"https://guides.example/feed.xml?a=1&b=2\""
        ))
    }

    fn nth(number: i64) -> Bulletin {
        let at = bulletin().at + TimeDelta::minutes(number);
        Bulletin {
            id: BulletinId::derive("media-room", "{}", at),
            at,
            ..bulletin()
        }
    }

    #[tokio::test]
    async fn the_feed_is_atom_and_escapes_what_it_is_given() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("sub/feed.xml");
        atom(&file).send(&bulletin()).await.unwrap();
        insta::assert_snapshot!(
            fs::read_to_string(&file)
                .unwrap()
                .replace(&uuid(&file.display().to_string()), "urn:uuid:OF-THE-FILE")
        );
    }

    #[tokio::test]
    async fn a_bulletin_that_comes_twice_is_one_entry_and_a_late_one_goes_to_its_place() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("feed.xml");
        let channel = atom(&file);
        for number in [0, 2, 1, 2] {
            channel.send(&nth(number)).await.unwrap();
        }
        let feed = fs::read_to_string(&file).unwrap();
        let found: Vec<&str> = entries(&feed).map(updated).collect();
        let times = ["22:15:20", "22:14:20", "22:13:20"];
        let expected = times.map(|time| format!("2023-11-14T{time}.123Z"));
        assert_eq!(found, expected);
        assert_eq!(between(&feed, "<updated>", "</updated>"), Some(found[0]));
    }

    #[tokio::test]
    async fn ids_and_dates_stay_when_the_file_moves_and_the_oldest_leave() {
        // Pitfall N13.
        let folder = tempfile::tempdir().unwrap();
        let [old, new] = ["old.xml", "new.xml"].map(|name| folder.path().join(name));
        for number in 0..60 {
            atom(&old).send(&nth(number)).await.unwrap();
        }
        let before = fs::read_to_string(&old).unwrap();
        assert_eq!(entries(&before).count(), ENTRIES_MAX);
        fs::rename(&old, &new).unwrap();
        atom(&new).send(&nth(59)).await.unwrap();
        assert_eq!(fs::read_to_string(&new).unwrap(), before);
    }

    #[tokio::test]
    async fn a_file_of_somebody_else_s_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("feed.xml");
        fs::write(&file, "<feed/>").unwrap();
        let fault = atom(&file).send(&bulletin()).await.unwrap_err();
        assert!(
            fault
                .to_string()
                .ends_with("is no feed of this program: move it away")
        );
        assert_eq!(fs::read_to_string(&file).unwrap(), "<feed/>");
        // Pitfall N14: what cannot be written leaves the old feed, and nothing beside it.
        let nowhere = file.join("feed.xml");
        assert!(atom(&nowhere).send(&bulletin()).await.is_err());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn an_id_is_a_uuid_of_version_8() {
        // RFC 9562, sections 4.1 and 4.2: the variant is 10, the version is in the 13th digit. The
        // digits are those of coreutils sha256sum over "abc", begun by FIPS 180-2's ba7816bf.
        assert_eq!(uuid("abc"), "urn:uuid:ba7816bf-8f01-8fea-8141-40de5dae2223");
    }
}
