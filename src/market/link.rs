//! Links to offers as readers get them: the shop's own, or by the author's template with their tag.
//!
//! What a feed adds to its links to track readers is taken away, and so is the tag that the author
//! has at another retailer. A tag comes from the retailer's own file alone.

use crate::catalogue::table::Table;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use url::Url;

/// How a retailer's links are made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LinkTerms {
    form: Form,
    /// The author's, by which the retailer knows who sent a reader.
    tag: Option<String>,
    /// Parameters of the feed's links that are taken away, besides the usual ones.
    drop: Vec<String>,
    disclosure: Option<String>,
}

/// Where the tag goes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
enum Form {
    /// The offer's own link.
    #[default]
    Own,
    /// An address with `{link}`, `{sku}` and `{tag}` to be filled in.
    Template(String),
    /// A parameter of the offer's own link.
    Parameter(String),
}

/// A link for a reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReaderLink {
    pub address: String,
    /// It carries the author's tag, so the disclosure must stand beside it.
    pub is_paid: bool,
}

/// Said beside paid links unless the author words it otherwise.
const DISCLOSURE: &str = "Paid link: the author may earn a commission from what you buy through it. \
     The price is the same for you.";

/// Beginnings of parameters that say where a reader came from and nothing of the page: common
/// practice, no source. Names that shops also use for the page itself, such as `ref`, are the
/// author's to add.
const TRACKING: [&str; 12] = [
    "utm_",
    "gclid",
    "fbclid",
    "msclkid",
    "dclid",
    "gbraid",
    "wbraid",
    "mc_cid",
    "mc_eid",
    "aff_id",
    "affid",
    "affiliate",
];

/// What stays as it is in a value of a link: the unreserved characters of RFC 3986, section 2.3.
const VALUE: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

const PLACES: [&str; 3] = ["{link}", "{sku}", "{tag}"];

impl LinkTerms {
    /// Reads the `[link]` of a retailer's file.
    pub fn read(mut table: Table<'_, '_>) -> LinkTerms {
        let document = table.document();
        let span = table.span();
        let template = table.text("template");
        let parameter = table.text("parameter");
        let tag = table.text("tag").map(|tag| tag.value);
        let drop = table.texts("drop").map(|texts| texts.value);
        let disclosure = table.text("disclosure").map(|text| text.value);
        table.finish();
        if let Some(template) = &template
            && let Some((message, remedy)) = template_fault(&template.value, tag.is_some())
        {
            document.fault(&template.span, message, remedy);
        }
        let places = [template.is_some(), parameter.is_some()];
        let form = match (template, parameter) {
            (Some(template), None) => Form::Template(template.value),
            (None, Some(parameter)) => Form::Parameter(parameter.value),
            (None, None) => Form::Own,
            (Some(_), Some(parameter)) => {
                let remedy = "keep the one by which the retailer pays you";
                document.fault(
                    &parameter.span,
                    "`template` and `parameter` exclude each other",
                    remedy,
                );
                Form::Own
            }
        };
        let is_tagless = tag.as_deref().is_none_or(|tag| tag.trim().is_empty());
        // A template answers for its tag itself, and of two places one is too many already.
        if matches!(places, [false, _]) && is_tagless != (form == Form::Own) {
            let message = "`tag` and the place where it goes belong together";
            document.fault(&span, message, "write `tag`, and `template` or `parameter`");
        }
        LinkTerms {
            form,
            tag: tag.filter(|_| !is_tagless),
            drop: drop.into_iter().flatten().map(|name| name.value).collect(),
            disclosure: disclosure.filter(|text| !text.trim().is_empty()),
        }
    }

    pub fn tag(&self) -> Option<&str> {
        self.tag.as_deref()
    }

    /// What stands beside the links; there always is something while there is a tag.
    pub fn disclosure(&self) -> Option<&str> {
        self.tag.as_ref()?;
        Some(self.disclosure.as_deref().unwrap_or(DISCLOSURE))
    }

    /// The link of an offer for readers. `foreign` are the author's tags at other retailers.
    pub fn link(&self, offered: Option<&str>, sku: &str, foreign: &[&str]) -> Option<ReaderLink> {
        let own = offered.and_then(|link| self.cleaned(link, foreign));
        let tag = self.tag.as_deref().unwrap_or_default();
        let is_paid = self.tag.is_some();
        match &self.form {
            Form::Own => own.map(|own| ReaderLink {
                address: own.to_string(),
                is_paid: false,
            }),
            Form::Parameter(name) => own.map(|mut own| {
                without(&mut own, |key, _| key == name);
                own.query_pairs_mut().append_pair(name, tag);
                ReaderLink {
                    address: own.to_string(),
                    is_paid,
                }
            }),
            Form::Template(template) => {
                if template.contains("{link}") && own.is_none() {
                    return None;
                }
                let own = own.map(|own| own.to_string()).unwrap_or_default();
                let filled = filled(template, [&own, sku, tag]);
                web_address(&filled).map(|address| ReaderLink {
                    address: address.to_string(),
                    is_paid,
                })
            }
        }
    }

    fn cleaned(&self, link: &str, foreign: &[&str]) -> Option<Url> {
        let mut own = web_address(link)?;
        // Whoever logs in by a link would hand that to every reader.
        own.set_username("").ok()?;
        own.set_password(None).ok()?;
        without(&mut own, |key, value| {
            let lower = key.to_ascii_lowercase();
            TRACKING.iter().any(|tracking| lower.starts_with(tracking))
                || self.drop.iter().any(|name| name == key)
                || foreign.contains(&value)
        });
        Some(own)
    }
}

