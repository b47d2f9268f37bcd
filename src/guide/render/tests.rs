//! Every form of a guide, with usual and with hostile texts.

use super::filling::SAMPLE;
use super::*;
use crate::guide::view::{
    AlternativeView, BeforeView, ChangeView, CountryView, EditionView, MeasuredView, OrderLine,
    PickView, PowerView, RungView, Stage, StepView, WorkloadView,
};
use pulldown_cmark::{Event, Parser, Tag};

/// By the program's own templates.
fn built_in(view: &View, form: Form, most: Option<usize>) -> String {
    let (text, faults) = render(&Templates::built_in(&[TEMPLATES]), view, form, most);
    assert_eq!(faults, []);
    text
}

fn pick(role: &str, name: &str) -> PickView {
    PickView {
        role: role.to_owned(),
        part: "tern-7".to_owned(),
        name: name.to_owned(),
        brand: Some("Tern".to_owned()),
        mpn: Some("T-7".to_owned()),
        gtin: None,
        quantity: 1,
        retailer: Some("Nordhafen Technik".to_owned()),
        sku: Some("77".to_owned()),
        price_minor: Some(19_990),
        price_currency: "EUR".to_owned(),
        tax_included: true,
        landed_minor: 20_480,
        link: Some("https://go.example/c?id=me&to=https%3A%2F%2Fshop.example%2Fp".to_owned()),
        is_paid_link: true,
        seen_at: Some("2026-03-01T08:30:00Z".to_owned()),
        availability: Some("InStock".to_owned()),
        lead_days: None,
        price_position: Some("at its 90-day low".to_owned()),
    }
}

fn step(cost_minor: i64, score_change: f64) -> StepView {
    StepView {
        cost_minor,
        score_change,
        changes: vec![ChangeView {
            role: "graphics".to_owned(),
            from: "Gull 4".to_owned(),
            to: "Gull 6".to_owned(),
        }],
    }
}

fn measured() -> MeasuredView {
    MeasuredView {
        test: "Harrow Fields, 1440p high".to_owned(),
        rate: 74.5,
        difference_percent: -18.6,
        is_flagged: true,
        source: "own bench".to_owned(),
        date: Some("2026-02-28".to_owned()),
        note: "clock of the card".to_owned(),
        temperature_c: Some(68.5),
        wall_w: Some(331.0),
        clock_mhz: Some(2_580.0),
        voltage_v: Some(0.95),
        wall_expected_w: Some(357),
        wall_difference_percent: Some(-7.3),
        is_wall_flagged: false,
    }
}

fn austria() -> CountryView {
    let mut case = pick("case", "Barn 14");
    case.link = None;
    case.is_paid_link = false;
    CountryView {
        country: "AT".to_owned(),
        currency: "EUR".to_owned(),
        total_minor: Some(90_100),
        score: Some(104.2),
        orders: Vec::new(),
        picks: vec![pick("processor", "Tern 7"), case],
        disclosures: vec!["Paid link: the author may earn a commission.".to_owned()],
        substitutes: vec![ChangeView {
            role: "case".to_owned(),
            from: "Loft 12".to_owned(),
            to: "Barn 14".to_owned(),
        }],
        goes_with: Vec::new(),
        obstacle: None,
    }
}

fn power() -> PowerView {
    PowerView {
        load_w: 325,
        unknown: Vec::new(),
        rated_w: Some(650),
        margin_percent: Some(50),
        wall_115_w: Some(361),
        wall_230_w: Some(357),
        room_w: Some(175),
    }
}

fn edition() -> EditionView {
    EditionView {
        number: 2,
        at: "2026-03-01T09:00:00Z".to_owned(),
        before: Some(BeforeView {
            number: 1,
            at: "2026-02-01T09:00:00Z".to_owned(),
            changes: vec!["Tern 7: EUR 199.90; it was EUR 209.90.".to_owned()],
        }),
    }
}

