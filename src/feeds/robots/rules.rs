//! Reads one robots.txt and says whether a path may be fetched.

use super::READ_BYTES;
use std::time::Duration;

/// The rules of one file for one product token.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RobotsRules {
    rules: Vec<Rule>,
    crawl_delay: Option<Duration>,
    /// True when the file held no line of the grammar, as an HTML page does.
    pub is_unreadable: bool,
}

/// May it be fetched?
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    Allowed,
    /// With the rule that says so.
    Refused {
        rule: String,
    },
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Rule {
    allows: bool,
    /// Normalised, with `*` and `$` still special.
    pattern: String,
}

/// The longest pause that a `Crawl-delay` can ask for. Common practice, no source: it is not in
/// the RFC, and a larger value would stop a feed of many pages altogether.
const LONGEST_CRAWL_DELAY: Duration = Duration::from_secs(60);

impl RobotsRules {
    /// Reads the groups that speak to `product`, else those that speak to `*`.
    pub fn parse(bytes: &[u8], product: &str) -> RobotsRules {
        let most = usize::try_from(READ_BYTES).unwrap_or(usize::MAX);
        let bytes = &bytes[..bytes.len().min(most)];
        let text = String::from_utf8_lossy(bytes);
        let (mut own, mut everyone) = (Group::default(), Group::default());
        let mut n_lines_read = 0;
        // Which groups the rules that follow belong to, and whether a rule has followed yet.
        let (mut to_own, mut to_everyone, mut in_rules) = (false, false, false);
        for line in text.trim_start_matches('\u{feff}').split(['\n', '\r']) {
            let line = line.split('#').next().unwrap_or_default();
            let Some((key, value)) = line.split_once(':') else {
                continue;
            };
            let (key, value) = (key.trim().to_ascii_lowercase(), value.trim());
            let is_rule = matches!(key.as_str(), "allow" | "disallow" | "crawl-delay");
            if key == "user-agent" {
                if in_rules {
                    (to_own, to_everyone, in_rules) = (false, false, false);
                }
                to_own |= product_token(value).eq_ignore_ascii_case(product);
                to_everyone |= value.starts_with('*');
            } else if is_rule {
                in_rules = true;
                if to_own {
                    own.add(&key, value);
                }
                if to_everyone {
                    everyone.add(&key, value);
                }
            }
            own.is_named |= to_own;
            n_lines_read +=
                usize::from(is_rule || matches!(key.as_str(), "user-agent" | "sitemap"));
        }
        let group = if own.is_named { own } else { everyone };
        RobotsRules {
            rules: group.rules,
            crawl_delay: group.crawl_delay,
            is_unreadable: n_lines_read == 0 && !text.trim().is_empty(),
        }
    }

    /// Whether a path, with its query, may be fetched.
    ///
    /// The rule with the most octets wins; between equals, the one that allows.
    pub fn verdict(&self, path_and_query: &str) -> Verdict {
        if path_and_query == "/robots.txt" {
            return Verdict::Allowed;
        }
        let path = normalise(path_and_query, Special::Literal);
        let strongest = self
            .rules
            .iter()
            .filter(|rule| matches(&rule.pattern, &path))
            .max_by_key(|rule| (rule.pattern.len(), rule.allows));
        match strongest {
            Some(rule) if !rule.allows => Verdict::Refused {
                rule: format!("Disallow: {}", rule.pattern),
            },
            _ => Verdict::Allowed,
        }
    }

    /// The pause that the file asks for between two requests, capped at a minute.
    pub fn crawl_delay(&self) -> Option<Duration> {
        self.crawl_delay
    }
}

#[derive(Default)]
struct Group {
    is_named: bool,
    rules: Vec<Rule>,
    crawl_delay: Option<Duration>,
}

impl Group {
    fn add(&mut self, key: &str, value: &str) {
        if key == "crawl-delay" {
            let seconds: Option<f64> = value.parse().ok();
            let delay = seconds
                .map(|seconds| seconds.clamp(0.0, LONGEST_CRAWL_DELAY.as_secs_f64()))
                .and_then(|seconds| Duration::try_from_secs_f64(seconds).ok());
            self.crawl_delay = self.crawl_delay.max(delay);
        } else if !value.is_empty() {
            // An empty rule forbids nothing and allows nothing.
            self.rules.push(Rule {
                allows: key == "allow",
                pattern: normalise(value, Special::Kept),
            });
        }
    }
}

/// The letters, `_` and `-` at the start: `foobot/2.1` names the product `foobot`.
fn product_token(value: &str) -> &str {
    let end = value
        .find(|letter: char| !(letter.is_ascii_alphabetic() || letter == '_' || letter == '-'))
        .unwrap_or(value.len());
    &value[..end]
}

/// What `*` and `$` are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Special {
    /// As in a rule, where they are special.
    Kept,
    /// As in a path, where they are themselves and a rule writes them `%2A` and `%24`.
    Literal,
}

/// Brings a path into one form: octets outside ASCII percent-encoded, escapes in upper case,
/// escaped unreserved octets bare, reserved ones left as they are (RFC 9309 2.2.2).
fn normalise(path: &str, special: Special) -> String {
    let bytes = path.as_bytes();
    let mut normal = String::with_capacity(path.len());
    let mut at = 0;
    while let Some(byte) = bytes.get(at) {
        let escaped = bytes
            .get(at + 1..at + 3)
            .filter(|_| *byte == b'%')
            .and_then(|digits| Some(hex_digit(digits[0])? << 4 | hex_digit(digits[1])?));
        match escaped {
            Some(octet) if is_unreserved(octet) => normal.push(char::from(octet)),
            Some(octet) => normal.push_str(&format!("%{octet:02X}")),
            None if special == Special::Literal && matches!(byte, b'*' | b'$') => {
                normal.push_str(&format!("%{byte:02X}"));
            }
            None if byte.is_ascii_graphic() => normal.push(char::from(*byte)),
            None => normal.push_str(&format!("%{byte:02X}")),
        }
        at += if escaped.is_some() { 3 } else { 1 };
    }
    normal
}

