//! The interface over the sample desk: every route answers as it is described.

use crate::web::sample::HOSTILE;
use crate::web::tests::{ask, get, served};
use axum::http::StatusCode;
use serde_json::{Value, json};
use std::path::Path;

const JSON: [(&str, &str); 1] = [("content-type", "application/json")];

async fn description() -> Value {
    get("/api/v1/openapi.json").await.json()
}

/// Everything that the sample desk does when it is told to, by its route.
fn words() -> Vec<(&'static str, Value)> {
    let words = [
        ("/api/v1/briefs/{brief}/save", json!({ "digest": "d1" })),
        ("/api/v1/feeds/{retailer}/{feed}/poll", json!({})),
        ("/api/v1/feeds/{retailer}/{feed}/trial", json!({})),
        ("/api/v1/held/{id}", json!({ "word": "confirm" })),
        (
            "/api/v1/questions",
            json!({ "retailer": "alpha", "sku": "A/2 ?", "word": "accept", "part": "brisk-6" }),
        ),
        ("/api/v1/outbox/{id}", json!({ "word": "retry" })),
    ];
    words.to_vec()
}

/// A route with what the sample desk knows in its places.
fn filled(path: &str) -> String {
    path.replace("{brief}", "quiet")
        .replace("{part}", "brisk-6")
        .replace("{retailer}", "alpha")
        .replace("{feed}", "list")
        .replace("outbox/{id}", "outbox/5")
        .replace("{id}", "3")
}

/// JSON Schema 2020-12, as OpenAPI 3.1 has it: what `schema` says, with the description's components.
fn faults_of(description: &Value, schema: &Value, value: &Value) -> Vec<String> {
    let whole = json!({ "allOf": [schema], "components": description["components"] });
    let validator = jsonschema::draft202012::new(&whole).unwrap();
    let faults = validator.iter_errors(value);
    faults
        .map(|fault| format!("{}: {fault}", fault.instance_path()))
        .collect()
}