fn view() -> View {
    let mut owned = pick("case", "Loft 12");
    owned.price_minor = None;
    owned.retailer = None;
    owned.sku = None;
    owned.link = None;
    owned.is_paid_link = false;
    owned.seen_at = None;
    owned.price_position = None;
    owned.landed_minor = 0;
    View {
        format: 1,
        brief: "compact".to_owned(),
        title: "A compact PC".to_owned(),
        at: "2026-03-01T09:00:00Z".to_owned(),
        country: "DE".to_owned(),
        currency: "EUR".to_owned(),
        budget_minor: 90_000,
        total_minor: 88_000,
        orders: vec![OrderLine {
            words: "delivery from nordhafen".to_owned(),
            minor: 590,
        }],
        score: 104.2,
        estimated_percent: 25.0,
        is_proven: true,
        edition: Some(edition()),
        picks: vec![pick("processor", "Tern 7"), owned],
        disclosures: vec!["Paid link: the author may earn a commission.".to_owned()],
        workloads: vec![WorkloadView {
            name: "1440p gaming".to_owned(),
            unit: "frames/s".to_owned(),
            weight_percent: 100.0,
            rate: 91.5,
            limited_by: "graphics (Gull 4)".to_owned(),
            is_estimate: true,
            measured: Some(measured()),
        }],
        steps_up: vec![step(4_000, 6.1)],
        steps_down: vec![step(-3_000, -4.0)],
        ladder: vec![
            RungView {
                total_minor: 70_000,
                score: 80.0,
            },
            RungView {
                total_minor: 88_000,
                score: 104.2,
            },
        ],
        alternatives: vec![AlternativeView {
            role: "graphics".to_owned(),
            step: step(-500, -1.5),
        }],
        notes: vec!["Checked: the processor fits the board's socket.".to_owned()],
        cautions: vec!["the board may need newer firmware".to_owned()],
        power: Some(power()),
        upgrades: vec!["Memory: 2 of 4 slots stay free.".to_owned()],
        tools: vec!["a screwdriver".to_owned()],
        assembly: vec![Stage {
            title: "Before you begin".to_owned(),
            cautions: vec!["Static: discharge yourself.".to_owned()],
            steps: vec!["Check every part.".to_owned()],
        }],
        countries: vec![austria()],
    }
}

/// Everything that comes from outside says something that acts in one of the forms.
fn hostile() -> View {
    let bad = "1. =cmd()\"><script>alert(1)</script> [x](http://e.example) *b* `c` &copy; </title>\n# H\u{202e}\u{1b}[31m";
    let mut view = view();
    view.title = bad.to_owned();
    view.cautions = vec![bad.to_owned()];
    view.notes = vec![bad.to_owned()];
    view.upgrades = vec![bad.to_owned()];
    view.disclosures = vec![bad.to_owned()];
    view.assembly[0].steps = vec![bad.to_owned()];
    view.workloads[0].name = bad.to_owned();
    view.orders[0].words = bad.to_owned();
    view.steps_up[0].changes[0].to = bad.to_owned();
    let measured = view.workloads[0].measured.as_mut().unwrap();
    (measured.note, measured.source) = (bad.to_owned(), bad.to_owned());
    let edition = view.edition.as_mut().unwrap();
    edition.before.as_mut().unwrap().changes = vec![bad.to_owned()];
    let there = &mut view.countries[0];
    there.disclosures = vec![bad.to_owned()];
    there.substitutes[0].to = bad.to_owned();
    there.obstacle = Some(bad.to_owned());
    let there = view.countries.iter_mut().flat_map(|one| &mut one.picks);
    for pick in view.picks.iter_mut().chain(there) {
        pick.name = bad.to_owned();
        pick.role = "=role".to_owned();
        pick.retailer = Some(bad.to_owned());
        pick.sku = Some("-1+1".to_owned());
        pick.brand = Some(bad.to_owned());
        pick.link = Some("https://shop.example/p?a=<b>)&copy=1\\".to_owned());
        pick.price_position = Some(bad.to_owned());
    }
    view
}

#[test]
fn the_forms_say_what_the_view_says() {
    insta::assert_snapshot!("markdown", built_in(&view(), Form::Markdown, None));
    insta::assert_snapshot!("text", built_in(&view(), Form::Text, None));
    insta::assert_snapshot!(
        "csv",
        built_in(&view(), Form::Csv, None).replace('\r', "\\r")
    );
    let html = built_in(&view(), Form::Html, None);
    let body = html.split_once("</style>").unwrap().1;
    insta::assert_snapshot!("html", body);
}

#[test]
fn a_view_comes_back_from_its_json_as_it_was() {
    let json = built_in(&hostile(), Form::Json, None);
    assert_eq!(serde_json::from_str::<View>(&json).unwrap(), hostile());
}

