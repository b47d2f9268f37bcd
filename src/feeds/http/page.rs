//! Tells whole answers that look like success from what the feed promises.
//!
//! A login, consent, bot-check or maintenance page comes with status 200 as the data would. The
//! phrases below are common practice, no source. Nothing here tries to get round a wall.

use super::fault::{Reason, Wall};

/// What a feed's format promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Expects {
    /// CSV, JSON, XML or an archive of them.
    Data,
    /// Web pages with offers in them.
    WebPage,
}

/// As much of a body as is looked at, in bytes.
pub(super) const LOOKED_AT_BYTES: u64 = 256 * 1024;

/// A page with one of these states an offer, whatever else it shows.
const OFFER_MARKS: &[&str] = &[
    "application/ld+json",
    "itemprop=\"price",
    "itemprop='price",
    "itemprop=price",
    "property=\"price\"",
    "product:price",
    "og:price",
];

const CHALLENGE: &[&str] = &[
    "just a moment",
    "attention required",
    "access denied",
    "access to this page",
    "are you a robot",
    "are you human",
    "not a robot",
    "kein roboter",
    "robot check",
    "bot check",
    "verify you are",
    "human verification",
    "checking your browser",
    "security check",
    "sicherheitsüberprüfung",
    "sicherheitsprüfung",
    "unusual traffic",
    "request blocked",
    "pardon our interruption",
    "captcha",
    "one more step",
    "zugriff verweigert",
    "accès refusé",
];

const CONSENT: &[&str] = &[
    "before you continue",
    "bevor sie fortfahren",
    "bevor du fortfährst",
    "avant de continuer",
    "cookie consent",
    "your privacy",
    "ihre privatsphäre",
    "consent required",
    "privacy settings",
    "datenschutzeinstellungen",
];

const LOGIN: &[&str] = &[
    "log in",
    "login",
    "sign in",
    "signin",
    "anmelden",
    "anmeldung",
    "einloggen",
    "connexion",
    "iniciar sesión",
    "accedi",
    "inloggen",
    "logga in",
    "zaloguj",
];

const MAINTENANCE: &[&str] = &[
    "maintenance",
    "wartung",
    "be right back",
    "temporarily unavailable",
    "vorübergehend nicht",
    "under construction",
    "onderhoud",
    "mantenimiento",
    "manutenzione",
];

const NOT_FOUND: &[&str] = &[
    "not found",
    "404",
    "no longer available",
    "page doesn't exist",
    "nicht gefunden",
    "nicht mehr verfügbar",
    "introuvable",
    "no encontrad",
    "non trovat",
    "niet gevonden",
];

/// Looks at the beginning of a whole body, unpacked.
///
/// # Errors
/// The answer is not what the feed promises, and why.
pub fn inspect(head: &[u8], expects: Expects) -> Result<(), Reason> {
    let text = String::from_utf8_lossy(head);
    let lower = text.to_lowercase();
    let is_page = is_web_page(&lower);
    if expects == Expects::Data && !is_page {
        return Ok(());
    }
    let title = title(&text);
    if OFFER_MARKS.iter().any(|mark| lower.contains(mark)) {
        // A page with offers where data was promised is still not the data.
        return match expects {
            Expects::WebPage => Ok(()),
            Expects::Data => Err(Reason::WebPage { title }),
        };
    }
    if let Some(reason) = wall(&lower, &title) {
        return Err(reason);
    }
    match expects {
        Expects::Data => Err(Reason::WebPage { title }),
        Expects::WebPage => Ok(()),
    }
}

fn wall(lower: &str, title: &str) -> Option<Reason> {
    let lower_title = title.to_lowercase();
    let heading = between(lower, "<h1", "</h1").unwrap_or_default();
    let says = |phrases: &[&str]| {
        phrases
            .iter()
            .any(|phrase| lower_title.contains(phrase) || heading.contains(phrase))
    };
    let title = title.to_owned();
    let blocked = |wall| Some(Reason::Blocked { wall });
    let asks_password = lower.contains("type=\"password\"")
        || lower.contains("type='password'")
        || lower.contains("type=password");
    let only_for_scripts = lower.contains("<noscript")
        && lower.contains("enable javascript")
        && !lower.contains("<a ");
    if says(CHALLENGE) || only_for_scripts {
        return blocked(Wall::Challenge { title });
    }
    if says(CONSENT) {
        return blocked(Wall::Consent { title });
    }
    // A shop's page may offer a login beside its offers; a login page is titled as one.
    if says(LOGIN) && (asks_password || lower.contains("<form")) {
        return blocked(Wall::Login { title });
    }
    if says(MAINTENANCE) {
        return blocked(Wall::Maintenance { title });
    }
    says(NOT_FOUND).then_some(Reason::NotFoundPage { title })
}

