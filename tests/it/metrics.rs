//! Metrics: who may read them, and what is in them.

use crate::support::site::{TestSite, Visitor, header};
use borewright::web::server::Config;

/// The value of a series.
fn value(text: &str, name: &str, labels: &[&str]) -> Option<f64> {
    let line = text.lines().find(|line| {
        let series = line
            .split_once([' ', '{'])
            .is_some_and(|(first, _)| first == name);
        series && labels.iter().all(|label| line.contains(label))
    })?;
    line.rsplit(' ').next()?.parse().ok()
}

async fn read(visitor: &Visitor) -> String {
    let answer = visitor.get("/metrics").await;
    assert_eq!(answer.status(), 200);
    let kind = header(answer.headers(), "content-type");
    assert!(kind.starts_with("application/openmetrics-text"), "{kind}");
    answer.text().await.unwrap()
}

#[tokio::test]
async fn requests_pool_queue_and_memory_are_counted_and_nobody_is_named() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for _ in 0..3 {
        assert_eq!(owner.get("/jobs").await.status(), 200);
    }
    assert_eq!(owner.get("/jobs/nothing-of-ours").await.status(), 404);
    for guess in 0..20 {
        site.stranger().get(&format!("/guess-{guess}")).await;
    }
    let stranger = site.stranger();
    let text = read(&stranger).await;
    let of = |status| {
        let status = format!("status=\"{status}\"");
        let labels = ["method=\"GET\"", "part=\"jobs\"", status.as_str()];
        value(&text, "borewright_requests_total", &labels)
    };
    assert_eq!((of(200), of(404)), (Some(3.0), Some(1.0)), "{text}");
    let timed = value(
        &text,
        "borewright_request_seconds_count",
        &["part=\"jobs\""],
    );
    assert_eq!(timed, Some(4.0), "{text}");
    assert_eq!(value(&text, "borewright_database_ready", &[]), Some(1.0));
    let most = value(&text, "borewright_pool_connections", &["state=\"most\""]);
    assert_eq!(most, Some(8.0), "{text}");
    let resident = value(&text, "borewright_resident_memory_bytes", &[]).unwrap();
    assert!(resident > 1e6, "{text}");
    // A plan was asked for when the shop was made, and nobody works here.
    let waiting = value(&text, "borewright_plan_runs", &["state=\"waiting\""]);
    assert!(waiting.is_some(), "{text}");
    // Whatever is asked for that is not there makes no series of its own.
    assert!(!text.contains("guess-"), "{text}");
    for name in ["Edda", "Harrow", "harrow-quay", &site.shop.id.to_string()] {
        assert!(!text.contains(name), "{name} in {text}");
    }
    assert!(text.ends_with("# EOF\n"), "{text}");
}

#[tokio::test]
async fn only_the_machine_itself_or_a_token_reads_them() {
    let site = TestSite::new().await;
    let ask = async |site: &TestSite, name: &str, value: &str| {
        let request = site
            .stranger()
            .request("GET", "/metrics")
            .header(name, value);
        request.send().await.unwrap().status().as_u16()
    };
    assert_eq!(ask(&site, "accept", "*/*").await, 200);
    // What a proxy passes on comes from elsewhere, though the proxy is on this machine.
    assert_eq!(ask(&site, "x-forwarded-for", "203.0.113.9").await, 404);
    assert_eq!(ask(&site, "x-forwarded-for", "127.0.0.1").await, 404);
    assert_eq!(ask(&site, "forwarded", "for=203.0.113.9").await, 404);
    let token = "0123456789abcdef0123456789abcdef";
    let with = TestSite::with(Config {
        metrics_token: Some(token.to_owned()),
        ..Config::default()
    })
    .await;
    let bearer = async |token: &str, from: &str| {
        let request = with
            .stranger()
            .request("GET", "/metrics")
            .header("authorization", format!("Bearer {token}"))
            .header("x-forwarded-for", from);
        request.send().await.unwrap().status().as_u16()
    };
    assert_eq!(bearer(token, "203.0.113.9").await, 200);
    for wrong in ["", "0123456789abcdef", &token.to_uppercase()] {
        assert_eq!(bearer(wrong, "203.0.113.9").await, 404, "{wrong}");
    }
    assert_eq!(ask(&with, "accept", "*/*").await, 200);
}