/// The texts, the links and the raw HTML that a CommonMark parser (pulldown-cmark) sees.
fn read(markdown: &str) -> (String, Vec<String>, usize, usize) {
    let (mut text, mut links, mut raw, mut headings) = (String::new(), Vec::new(), 0, 0);
    for event in Parser::new(markdown) {
        match event {
            Event::Text(one) => text.push_str(&one),
            Event::Start(Tag::Link { dest_url, .. }) => links.push(dest_url.to_string()),
            Event::Start(Tag::Heading { .. }) => headings += 1,
            Event::Html(_) | Event::InlineHtml(_) | Event::Code(_) => raw += 1,
            Event::Start(Tag::List(Some(_)) | Tag::Emphasis | Tag::CodeBlock(_)) => raw += 1,
            _ => {}
        }
    }
    (text, links, raw, headings)
}

#[test]
fn text_from_outside_is_only_text_in_markdown() {
    let (text, links, raw, headings) = read(&built_in(&hostile(), Form::Markdown, None));
    assert_eq!(raw, 0);
    // What was a line break is a blank, and nothing else is lost.
    assert!(text.contains(
        "1. =cmd()\"><script>alert(1)</script> [x](http://e.example) *b* `c` &copy; </title> # H"
    ));
    assert_eq!(links, ["https://shop.example/p?a=%3Cb%3E)&copy=1%5C"; 4]);
    let (_, _, _, usual) = read(&built_in(&view(), Form::Markdown, None));
    assert_eq!(headings, usual);
}

#[test]
fn text_from_outside_is_only_text_in_html() {
    let html = built_in(&hostile(), Form::Html, None);
    // The one script element holds data, and nothing is fetched.
    assert_eq!(html.matches("<script").count(), 1);
    assert!(html.contains("<script type=\"application/ld+json\">"));
    assert!(!html.contains('\u{1b}'));
    for fetched in ["src=", "url(", "@import", "<link", "<iframe", "<img"] {
        assert!(!html.contains(fetched), "{fetched}");
    }
    let h1 = html.split_once("<h1>").unwrap().1;
    let h1 = h1.split_once("</h1>").unwrap().0;
    assert!(h1.contains("&lt;script&gt;alert(1)&lt;/script&gt;"), "{h1}");
    assert!(!h1.contains(['<', '>', '"']), "{h1}");
    let data = html.split_once("ld+json\">").unwrap().1;
    let data = data.split_once("</script>").unwrap().0;
    let data: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(data["name"], hostile().title);
}

