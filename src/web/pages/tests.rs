//! Every page as the sample desk fills it.

use super::figures::Figures;
use super::frame::{Attention, Look, Page, document};
use super::{brief, feeds, matching, overview, part, told};
use crate::web::desk::{Desk as _, PartsAsked, PastAsked};
use crate::web::sample::{HOSTILE, SampleDesk};
use crate::web::tests::{Answered, ask, served};
use crate::web::view::{GuideForm, JournalAsked, LadderPage, TriedOn, WhatIf};

fn look() -> Look {
    Look {
        figures: Figures::of(Some("en-GB")),
        form_word: "word".to_owned(),
        attention: Attention {
            questions: 3,
            failing_feeds: 1,
            held: 1,
            dead: 0,
        },
        is_signed_in: false,
    }
}

/// The name of each page, and the page.
fn pages() -> Vec<(&'static str, Page)> {
    let (desk, look) = (SampleDesk::default(), look());
    let mut pages = of_a_brief(&desk, &look);
    let past = desk.past("brisk-6", &PastAsked::default()).unwrap();
    let asked = JournalAsked::default();
    pages.extend([
        ("overview", overview::page(&desk.overview().unwrap(), &look)),
        (
            "parts",
            part::list(&desk.parts(&PartsAsked::default()).unwrap(), &look),
        ),
        (
            "part",
            part::page(&desk.part("brisk-6").unwrap(), Ok(&past), None, &look),
        ),
        (
            "feeds",
            feeds::list(&desk.feeds().unwrap(), &desk.held().unwrap(), None, &look),
        ),
        (
            "feed",
            feeds::page(&desk.feed("alpha/list").unwrap(), Some("asked"), &look),
        ),
        (
            "trial",
            feeds::trial::page(&desk.try_feed("alpha/list", TriedOn::Last).unwrap(), &look),
        ),
        (
            "matching",
            matching::page(&desk.questions().unwrap(), None, &look),
        ),
        (
            "journal",
            told::journal(
                &desk.journal(&asked).unwrap(),
                &asked,
                &told::Names::of(&desk).unwrap(),
            ),
        ),
        (
            "outbox",
            told::outbox(&desk.outbox(None, None).unwrap(), None, None, &look),
        ),
    ]);
    pages
}

fn of_a_brief(desk: &SampleDesk, look: &Look) -> Vec<(&'static str, Page)> {
    let asked = [
        ("budget", "1600"),
        ("pin", "cpu:brisk-6"),
        ("ban", "brisk-4"),
    ];
    let (plain, what_if) = (WhatIf::default(), WhatIf::of_pairs(asked).unwrap());
    let (view, supposed) = (
        desk.brief("quiet", &plain).unwrap(),
        desk.brief("quiet", &what_if).unwrap(),
    );
    let ladder = desk.ladder("quiet", &plain).unwrap();
    let entries = desk.entry_prices("quiet", None, &plain).unwrap();
    let others = desk.alternatives("quiet", &plain).unwrap();
    let why = desk.why("quiet", "brisk-6", &plain).unwrap();
    let guide = desk.guide("quiet", GuideForm::Html, &what_if).unwrap();
    let proposal = desk.proposal("quiet", &what_if).unwrap();
    vec![
        ("brief", brief::page(&view, Ok(&ladder), None, look)),
        (
            "what_if",
            brief::page(&supposed, Err("busy"), Some("saved"), look),
        ),
        (
            "entries",
            brief::entries::page(&entries, Some("cpu"), &plain, look),
        ),
        (
            "alternatives",
            brief::entries::alternatives(&others, &plain, look),
        ),
        ("why", brief::entries::why(&why, &plain, look)),
        ("guide", brief::guide::page(&guide, &what_if, look)),
        ("saving", brief::saving::page(&proposal, &what_if, look)),
    ]
}

#[test]
fn pages_say_what_the_desk_does() {
    let look = look();
    for (name, page) in pages() {
        let html = document(&page, &look).into_string();
        // One element a line, so that a difference can be read.
        let lines = html.replace("><", ">\n<");
        insta::assert_snapshot!(name, lines);
    }
}

#[test]
fn where_nothing_fits_the_page_tells_what_a_build_costs_beyond_the_budget() {
    let (desk, look) = (SampleDesk::default(), look());
    let plain = WhatIf::default();
    let mut view = desk.brief("quiet", &plain).unwrap();
    view.budget_minor = 100_000;
    (view.total_minor, view.score, view.power) = (None, None, None);
    (view.picks, view.workloads, view.notes) = (Vec::new(), Vec::new(), Vec::new());
    let mut ladder = LadderPage::clone(&desk.ladder("quiet", &plain).unwrap());
    (ladder.budget_minor, ladder.bought) = (100_000, None);
    let page = brief::page(&view, Ok(&ladder), None, &look);
    let html = document(&page, &look).into_string();
    let (_, steps) = html.split_once("id=\"steps\"").unwrap();
    let (first, _) = steps.split_once("</tbody>").unwrap();
    assert!(
        first.contains("+394.85") && first.contains(">95.5<"),
        "{first}"
    );
    for said in ["could be checked", "no build for anything to limit"] {
        assert!(html.contains(said), "{said}");
    }
    assert!(!html.contains("It fits"));
}

