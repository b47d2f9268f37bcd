//! What bulletins of every kind say.

use super::*;
use chrono::TimeDelta;

fn built_in() -> Templates {
    Templates::built_in(&[TEMPLATES])
}

fn sample(kind: &str) -> Bulletin {
    let mut samples = samples().into_iter();
    samples.find(|one| one.data["kind"] == kind).unwrap()
}

fn shown(bulletin: &Bulletin) -> String {
    format!(
        "{}\n{}\n{}",
        bulletin.subject,
        "=".repeat(50),
        bulletin.text
    )
}

#[test]
fn there_is_a_sample_of_every_kind_that_is_worded_apart() {
    let kinds: Vec<String> = samples()
        .iter()
        .map(|one| one.data["kind"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(
        kinds,
        [
            "first_build",
            "build_changed",
            "build_changed",
            "became_impossible",
            "became_possible",
            "pick_lost",
            "target",
            "total"
        ]
    );
    let of_the_program = built_in();
    for sample in samples() {
        for name in [SUBJECT, TEXT, BODY] {
            let filled = of_the_program.render(name, &variables(&sample.data));
            assert!(filled.is_ok_and(|text| !text.trim().is_empty()), "{name}");
        }
    }
}

#[test]
fn a_first_build_is_told_whole() {
    insta::assert_snapshot!(shown(&sample("first_build")));
}

#[test]
fn a_better_build_is_told_with_all_that_a_reader_needs_to_act() {
    insta::assert_snapshot!(shown(&sample("build_changed")));
}

#[test]
fn a_build_that_is_gone_says_so_and_what_may_not_hold() {
    // Pitfall N11.
    let bulletins = samples();
    insta::assert_snapshot!(shown(&bulletins[2]));
}

#[test]
fn no_build_and_a_build_again_are_told_with_reasons() {
    // Pitfall N12.
    insta::assert_snapshot!(format!(
        "{}\n{}",
        shown(&sample("became_impossible")),
        shown(&sample("became_possible"))
    ));
}

#[test]
fn a_lost_pick_is_told_with_its_replacement() {
    insta::assert_snapshot!(shown(&sample("pick_lost")));
}

#[test]
fn a_target_and_a_total_are_told_with_what_to_do() {
    insta::assert_snapshot!(format!(
        "{}\n{}",
        shown(&sample("target")),
        shown(&sample("total"))
    ));
}

#[test]
fn shops_and_workloads_are_called_by_their_names_wherever_people_read() {
    for sample in samples() {
        let html = sample.data["html"].as_str().unwrap();
        let shown = &sample.data["shown"];
        for text in [sample.subject.as_str(), &sample.text, html] {
            // The sample's links have the ids in their addresses.
            let words = text
                .split_whitespace()
                .filter(|word| !word.contains("https://"));
            let words: Vec<&str> = words.collect();
            for id in ["halden", "northpc", "gaming-1440p", "photo-export"] {
                assert!(!words.iter().any(|word| word.contains(id)), "{id}: {text}");
            }
        }
        let listed = shown["comes_in"].as_array().into_iter().flatten();
        let bought = listed.filter(|line| !line["retailer"].is_null());
        for line in bought {
            let names = [&line["retailer"], &line["shop"]].map(|one| one.as_str().unwrap());
            assert_eq!(names, ["halden", "Halden Parts"]);
        }
    }
    assert!(sample("build_changed").text.contains("Halden Parts"));
    assert!(sample("build_changed").text.contains("1440p gaming"));
}

#[test]
fn a_limit_that_the_brief_sets_itself_is_told_as_such() {
    let mut bulletin = sample("build_changed");
    let rate = &mut bulletin.data["shown"]["rates"][0];
    rate["limited_by"] = json!("cap");
    rate["limit"] = json!("the brief's cap");
    dress(&mut bulletin, &built_in(), &BTreeMap::new());
    assert!(bulletin.text.contains("limited by the brief's cap"));
    // As it was stored before limits had words.
    let rate = bulletin.data["shown"]["rates"][0].as_object_mut().unwrap();
    rate.remove("limit");
    rate.remove("name");
    let made = digest(&built_in(), "mail", DateTime::UNIX_EPOCH, &[bulletin]);
    assert_eq!(made.1, []);
    let html = made.0.data["html"].as_str().unwrap();
    assert!(html.contains("gaming-1440p") && html.contains("limited by cap"));
}

#[test]
fn the_page_is_small_and_whole_fetches_nothing_and_escapes_what_it_is_given() {
    let mut bulletin = sample("build_changed");
    bulletin.data["shown"]["comes_in"][0]["name"] = json!("<script>alert(1)</script> & Co");
    dress(&mut bulletin, &built_in(), &BTreeMap::new());
    let html = bulletin.data["html"].as_str().unwrap();
    insta::assert_snapshot!(html);
    for fetched in [
        "<img", "<script", "<link", "<iframe", "<object", " src=", "url(", "@import",
    ] {
        assert!(!html.contains(fetched), "{fetched}");
    }
    let links = |with: &str| html.matches(with).count();
    assert_eq!(links("<a href=\"https://"), links("<a "));
    assert_eq!(links("<a "), 2);
    // Some readers of mail cut what is longer than 100 KB: common practice, no source.
    assert!(html.len() < 10_000, "{}", html.len());
}

#[test]
fn subjects_tell_the_essence_within_what_a_phone_shows() {
    // About 50 characters: common practice, no source.
    for bulletin in samples() {
        let subject = &bulletin.subject;
        assert!(subject.chars().count() <= 65, "{subject}");
        let begins: String = subject.chars().take(45).collect();
        assert!(begins.starts_with("A quiet desk for…: "), "{subject}");
        assert!(begins.len() > 30, "{subject}");
    }
}

#[test]
fn a_text_of_the_author_s_is_used_and_one_that_fails_gives_way() {
    let own = [(
        "templates/bulletin-subject.txt",
        "[{{ brief }}] {{ score.change }}\n\n now",
    )];
    let (templates, faults) = Templates::with_files(&[TEMPLATES], &own);
    assert_eq!(faults, []);
    // Not every kind has a change of the score; that it has none is no fault.
    assert_eq!(faults_of(&templates), []);
    let mut bulletin = sample("build_changed");
    assert_eq!(dress(&mut bulletin, &templates, &BTreeMap::new()), []);
    assert_eq!(bulletin.subject, "[desk] +3.1 % now");
    assert_eq!(bulletin.data["subject"], "[desk] +3.1 % now");

    let own = [("templates/bulletin.txt", "One\n{{ comes_in[0].nmae }}\n")];
    let (templates, faults) = Templates::with_files(&[TEMPLATES], &own);
    assert_eq!(faults, []);
    let said: Vec<String> = faults_of(&templates)
        .iter()
        .map(ToString::to_string)
        .collect();
    assert!(
        said[0].starts_with("templates/bulletin.txt:2:4: undefined value"),
        "{said:?}"
    );
    let before = bulletin.text.clone();
    assert_eq!(dress(&mut bulletin, &templates, &BTreeMap::new()).len(), 1);
    assert_eq!(bulletin.text, before);
}

#[test]
fn a_digest_made_twice_is_the_same_digest_and_holds_every_body() {
    let plain = Bulletin {
        id: BulletinId::from_stored("1"),
        brief: "b".to_owned(),
        at: DateTime::UNIX_EPOCH,
        subject: "news of <old>".to_owned(),
        text: "text & more\n".to_owned(),
        // As bulletins were stored before they had pages.
        data: json!({}),
    };
    let both = [plain, sample("build_changed")];
    let made = |channel| digest(&built_in(), channel, DateTime::UNIX_EPOCH, &both);
    let (first, faults) = made("mail");
    assert_eq!(faults, []);
    assert_eq!(first, made("mail").0);
    assert_ne!(first.id, made("fax").0.id);
    assert_eq!(first.subject, "2 bulletins of b, A quiet desk for…");
    assert!(first.text.contains("news of <old>") && first.text.contains("Oskra Lumen 16 GB"));
    let html = first.data["html"].as_str().unwrap();
    assert!(html.contains("text &amp; more") && html.contains("Oskra Lumen 16 GB"));
    assert_eq!(html.matches("<article>").count(), 2);
    assert_eq!(first.data["bulletins"][1].get("html"), None);
}

#[test]
fn a_test_says_that_it_is_one() {
    let at = DateTime::UNIX_EPOCH;
    let made = test_bulletin(&built_in(), "post", at);
    assert_eq!(made.subject, "Test from rigtide for \"post\"");
    assert_eq!(made.data["kind"], "test");
    let later = test_bulletin(&built_in(), "post", at + TimeDelta::seconds(1));
    assert_ne!(made.id, later.id);
}
