//! Companions of a pass that stand nowhere: a place is proposed where both logs speak for one, and moved by hand.

use std::fmt::Write as _;

use crate::pass::Bench;

/// Frames whose rate changes each tenth of a second, and a meter whose power follows it, started 3.2 s after them.
fn followed() -> (Vec<u8>, Vec<u8>) {
    let mut state = 7_u32;
    let rates: Vec<f64> = (0..400)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            80.0 + f64::from(state >> 24) * 0.4
        })
        .collect();
    let rate =
        |at: f64| rates.iter().enumerate().rfind(|(n, _)| *n as f64 * 0.1 <= at).map_or(80.0, |(_, r)| *r);
    let (mut log, mut at) = ("elapsed (s),frame time (ms)\n".to_owned(), 0.0);
    while at < 30.0 {
        let ms = 1000.0 / rate(at + 1e-6);
        writeln!(log, "{at:.6},{ms:.3}").unwrap();
        at += ms / 1000.0;
    }
    let mut beside = "elapsed (s),board power (W),core clock (MHz)\n".to_owned();
    for i in 0..500_u32 {
        let on = f64::from(i) * 0.05;
        let watts = 100.0 + 1.5 * rate(on + 3.2 - 0.05 + 1e-6);
        writeln!(beside, "{on:.2},{watts:.1},{}", 2500 + i % 5).unwrap();
    }
    (log.into_bytes(), beside.into_bytes())
}

#[tokio::test]
async fn a_companion_that_stands_nowhere_is_proposed_a_place_and_moved_from_there() {
    let (log, beside) = followed();
    let bench = Bench::with(log, beside).await;
    let page = bench.owner.get(&bench.page()).await;
    let (to, fields) = page.form("form:has(input[name=drift_ppb])");
    let field = |name: &str| fields.iter().find(|(n, _)| n == name).map(|(_, text)| text.clone()).unwrap();
    let offset: f64 = field("offset").parse().unwrap();
    assert!((offset - 3.2).abs() < 0.06, "{offset}");
    assert!(page.body.contains("power follows the work of the frames best"), "{}", page.body);
    let pairs: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    assert_eq!(bench.owner.post(&to, &pairs).await.status, 303);
    let placed = bench.json().await["companions"][0].clone();
    assert_eq!((&placed["placed_by"], &placed["proposed"]), (&"hand".into(), &serde_json::Value::Null));
    let before = placed["offset_ns"].as_i64().unwrap();
    let page = bench.owner.get(&bench.page()).await;
    let further = page.attribute("button[name=offset]:last-of-type", "value").unwrap();
    let version = placed["version"].as_i64().unwrap().to_string();
    assert_eq!(bench.owner.post(&to, &[("offset", &further), ("version", &version)]).await.status, 303);
    assert_eq!(bench.json().await["companions"][0]["offset_ns"].as_i64().unwrap(), before + 1_000_000_000);
}

#[tokio::test]
async fn where_the_logs_say_nothing_no_place_is_proposed() {
    let bench = Bench::set_up().await;
    let page = bench.owner.get(&bench.page()).await;
    assert!(page.body.contains("No place can be proposed: "), "{}", page.body);
}