#[test]
fn no_text_from_outside_reaches_a_page_unescaped() {
    let look = look();
    let mut held = 0;
    for (name, page) in pages() {
        let html = document(&page, &look).into_string();
        for raw in ["<script>alert", "<svg onload", "<b>core"] {
            assert!(!html.contains(raw), "{name}: {raw}");
        }
        held += usize::from(html.contains("&lt;script&gt;alert(1)"));
    }
    assert!(
        HOSTILE.contains("<script>") && held >= 6,
        "the hostile title stands on {held} pages"
    );
}

/// W3C CSP3: with `script-src 'self'; style-src 'self'` these do nothing but complain.
#[test]
fn no_page_has_a_script_or_style_within() {
    let look = look();
    for (name, page) in pages() {
        let html = document(&page, &look).into_string();
        for inline in [
            " style=\"",
            "<style",
            " onclick",
            " onload=\"",
            "javascript:",
        ] {
            assert!(!html.contains(inline), "{name}: {inline}");
        }
        for script in html.split("<script").skip(1) {
            assert!(
                script.contains("src=\"/assets/") && script.contains("></script>"),
                "{name}"
            );
        }
    }
}

async fn shown(path: &str) -> Answered {
    let (router, _) = served();
    ask(
        &router,
        &format!("GET {path}"),
        &[("accept-language", "de")],
        "",
    )
    .await
}

#[tokio::test]
async fn every_page_stands_at_its_address() {
    for path in [
        "/",
        "/brief/quiet",
        "/brief/quiet?budget=1600&pin=cpu:brisk-6&ban=brisk-4",
        "/brief/quiet/entries",
        "/brief/quiet/entries/cpu",
        "/brief/quiet/alternatives",
        "/brief/quiet/why/brisk-6",
        "/brief/quiet/guide",
        "/brief/quiet/guide?form=html",
        "/brief/quiet/save?budget=1600",
        "/parts?kind=cpu&words=brisk",
        "/part/brisk-6",
        "/part/brisk-6?days=90",
        "/feeds",
        "/feed/alpha/list",
        "/try/feed/alpha/list",
        "/matching",
        "/journal?brief=quiet",
        "/outbox?state=dead",
    ] {
        let answered = shown(path).await;
        assert_eq!(answered.status, 200, "{path}: {}", answered.body);
        assert_eq!(
            answered.header("content-type"),
            "text/html; charset=utf-8",
            "{path}"
        );
        assert!(
            answered
                .body
                .contains("<html lang=\"en\" data-numbers=\"de\">"),
            "{path}"
        );
        let policy = answered.header("content-security-policy");
        assert!(
            policy.contains("script-src 'self'; style-src 'self'"),
            "{path}: {policy}"
        );
    }
}

#[tokio::test]
async fn what_is_not_there_is_said_with_a_way_onward() {
    for (path, status) in [
        ("/brief/loud", 404),
        ("/part/a%2F..%2Fb", 404),
        ("/feed/nobody/list", 404),
        ("/brief/quiet/guide?form=tablets", 404),
        ("/brief/quiet?pin=cpu", 400),
        ("/nowhere", 404),
    ] {
        let answered = shown(path).await;
        assert_eq!(answered.status, status, "{path}");
        assert!(answered.body.contains("What to do: "), "{path}");
    }
    for (path, headed) in [
        ("/brief/quiet?pin=cpu", "That was not understood"),
        ("/nowhere", "There is nothing here"),
    ] {
        let answered = shown(path).await;
        assert!(
            answered.body.contains(&format!("<h1>{headed}</h1>")),
            "{}",
            answered.body
        );
        assert!(
            answered.body.contains(&format!("<title>{headed}")),
            "{}",
            answered.body
        );
    }
    let hostile = shown("/brief/%3Cscript%3Ealert(1)%3C%2Fscript%3E").await;
    assert!(!hostile.body.contains("<script>alert"), "{}", hostile.body);
}

#[tokio::test]
async fn a_budget_is_read_as_the_browsers_language_writes_it() {
    for (written, read) in [
        ("750,50", "750.50"),
        ("750.50", "750.50"),
        ("1.750,50", "1750.50"),
        ("1,200", "1.200"),
    ] {
        let answered = shown(&format!("/brief/quiet?budget={written}")).await;
        assert_eq!(answered.status, 200, "{written}");
        let link = format!("budget={read}&amp;");
        assert!(
            answered.body.contains(&link),
            "{written}: {}",
            answered.body
        );
    }
    let (router, _) = served();
    let line = "GET /brief/quiet?budget=1,200";
    let english = ask(&router, line, &[("accept-language", "en-GB")], "");
    assert!(english.await.body.contains("budget=1200&amp;"));
}