fn hex_digit(digit: u8) -> Option<u8> {
    char::from(digit)
        .to_digit(16)
        .and_then(|digit| u8::try_from(digit).ok())
}

fn is_unreserved(octet: u8) -> bool {
    octet.is_ascii_alphanumeric() || matches!(octet, b'-' | b'.' | b'_' | b'~')
}

/// `*` stands for any run, a last `$` for the end. One pass: each piece takes the first place it
/// fits, so that no pattern costs more than its length times the path's.
fn matches(pattern: &str, path: &str) -> bool {
    let (pattern, to_the_end) = match pattern.strip_suffix('$') {
        Some(pattern) => (pattern, true),
        None => (pattern, false),
    };
    let mut pieces = pattern.split('*');
    let Some(mut rest) = path.strip_prefix(pieces.next().unwrap_or_default()) else {
        return false;
    };
    let mut pieces = pieces.peekable();
    if pieces.peek().is_none() {
        return !to_the_end || rest.is_empty();
    }
    while let Some(piece) = pieces.next() {
        if to_the_end && pieces.peek().is_none() {
            return rest.ends_with(piece);
        }
        match rest.find(piece) {
            Some(found) => rest = &rest[found + piece.len()..],
            None => return false,
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    fn allows(text: &str, path: &str) -> bool {
        RobotsRules::parse(text.as_bytes(), "rigtide").verdict(path) == Verdict::Allowed
    }

    // RFC 9309 2.2.1 to 2.2.3; pitfalls by their ids. The full table is checked in `tests/`.
    #[test]
    fn groups_and_rules_follow_the_standard() {
        for (text, path, expected) in [
            // R02.
            ("\u{feff}User-agent: *\nDisallow: /x", "/x", false),
            // R03.
            (
                "User-agent: a\n\nUser-agent: *\n\n\nDisallow: /x",
                "/x",
                false,
            ),
            // R04, in either order.
            (
                "User-agent: *\nDisallow: /\nUser-agent: rigtide\nDisallow: /p",
                "/x",
                true,
            ),
            (
                "User-agent: Rigtide/1.0\nDisallow: /p\nUser-agent: *\nAllow: /",
                "/p",
                false,
            ),
            // R05: the longest match, a tie, an empty rule.
            ("User-agent: *\nDisallow: /\nAllow: /p/", "/p/1", true),
            ("User-agent: *\nDisallow: /\nAllow: /p/", "/q", false),
            ("User-agent: *\nDisallow: /p/\nAllow: /p/", "/p/1", true),
            ("User-agent: *\nDisallow:", "/x", true),
            // R06.
            ("User-agent: *\nDisallow: /*?sort=", "/x?a=1&sort=2", true),
            ("User-agent: *\nDisallow: /*?sort=", "/x?sort=2", false),
            ("User-agent: *\nDisallow: /*.json$", "/a.json", false),
            ("User-agent: *\nDisallow: /*.json$", "/a.json?b", true),
            // R07.
            ("User-agent: *\nDisallow: /a%2Fb", "/a/b", true),
            ("User-agent: *\nDisallow: /a%2fb", "/a%2Fb", false),
            (
                "User-agent: rigtide\nUser-agent: *\nCrawl-delay: 5",
                "/x",
                true,
            ),
        ] {
            assert_eq!(allows(text, path), expected, "{text:?} {path}");
        }
    }

    #[test]
    fn a_crawl_delay_is_read_and_capped() {
        for (value, expected) in [
            ("10", Some(10.0)),
            ("0.5", Some(0.5)),
            ("86400", Some(60.0)),
            ("-3", Some(0.0)),
            ("NaN", None),
            ("soon", None),
        ] {
            let text = format!("User-agent: *\nCrawl-delay: {value}\n");
            let rules = RobotsRules::parse(text.as_bytes(), "rigtide");
            let expected = expected.map(Duration::from_secs_f64);
            assert_eq!(rules.crawl_delay(), expected, "{value}");
        }
    }

    #[test]
    fn a_web_page_is_no_rules_and_says_so() {
        let rules = RobotsRules::parse(b"<!doctype html><p>Log in", "rigtide");
        assert!(rules.is_unreadable);
        assert_eq!(rules.verdict("/x"), Verdict::Allowed);
        assert!(!RobotsRules::parse(b"", "rigtide").is_unreadable);
        assert!(!RobotsRules::parse(b"Sitemap: https://a.example/s", "rigtide").is_unreadable);
    }

    #[test]
    fn a_rule_beyond_the_size_that_is_read_does_not_count() {
        let mut text = "User-agent: *\nDisallow: /near\n".to_owned();
        text.push_str(&"# filler\n".repeat(60_000));
        text.push_str("Disallow: /far\n");
        assert!(!allows(&text, "/near"));
        assert!(allows(&text, "/far"));
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text: String, path: String) {
            let rules = RobotsRules::parse(text.as_bytes(), "rigtide");
            let _ = rules.verdict(&path);
        }

        #[test]
        fn a_path_matches_itself_and_what_begins_with_it(path in "/[a-zA-Z0-9/%._~*$é-]{0,20}", more in "[a-z/]{0,5}") {
            let rule = path.replace('*', "%2A").replace('$', "%24");
            let text = format!("User-agent: *\nDisallow: {rule}\n");
            let deeper = format!("{path}/{more}");
            proptest::prop_assert!(!allows(&text, &deeper));
        }
    }
}