#[tokio::test]
async fn the_description_is_kept_beside_the_program() {
    let said = serde_json::to_string_pretty(&description().await).unwrap() + "\n";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/openapi.json");
    if std::env::var_os("INSTA_UPDATE").is_some_and(|update| update == "always") {
        std::fs::write(&path, &said).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    assert!(
        kept == said,
        "config/openapi.json is another; INSTA_UPDATE=always writes it"
    );
}

#[tokio::test]
async fn every_route_answers_as_it_is_described() {
    let description = description().await;
    let (router, _) = served();
    let mut asked = Vec::new();
    for (path, item) in description["paths"].as_object().unwrap() {
        // Events have no end.
        if path == "/api/v1/changes" {
            continue;
        }
        for (method, operation) in item.as_object().unwrap() {
            let line = format!("{} {}", method.to_uppercase(), filled(path));
            let answer = match method.as_str() {
                "get" => ask(&router, &line, &[], "").await,
                "post" => {
                    let words = words();
                    let word = words.iter().find(|(its_path, _)| its_path == path);
                    let body = &word.unwrap_or_else(|| panic!("no word for {path}")).1;
                    let sent = &operation["requestBody"]["content"]["application/json"]["schema"];
                    assert_eq!(faults_of(&description, sent, body), Vec::<String>::new());
                    ask(&router, &line, &JSON, &body.to_string()).await
                }
                other => panic!("{other} {path} is not tried"),
            };
            assert_eq!(answer.status, StatusCode::OK, "{line}: {}", answer.body);
            assert_eq!(answer.header("content-type"), "application/json", "{line}");
            let content = &operation["responses"]["200"]["content"]["application/json"];
            let faults = faults_of(&description, &content["schema"], &answer.json());
            assert_eq!(faults, Vec::<String>::new(), "{line}");
            asked.push(line);
        }
    }
    assert_eq!(asked.len(), 23, "{asked:#?}");
}

#[tokio::test]
async fn what_is_refused_is_a_problem() {
    let description = description().await;
    let (router, _) = served();
    let refused = [
        (404, "GET /api/v1/briefs/none", "", "no brief"),
        (404, "GET /api/v1/nothing", "", "nothing at"),
        (
            400,
            "GET /api/v1/briefs/quiet?bugdet=1",
            "",
            "\"bugdet\" means nothing",
        ),
        (400, "GET /api/v1/briefs/quiet?pin=cpu", "", "ROLE:PART"),
        (400, "GET /api/v1/journal?limit=many", "", "no number"),
        (
            400,
            "GET /api/v1/briefs/quiet/guide?form=pdf",
            "",
            "markdown",
        ),
        (400, "GET /api/v1/held/x", "", ""),
        (405, "PUT /api/v1/held/3", "{}", "PUT is not done"),
        (400, "POST /api/v1/held/3", "{", "not understood"),
        (
            400,
            "POST /api/v1/held/3",
            "{\"word\":\"perhaps\"}",
            "confirm",
        ),
        (
            400,
            "POST /api/v1/held/3",
            "{\"word\":\"drop\",\"also\":1}",
            "also",
        ),
        (400, "POST /api/v1/held/x", "{\"word\":\"drop\"}", ""),
    ];
    for (status, line, body, says) in refused {
        let answer = ask(&router, line, &JSON, body).await;
        // A route that has only POST refuses another method before it reads the path.
        let expected = match line {
            "GET /api/v1/held/x" => 405,
            _ => status,
        };
        assert_eq!(answer.status.as_u16(), expected, "{line}: {}", answer.body);
        assert_eq!(
            answer.header("content-type"),
            "application/problem+json",
            "{line}"
        );
        let problem = answer.json();
        let schema = json!({ "$ref": "#/components/schemas/Problem" });
        assert_eq!(
            faults_of(&description, &schema, &problem),
            Vec::<String>::new()
        );
        assert_eq!(problem["status"], expected);
        assert!(
            format!(
                "{} {}",
                problem["detail"].as_str().unwrap(),
                problem["remedy"].as_str().unwrap()
            )
            .contains(says),
            "{line}: {problem}"
        );
    }
}

#[tokio::test]
async fn forms_and_floods_are_not_read() {
    let (router, _) = served();
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let answer = ask(&router, "POST /api/v1/held/3", &form, "word=drop").await;
    assert_eq!(answer.status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
    let long = format!("{{\"digest\":\"{}\"}}", "x".repeat(100_000));
    let answer = ask(&router, "POST /api/v1/briefs/quiet/save", &JSON, &long).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test]
async fn a_what_if_reaches_the_desk_as_its_link_says() {
    let (router, _) = served();
    let query = "budget=1200.50&pin=cpu:brisk-6&own=case:box-a&ban=Loud%20%26%20Co";
    let answer = ask(
        &router,
        &format!("GET /api/v1/briefs/quiet?{query}"),
        &[],
        "",
    )
    .await;
    let what_if = &answer.json()["what_if"];
    assert_eq!(what_if["budget"], "1200.50");
    assert_eq!(what_if["pins"]["cpu"], "brisk-6");
    assert_eq!(what_if["owned"]["case"], "box-a");
    assert_eq!(what_if["bans"], json!(["Loud & Co"]));
}

#[tokio::test]
async fn what_a_feed_calls_an_offer_stays_a_text() {
    let answer = get("/api/v1/held").await;
    assert_eq!(answer.json()[0]["title"], HOSTILE);
    assert_eq!(answer.header("content-type"), "application/json");
    assert_eq!(answer.header("x-content-type-options"), "nosniff");
}

#[tokio::test]
async fn changes_come_as_events_and_listeners_are_limited() {
    use axum::body::Body;
    use axum::http::Request;
    let (router, _) = served();
    let listen = async || {
        use tower_service::Service as _;
        let request = Request::builder()
            .uri("/api/v1/changes")
            .header("host", "127.0.0.1:9414");
        let request = request.body(Body::empty()).unwrap();
        router.clone().call(request).await.unwrap()
    };
    let response = listen().await;
    let media_type = response.headers().get("content-type").unwrap();
    assert_eq!(media_type, "text/event-stream");
    let mut frames = response.into_body().into_data_stream();
    let first = futures_util::StreamExt::next(&mut frames)
        .await
        .unwrap()
        .unwrap();
    // WHATWG HTML, 9.2.6: fields in lines, an event ends with an empty one.
    let first = String::from_utf8(first.to_vec()).unwrap();
    assert!(first.ends_with("\n\n"), "{first:?}");
    for line in [
        "event: change",
        "id: 1",
        "retry: 5000",
        "data: {\"change\":1}",
    ] {
        assert!(first.lines().any(|has| has == line), "{line}: {first:?}");
    }
    let mut open = vec![];
    for _ in 1..64 {
        open.push(listen().await);
    }
    assert!(
        open.iter()
            .all(|response| response.status() == StatusCode::OK)
    );
    let refused = listen().await;
    assert_eq!(refused.status(), StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(refused.headers().get("retry-after").unwrap(), "5");
    drop(frames);
    assert_eq!(listen().await.status(), StatusCode::OK);
}