/// The word that forms of the page carry.
async fn form_word(router: &axum::Router) -> String {
    let page = ask(router, "GET /feeds", &[], "").await.body;
    let (_, rest) = page.split_once("name=\"form\" value=\"").unwrap();
    rest.split_once('"').unwrap().0.to_owned()
}

#[tokio::test]
async fn forms_do_what_they_say_and_lead_to_a_page() {
    let (router, desk) = served();
    let word = form_word(&router).await;
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let mut done = Vec::new();
    for (to, fields, then, what) in [
        (
            "/poll/feed/alpha/list",
            "",
            "/feed/alpha/list?told=asked",
            "polled alpha/list",
        ),
        (
            "/held/3",
            "&word=confirm&feed=alpha/list",
            "/feed/alpha/list?told=confirmed",
            "confirmed 3",
        ),
        ("/held/3", "&word=drop", "/feeds?told=dropped", "dropped 3"),
        (
            "/matching",
            "&retailer=alpha&sku=A%2F2+%3F&word=accept&part=brisk-6",
            "/matching?told=accepted",
            "alpha/A/2 ?: Accept(\"brisk-6\")",
        ),
        (
            "/matching",
            "&retailer=alpha&sku=A%2F2+%3F&word=refuse&part=",
            "/matching?told=refused",
            "alpha/A/2 ?: Refuse(None)",
        ),
        (
            "/outbox/5",
            "&word=retry",
            "/outbox?told=retried",
            "retried 5",
        ),
        (
            "/brief/quiet/save?budget=1600",
            "&digest=d1",
            "/brief/quiet?told=saved",
            "saved budget=1600",
        ),
    ] {
        let body = format!("form={word}{fields}");
        let answered = ask(&router, &format!("POST {to}"), &form, &body).await;
        assert_eq!(answered.status, 303, "{to}: {}", answered.body);
        assert_eq!(answered.header("location"), then);
        done.push(what);
    }
    assert_eq!(*desk.done.lock().unwrap(), done);
}

#[tokio::test]
async fn a_form_that_is_none_of_ours_does_nothing() {
    let (router, desk) = served();
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let word = form_word(&router).await;
    for (body, status) in [
        ("word=confirm".to_owned(), 403),
        ("form=AAAA&word=confirm".to_owned(), 403),
        (format!("form={word}&word=burn"), 400),
    ] {
        let answered = ask(&router, "POST /held/3", &form, &body).await;
        assert_eq!(answered.status, status, "{body}");
    }
    let stale = format!("form={word}&digest=d0");
    let answered = ask(&router, "POST /brief/quiet/save?budget=1600", &form, &stale).await;
    assert_eq!(
        answered.status, 409,
        "the file has changed since it was shown"
    );
    assert!(desk.done.lock().unwrap().is_empty());
}

/// RFC 9110, 13.1.2: who has this very file is sent none.
#[tokio::test]
async fn a_browser_keeps_the_files_that_it_has() {
    let (router, _) = served();
    for name in [
        "rigtide.css",
        "page.js",
        "ladder.js",
        "past.js",
        "matching.js",
        "mark.svg",
    ] {
        let line = format!("GET /assets/{name}");
        let first = ask(&router, &line, &[], "").await;
        assert_eq!(
            (first.status.as_u16(), first.body.is_empty()),
            (200, false),
            "{name}"
        );
        let tag = first.header("etag").to_owned();
        let again = ask(
            &router,
            &line,
            &[("if-none-match", &format!("W/{tag}, \"x\""))],
            "",
        )
        .await;
        assert_eq!(
            (again.status.as_u16(), again.body.as_str()),
            (304, ""),
            "{name}"
        );
        let other = ask(&router, &line, &[("if-none-match", "\"x\"")], "").await;
        assert_eq!(other.status, 200, "{name}");
    }
    assert_eq!(
        ask(&router, "GET /assets/none.js", &[], "").await.status,
        404
    );
}

/// W3C CSP3, `sandbox`: the guide brings its own style and nothing that runs.
#[tokio::test]
async fn the_guide_alone_cannot_do_anything() {
    let answered = shown("/brief/quiet/guide/html").await;
    let policy = answered.header("content-security-policy");
    assert!(
        policy.contains("sandbox") && !policy.contains("allow-scripts"),
        "{policy}"
    );
    assert!(!policy.contains("script-src"), "{policy}");
    let page = shown("/brief/quiet/guide?form=html").await;
    assert!(
        page.header("content-security-policy")
            .contains("frame-src 'self'")
    );
}
