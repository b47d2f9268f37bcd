//! Headers that decide when to ask again.

use super::*;
use reqwest::header::HeaderValue;

fn at(seconds: i64) -> DateTime<Utc> {
    let now: DateTime<Utc> = "2026-06-15T12:00:00Z".parse().unwrap();
    now + chrono::TimeDelta::seconds(seconds)
}

// RFC 9110 10.2.3 and 5.6.7; pitfalls H11 and H12.
#[test]
fn retry_after_is_read_in_both_forms() {
    for (text, seconds) in [
        ("120", Some(120)),
        ("0", Some(0)),
        ("Fri, 31 Dec 1999 23:59:59 GMT", Some(0)),
        ("Mon, 15 Jun 2026 12:05:00 GMT", Some(300)),
        ("Monday, 15-Jun-26 12:05:00 GMT", Some(300)),
        ("Mon Jun 15 12:05:00 2026", Some(300)),
        ("-5", None),
        ("1.5", None),
        ("120s", None),
        ("", None),
        ("Mon, 15 Jun 2026 14:05:00 +0200", None),
        ("soon", None),
        ("99999999999999999999", Some(1 << 31)),
        ("999999999", Some(999_999_999)),
    ] {
        let wait = parse_retry_after(text, at(0)).map(|wait| wait.as_secs());
        assert_eq!(wait, seconds, "{text}");
    }
}

#[test]
fn a_rest_is_capped_at_a_day() {
    let mut headers = HeaderMap::new();
    headers.insert(RETRY_AFTER, HeaderValue::from_static("999999999"));
    assert_eq!(retry_after(&headers, at(0)), Some(LONGEST_REST));
}

// RFC 9111 1.2.2, 4.2 to 4.2.3, 5.3. `Date` is D; a private cache that uses no heuristic.
#[test]
fn freshness_follows_the_standard() {
    let date = "Date: Mon, 15 Jun 2026 12:00:00 GMT";
    let in_an_hour = "Expires: Mon, 15 Jun 2026 13:00:00 GMT";
    for (fields, asked, answered, fresh_for) in [
        (&[date, "Cache-Control: max-age=600"][..], 0, 0, Some(600)),
        (
            &[date, "Cache-Control: public, max-age=600", "Age: 100"],
            0,
            0,
            Some(500),
        ),
        (
            &[date, "Cache-Control: max-age=60", in_an_hour],
            0,
            0,
            Some(60),
        ),
        (&[date, in_an_hour], 0, 0, Some(3600)),
        (&[date, "Expires: 0"], 0, 0, None),
        (
            &[date, "Cache-Control: s-maxage=10, max-age=600"],
            0,
            0,
            Some(600),
        ),
        (
            &[date, "Cache-Control: max-age=abc", in_an_hour],
            0,
            0,
            None,
        ),
        (
            &[date, "Cache-Control: max-age=99999999999"],
            0,
            0,
            Some(86_400),
        ),
        (
            &["Last-Modified: Fri, 05 Jun 2026 12:00:00 GMT", date],
            0,
            0,
            None,
        ),
        (&[date, "Cache-Control: max-age=600, no-cache"], 0, 0, None),
        (&[date, "Cache-Control: no-store", in_an_hour], 0, 0, None),
        (&[date, "Cache-Control: max-age=0"], 0, 0, None),
        (&[], 0, 0, None),
        // The last row of 4.2.3's arithmetic: age 8 at the answer, so 15 seven seconds later.
        (
            &[date, "Cache-Control: max-age=15", "Age: 5"],
            0,
            3,
            Some(7),
        ),
    ] {
        let mut headers = HeaderMap::new();
        for field in fields {
            let (name, value) = field.split_once(": ").unwrap();
            let name = HeaderName::from_bytes(name.as_bytes()).unwrap();
            headers.append(name, HeaderValue::from_static(value));
        }
        let until = fresh_until(&headers, at(asked), at(answered));
        let expected = fresh_for.map(|seconds| at(answered + seconds));
        assert_eq!(until, expected, "{fields:?}");
    }
}

// RFC 8288 3 and 3.3; the second and third rows are its section 3.5's examples in form.
#[test]
fn the_next_page_is_found_in_a_link_header() {
    let base = Url::parse("https://shop.example/api/list?page=1").unwrap();
    for (value, expected) in [
        (
            "<?page=2>; rel=\"next\"",
            Some("https://shop.example/api/list?page=2"),
        ),
        (
            "</c1>; rel=\"previous\"; title=\"a, <b>\", </c2>; rel=next",
            Some("https://shop.example/c2"),
        ),
        ("</x>; title=\"q; rel=next\"; rel=\"start index\"", None),
        ("</x>; REL=\"last NEXT\"", Some("https://shop.example/x")),
        ("</x>; rel=prev; rel=next", None),
        ("</x", None),
        ("", None),
    ] {
        let next = parse_link_next(value, &base);
        assert_eq!(next.as_ref().map(Url::as_str), expected, "{value}");
    }
}

proptest::proptest! {
    #[test]
    fn no_header_panics(text: String) {
        let base = Url::parse("https://shop.example/").unwrap();
        let _ = parse_link_next(&text, &base);
        let _ = parse_retry_after(&text, at(0));
        let _ = parse_http_date(&text, at(0));
    }
}