/// True when the text begins as HTML does, after a byte-order mark, a prolog and comments.
fn is_web_page(lower: &str) -> bool {
    let mut rest = lower.trim_start_matches('\u{feff}').trim_start();
    loop {
        let skipped = if rest.starts_with("<!--") {
            rest.split_once("-->")
        } else if rest.starts_with("<?xml") {
            rest.split_once("?>")
        } else {
            break;
        };
        match skipped {
            Some((_, after)) => rest = after.trim_start(),
            None => return false,
        }
    }
    const STARTS: &[&str] = &[
        "<!doctype html",
        "<html",
        "<head",
        "<body",
        "<script",
        "<title",
        "<meta",
    ];
    STARTS.iter().any(|start| {
        rest.strip_prefix(start)
            .is_some_and(|after| !after.starts_with(|next: char| next.is_alphanumeric()))
    })
}

/// The text of the title, on one line and short.
fn title(text: &str) -> String {
    const MOST_CHARACTERS: usize = 80;
    // Lower-casing may move letters outside ASCII, so the tags are found without it.
    let lower = text.to_ascii_lowercase();
    let inner = lower.find("<title").and_then(|open| {
        let begin = open + lower[open..].find('>')? + 1;
        let end = begin + lower[begin..].find("</title")?;
        text.get(begin..end)
    });
    let words: Vec<&str> = inner.unwrap_or_default().split_whitespace().collect();
    words.join(" ").chars().take(MOST_CHARACTERS).collect()
}

fn between<'t>(text: &'t str, open: &str, close: &str) -> Option<&'t str> {
    let begin = text.find(open)?;
    let end = begin + text[begin..].find(close)?;
    Some(&text[begin..end])
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHOP_PAGE: &str = "<!doctype html><title>Tern 7 board - Kestrel Parts</title>\
        <form action=/login><input type=\"password\"></form>\
        <script type=\"application/ld+json\">{\"@type\":\"Product\"}</script>";

    #[test]
    fn data_that_is_data_passes() {
        for body in [
            "id;title;price\n1;Board;9,90\n",
            "{\"login\": \"<html>\"}",
            "<?xml version=\"1.0\"?>\n<products><title>Log in</title></products>",
            "<htmlfeed><x/></htmlfeed>",
            "<rss><channel/></rss>",
            "",
        ] {
            assert_eq!(inspect(body.as_bytes(), Expects::Data), Ok(()), "{body}");
        }
    }

    // Pitfall H06: HTML where data is configured.
    #[test]
    fn a_web_page_is_not_data() {
        for body in [
            "<!DOCTYPE HTML><html><title>Our\n shop</title>",
            "\u{feff}\n<!-- x --><html lang=en><title>Our shop</title>",
            "<?xml version=\"1.0\"?><!DOCTYPE html PUBLIC \"x\"><html><title>Our shop</title>",
        ] {
            let title = "Our shop".to_owned();
            let expected = Err(Reason::WebPage { title });
            assert_eq!(inspect(body.as_bytes(), Expects::Data), expected, "{body}");
        }
        assert!(inspect(SHOP_PAGE.as_bytes(), Expects::Data).is_err());
    }

    // Pitfalls H07 and H08: walls and missing products, with status 200.
    #[test]
    fn walls_are_told_apart() {
        let page =
            |title: &str, body: &str| format!("<html><head><title>{title}</title></head>{body}");
        let title = |text: &str| text.to_owned();
        for (body, expected) in [
            (
                page("Just a moment", "<p>…"),
                Reason::Blocked {
                    wall: Wall::Challenge {
                        title: title("Just a moment"),
                    },
                },
            ),
            (
                page(
                    "",
                    "<noscript>Please enable JavaScript to go on</noscript><script src=x></script>",
                ),
                Reason::Blocked {
                    wall: Wall::Challenge { title: title("") },
                },
            ),
            (
                page("Anmelden | Kestrel", "<form><input type=password></form>"),
                Reason::Blocked {
                    wall: Wall::Login {
                        title: title("Anmelden | Kestrel"),
                    },
                },
            ),
            (
                page("Bevor Sie fortfahren", "<form>"),
                Reason::Blocked {
                    wall: Wall::Consent {
                        title: title("Bevor Sie fortfahren"),
                    },
                },
            ),
            (
                page("Kestrel", "<h1 class=x>Scheduled maintenance</h1>"),
                Reason::Blocked {
                    wall: Wall::Maintenance {
                        title: title("Kestrel"),
                    },
                },
            ),
            (
                page("Product not found", ""),
                Reason::NotFoundPage {
                    title: title("Product not found"),
                },
            ),
        ] {
            assert_eq!(
                inspect(body.as_bytes(), Expects::WebPage),
                Err(expected),
                "{body}"
            );
        }
    }

    #[test]
    fn a_shop_page_with_a_login_box_is_a_shop_page() {
        assert_eq!(inspect(SHOP_PAGE.as_bytes(), Expects::WebPage), Ok(()));
        let plain = "<html><title>Tern 7 board</title><p class=price>99,00 €</p>";
        assert_eq!(inspect(plain.as_bytes(), Expects::WebPage), Ok(()));
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_panic(head: Vec<u8>) {
            let _ = inspect(&head, Expects::Data);
            let _ = inspect(&head, Expects::WebPage);
        }
    }
}