#[test]
fn no_cell_runs_in_a_spreadsheet_and_all_come_back() {
    let csv = built_in(&hostile(), Form::Csv, None);
    let mut reader = csv::ReaderBuilder::new().from_reader(csv.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
    // OWASP, CSV Injection: no cell begins with = + - @ tab or return, but numbers may.
    for cell in rows.iter().flatten() {
        let is_number = cell.parse::<f64>().is_ok();
        assert!(
            is_number || !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
            "{cell}"
        );
    }
    assert_eq!(&rows[0][0], "'=role");
    assert_eq!(&rows[0][5], "'-1+1");
    assert_eq!(&rows[0][2], hostile().picks[0].name);
    // RFC 4180, section 2.1.
    assert!(csv.ends_with("\r\n"));
}

#[test]
fn text_fits_every_limit_and_links_never_stand_without_their_disclosure() {
    let view = view();
    let whole = built_in(&view, Form::Text, None);
    let most = whole.chars().count();
    let mut n_whole = 0;
    for limit in 0..=most {
        let text = built_in(&view, Form::Text, Some(limit));
        let length = text.chars().count();
        assert!(length <= limit, "{length} of {limit}");
        assert!(
            !text.contains("paid link:") || text.contains(&view.disclosures[0]),
            "{text}"
        );
        // Invariant: a price says when it was seen.
        assert!(
            !text.contains("EUR 199.90")
                || text.contains("2026-03-01 08:30")
                || text.trim_end().ends_with('…'),
            "{text}"
        );
        n_whole += usize::from(text == whole);
    }
    assert_eq!(n_whole, 1);
    let shorter = built_in(&view, Form::Text, Some(most - 1));
    assert!(!shorter.contains("ASSEMBLY") && shorter.contains("UPGRADES"));
}

#[test]
fn the_sample_that_templates_are_tried_on_is_the_guide_of_these_tests() {
    assert_eq!(SAMPLE, built_in(&view(), Form::Json, None));
}

/// Rendered with this text of the author's in the place of a form's own, and what that was.
fn replaced(form: Form, text: &str, view: &View) -> (String, Vec<String>) {
    let file = format!("templates/guide.{}", form.ending());
    let (templates, faults) = Templates::with_files(&[TEMPLATES], &[(&file, text)]);
    let found = faults.into_iter().chain(faults_of(&templates));
    let found = found.map(|fault| fault.to_string()).collect();
    (render(&templates, view, form, None).0, found)
}

#[test]
fn a_template_of_the_authors_makes_the_form_of_its_name_and_no_other() {
    let text = "# {{ guide.title }}\n{{ shown.body.picks }}\n{% for pick in guide.picks %}\n* {{ pick.part }}\n{% endfor %}\n";
    let (made, faults) = replaced(Form::Markdown, text, &view());
    assert_eq!(faults, [""; 0]);
    assert!(made.starts_with("# A compact PC\n> Paid link: "), "{made}");
    assert!(made.ends_with("\n* tern-7\n* tern-7\n"), "{made}");
    let file = [("templates/guide.md", text)];
    let (templates, _) = Templates::with_files(&[TEMPLATES], &file);
    for form in [Form::Html, Form::Text, Form::Csv, Form::Json] {
        let (made, _) = render(&templates, &view(), form, None);
        assert_eq!(made, built_in(&view(), form, None));
    }
}

#[test]
fn a_template_that_hides_what_links_are_paid_for_is_refused_and_the_programs_own_stands() {
    for (form, bad, good) in [
        (
            Form::Markdown,
            "{% for pick in guide.picks %}{{ pick.link }}\n{% endfor %}",
            "{{ guide.disclosures|join }}\n{{ guide.countries[0].disclosures|join if guide.countries }}\n",
        ),
        (
            Form::Html,
            "{% for pick in guide.picks %}<a href=\"{{ pick.link }}\">x</a>{% endfor %}",
            "<p>{{ guide.disclosures|join }}</p>",
        ),
        (
            Form::Text,
            "{% for pick in guide.picks %}{{ pick.link }}\n{% endfor %}",
            "{{ guide.disclosures|join }}\n",
        ),
    ] {
        let (made, faults) = replaced(form, bad, &view());
        assert_eq!(made, built_in(&view(), form, None), "{form:?}");
        let expected = format!(
            "templates/guide.{}: a paid link stands without its disclosure; write `shown.body.picks`, \
             or `guide.disclosures` beside the links",
            form.ending()
        );
        assert_eq!(faults, [expected]);
        let (made, faults) = replaced(form, &format!("{good}{bad}"), &view());
        assert_eq!(faults, [""; 0], "{form:?}");
        assert!(made.contains("commission"), "{made}");
        // Without a paid link there is nothing to say.
        let mut free = view();
        free.countries.clear();
        free.picks
            .iter_mut()
            .for_each(|pick| pick.is_paid_link = false);
        let (made, _) = replaced(form, bad, &free);
        assert!(made.contains("go.example"), "{made}");
    }
}

#[test]
fn a_template_is_filled_in_again_with_less_until_the_text_fits() {
    let file = [(
        "templates/guide.txt",
        "{{ shown.body.picks }}\n{% for one in shown.sections %}\n{{ one.title }}\n{% endfor %}\n",
    )];
    let (templates, faults) = Templates::with_files(&[TEMPLATES], &file);
    assert_eq!(faults, []);
    let (whole, _) = render(&templates, &view(), Form::Text, None);
    let most = whole.chars().count();
    let (shorter, faults) = render(&templates, &view(), Form::Text, Some(most - 1));
    assert_eq!(faults, []);
    assert!(
        whole.contains("ASSEMBLY") && !shorter.contains("ASSEMBLY"),
        "{shorter}"
    );
    assert!(shorter.contains("UPGRADES LATER"), "{shorter}");
}

#[test]
fn text_from_outside_is_only_text_also_where_a_template_writes_it() {
    let text = "<h1>{{ guide.title }}</h1>{% for pick in guide.picks %}<b title=\"{{ pick.name }}\"></b>{% endfor %}";
    let (made, _) = replaced(Form::Html, text, &hostile());
    assert!(!made.contains("<script") && !made.contains('\u{1b}') && !made.contains('\u{202e}'));
    assert!(
        made.contains("&lt;script&gt;alert(1)&lt;/script&gt;"),
        "{made}"
    );
}