fn template_fault(template: &str, has_tag: bool) -> Option<(&'static str, &'static str)> {
    let bare = PLACES
        .iter()
        .fold(template.to_owned(), |text, place| text.replace(place, "x"));
    if bare.contains(['{', '}']) {
        return Some(("an unknown place", "the places are {link}, {sku} and {tag}"));
    }
    if web_address(&bare).is_none() {
        return Some(("no address", "begin it with https:// and a host"));
    }
    let first = template.find('{').unwrap_or(template.len());
    if template[..first].splitn(4, '/').nth(3).is_none() {
        return Some((
            "a place in the host",
            "places go into the path or the query",
        ));
    }
    match template.contains("{tag}") == has_tag {
        true => None,
        false => Some((
            "`tag` and {tag} belong together",
            "write `tag`, and {tag} where it goes",
        )),
    }
}

/// Fills a template in one go, so that no value is taken for a place.
fn filled(template: &str, values: [&str; 3]) -> String {
    let mut filled = String::new();
    let mut rest = template;
    while let Some(at) = rest.find('{') {
        filled.push_str(&rest[..at]);
        rest = &rest[at..];
        let found = PLACES
            .iter()
            .zip(values)
            .find(|(place, _)| rest.starts_with(**place));
        let Some((place, value)) = found else {
            filled.push('{');
            rest = &rest[1..];
            continue;
        };
        filled.extend(utf8_percent_encode(value, VALUE));
        rest = &rest[place.len()..];
    }
    filled + rest
}

/// An address that a browser opens: nothing that runs, no file.
fn web_address(text: &str) -> Option<Url> {
    let address = Url::parse(text.trim()).ok()?;
    let is_web = matches!(address.scheme(), "http" | "https") && address.has_host();
    is_web.then_some(address)
}

/// Takes away the parameters for which `is_out` holds, and leaves a link alone that has none.
fn without(address: &mut Url, is_out: impl Fn(&str, &str) -> bool) {
    let Some(query) = address.query() else { return };
    // Piece by piece as they stand, for some shops take offence at another encoding.
    let stays = |piece: &&str| {
        let mut pairs = url::form_urlencoded::parse(piece.as_bytes());
        pairs
            .next()
            .is_none_or(|(key, value)| !is_out(&key, &value))
    };
    let kept: Vec<&str> = query.split('&').filter(stays).collect();
    let kept = kept.join("&");
    address.set_query((!kept.is_empty()).then_some(kept.as_str()));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    fn terms(text: &str) -> (LinkTerms, Vec<String>) {
        let document = Document::parse("shop.toml", text);
        let terms = LinkTerms::read(document.root());
        let faults = document.into_faults();
        (terms, faults.iter().map(ToString::to_string).collect())
    }

    fn link(text: &str, offered: &str) -> Option<String> {
        let (terms, faults) = terms(text);
        assert_eq!(faults, Vec::<String>::new());
        let link = terms.link(Some(offered), "A/1 {tag}", &["other-21"]);
        link.map(|link| link.address)
    }

    #[test]
    fn a_template_is_filled_with_encoded_values() {
        let text =
            "template = \"https://go.example/c?id={tag}&to={link}&n={sku}\"\ntag = \"me&you\"\n";
        assert_eq!(
            link(text, "https://shop.example/p?a=1&utm_source=feed").unwrap(),
            "https://go.example/c?id=me%26you&to=https%3A%2F%2Fshop.example%2Fp%3Fa%3D1&n=A%2F1%20%7Btag%7D"
        );
        assert_eq!(link(text, "javascript:alert(1)"), None);
    }

    #[test]
    fn the_feeds_tracking_and_foreign_tags_are_taken_away() {
        let own = "https://u:p@shop.example/p?a=%20x&UTM_Medium=m&gclid=1&tag=other-21&b#top";
        assert_eq!(
            link("", own).unwrap(),
            "https://shop.example/p?a=%20x&b#top"
        );
        assert_eq!(
            link("drop = [\"a\", \"b\"]\n", own).unwrap(),
            "https://shop.example/p#top"
        );
        let tagged = "parameter = \"tag\"\ntag = \"mine-21\"\n";
        assert_eq!(
            link(tagged, own).unwrap(),
            "https://shop.example/p?a=%20x&b&tag=mine-21#top"
        );
    }

    #[test]
    fn the_disclosure_stands_exactly_while_there_is_a_tag() {
        let (untagged, _) = terms("disclosure = \"Ad\"\n");
        assert_eq!(untagged.disclosure(), None);
        let tagged = "parameter = \"t\"\ntag = \"me\"\n";
        assert_eq!(terms(tagged).0.disclosure(), Some(DISCLOSURE));
        let emptied = format!("{tagged}disclosure = \" \"\n");
        assert_eq!(terms(&emptied).0.disclosure(), Some(DISCLOSURE));
        let worded = format!("{tagged}disclosure = \"Ad\"\n");
        assert_eq!(terms(&worded).0.disclosure(), Some("Ad"));
    }

    #[test]
    fn settings_that_cannot_work_are_faults() {
        for text in [
            "tag = \"me\"\n",
            "parameter = \"t\"\n",
            "template = \"https://go.example/{tag}\"\n",
            "template = \"https://go.example/{link}\"\ntag = \"me\"\n",
            "template = \"https://{tag}.example/\"\ntag = \"me\"\n",
            "template = \"https://go.example/{other}\"\n",
            "template = \"ftp://go.example/{sku}\"\n",
            "template = \"https://go.example/{tag}\"\nparameter = \"t\"\ntag = \"me\"\n",
        ] {
            assert_eq!(terms(text).1.len(), 1, "{text}: {:?}", terms(text).1);
        }
    }
}
