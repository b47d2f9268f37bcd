//! Where a body says which encoding it is in. Whether to believe it is decided elsewhere.

/// How far a prolog or `<meta>` may be from the start; HTML says 1024, pages say more.
const DECLARATION_BYTES: usize = 4096;

/// The `charset` of a Content-Type (RFC 9110 section 8.3.1).
pub(super) fn charset_parameter(content_type: &str) -> Option<String> {
    content_type.split(';').skip(1).find_map(|parameter| {
        let (name, value) = parameter.split_once('=')?;
        let value = value.trim().trim_matches(['"', '\'']);
        (name.trim().eq_ignore_ascii_case("charset") && !value.is_empty()).then(|| value.to_owned())
    })
}

/// The encoding that an XML prolog or an HTML `<meta>` names.
pub(super) fn declared_in(prefix: &[u8]) -> Option<String> {
    let start = &prefix[..prefix.len().min(DECLARATION_BYTES)];
    let text: String = start.iter().map(|byte| char::from(*byte)).collect();
    let lower = text.to_ascii_lowercase();
    if let Some(prolog) = lower.trim_start().strip_prefix("<?xml") {
        let prolog = prolog.split("?>").next().unwrap_or("");
        return quoted_after(prolog, "encoding");
    }
    lower
        .split("<meta")
        .skip(1)
        .find_map(|meta| quoted_after(meta.split('>').next().unwrap_or(""), "charset"))
}

/// The word after `name =`, with or without quotes.
fn quoted_after(text: &str, name: &str) -> Option<String> {
    let (_, rest) = text.split_once(name)?;
    let rest = rest.trim_start().strip_prefix('=')?;
    let rest = rest.trim_start().trim_start_matches(['"', '\'']);
    let end = rest.find(|c: char| c.is_ascii_whitespace() || "\"';/".contains(c));
    let label = &rest[..end.unwrap_or(rest.len())];
    (!label.is_empty()).then(|| label.to_owned())
}
