//! Long logs: cut into passes where they pause, put together again; companions cut at the passes beside them.

use std::fmt::Write as _;
use std::io::Read as _;

use flate2::read::GzDecoder;
use weighhouse_web::paths;

use crate::harness::House;
use crate::intake::{bring, registers};
use crate::pass::Bench;

/// Frame times of a recorded pass, ms.
fn recorded(name: &str) -> Vec<f64> {
    let path = format!("{}/tests/data/captures/whole/{name}.csv.gz", env!("CARGO_MANIFEST_DIR"));
    let mut text = String::new();
    GzDecoder::new(std::fs::File::open(path).unwrap()).read_to_string(&mut text).unwrap();
    text.lines().skip(1).map(|line| line.split(',').nth(1).unwrap().parse().unwrap()).collect()
}

/// A log of frames one after the other, with a hole of `hole_s` before the frames that follow it.
fn log(parts: &[(&[f64], f64)]) -> String {
    let (mut text, mut at) = ("elapsed (s),frame time (ms)\n".to_owned(), 0.0);
    for (frames, hole_s) in parts {
        at += hole_s;
        for ms in *frames {
            writeln!(text, "{at:.6},{ms}").unwrap();
            at += ms / 1000.0;
        }
    }
    text
}

fn seconds(frames: &[f64]) -> f64 {
    frames.iter().sum::<f64>() / 1000.0
}

#[tokio::test]
async fn a_log_of_three_recorded_passes_is_cut_between_them_and_each_is_what_it_was_alone() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let (first, second) =
        (recorded("card-a_murmuration_2560x1440_p2"), recorded("card-b_murmuration_2560x1440_p2"));
    let third = recorded("card-a_glasshouse_2560x1440_p1");
    let menu: Vec<f64> = (0..4000).map(|n| 1.5 + f64::from(n % 3) * 0.05).collect();
    bring(&owner, "evening.csv", log(&[(&first, 0.0), (&menu, 0.0), (&second, 0.0), (&third, 6.0)])).await;

    let intake = owner.get(&paths::intake("k")).await;
    let cut = intake.attribute("ul.logs a[href*=cuts]", "href").unwrap();
    let page = owner.get(&cut).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let (to, fields) = page.form("form[data-rows]");
    let ticked: Vec<&str> =
        fields.iter().filter(|(name, _)| name == "take").map(|(_, n)| n.as_str()).collect();
    assert_eq!(ticked, ["0", "2", "3"], "{fields:?}");
    let time = |name: &str| -> f64 { fields.iter().find(|(n, _)| n == name).unwrap().1.parse().unwrap() };
    let begins = seconds(&first) + seconds(&menu);
    let ends = [("to-0", seconds(&first)), ("from-2", begins), ("from-3", begins + seconds(&second) + 6.0)];
    for (name, truth) in ends {
        assert!((time(name) - truth).abs() < 1e-4, "{name}: {fields:?}");
    }
    let strip = owner.get(&paths::cuts_strip(1)).await;
    assert!(strip.body.starts_with("<svg") && strip.body.contains("2 left"));

    let pairs: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    let done = owner.post(&to, &pairs).await;
    assert_eq!((done.status, done.location()), (303, paths::intake("k").as_str()), "{}", done.body);
    let waiting = owner.get(&paths::api(&paths::intake("k"))).await.json();
    let waiting = waiting["frames"].as_array().unwrap();
    let counts: Vec<(u64, f64)> = waiting
        .iter()
        .map(|log| (log["rows"].as_u64().unwrap(), log["average_fps"].as_f64().unwrap()))
        .collect();
    for (frames, (rows, average)) in [&first, &second, &third].into_iter().zip(&counts) {
        assert_eq!(*rows, frames.len() as u64);
        let alone = frames.len() as f64 / seconds(frames);
        assert!((average / alone - 1.0).abs() < 1e-5, "{average} {alone}");
    }
    assert_eq!(weighhouse::work::recheck::wrong(&mut house.store.read().await.unwrap()).await, [""; 0]);

    // No frame counts twice, and what is free can be cut once more.
    let again = owner.post(&to, &[("from-more", "20"), ("to-more", "30")]).await;
    assert_eq!(again.status, 422);
    assert!(again.body.contains("share frames"), "{}", again.body);
    let free = seconds(&first) + 1.0;
    let free = [("from-more", format!("{free:.3}")), ("to-more", format!("{:.3}", free + 2.0))];
    let free: Vec<(&str, &str)> = free.iter().map(|(n, t)| (*n, t.as_str())).collect();
    assert_eq!(owner.post(&to, &free).await.status, 303);
    assert_eq!(owner.post(&to, &[("do", "together")]).await.status, 303);
    let whole = owner.get(&paths::api(&paths::intake("k"))).await.json();
    assert_eq!(whole["frames"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_stretch_without_frames_or_turned_round_is_refused_and_what_was_written_stays() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    bring(&owner, "short.csv", crate::upload::log(2000, 1)).await;
    let to = paths::cuts(1);
    assert!(owner.get(&to).await.attribute("input[name=take]", "checked").is_some());
    for (from, until, says) in [
        ("5", "4", "must end after it begins"),
        ("500", "600", "No row of the log starts in this stretch"),
        ("soon", "4", "is not a time in seconds"),
        ("3", "", "a start and an end"),
    ] {
        let refused = owner.post(&to, &[("from-more", from), ("to-more", until)]).await;
        assert_eq!(refused.status, 422, "{from} {until}");
        assert!(refused.body.contains(says), "{says}: {}", refused.body);
        assert_eq!(refused.attribute("input[name=from-more]", "value").as_deref(), Some(from));
        assert_eq!(refused.attribute("input[name=take]", "checked"), None, "it was not ticked");
    }
    assert_eq!(owner.post(&to, &[]).await.status, 422);
    assert_eq!(owner.get(&paths::cuts(77)).await.status, 404);
}

#[tokio::test]
async fn a_pass_becomes_a_stretch_of_its_log_with_its_companion_and_the_whole_of_it_again() {
    let bench = Bench::set_up().await;
    let place = paths::pass_companion(&bench.keys[0], bench.companion);
    assert_eq!(bench.owner.post(&place, &[("offset", "0.5"), ("version", "1")]).await.status, 303);
    let average = |json: &serde_json::Value| {
        let ledger = json["ledger"].as_array().unwrap();
        ledger.iter().find(|row| row["measure"] == "average_fps").unwrap()["value"].as_f64().unwrap()
    };
    let before = bench.json().await;
    let version = before["window"]["version"].as_i64().unwrap().to_string();
    let cut = |version: &str, to: &str| {
        let fields =
            [("cut-from", "5".to_owned()), ("cut-to", to.to_owned()), ("version", version.to_owned())];
        let owner = &bench.owner;
        let to = paths::pass_cut(&bench.keys[0]);
        async move {
            let pairs: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (*n, t.as_str())).collect();
            owner.post(&to, &pairs).await
        }
    };
    assert_eq!(cut(&version, "4").await.status, 422);
    let done = cut(&version, "19").await;
    assert_eq!(done.status, 303, "{}", done.body);
    let stretch = bench.json().await;
    assert!(stretch["history"].to_string().contains("made it a stretch of its log"), "{stretch}");
    // The hitch at 20 s is no part of it.
    assert!(average(&stretch) > average(&before));
    let start_ns = stretch["window"]["cut_ns"][0].as_i64().unwrap();
    assert!((5_000_000_000..5_010_000_000).contains(&start_ns));
    assert_eq!(stretch["companions"][0]["offset_ns"], 500_000_000 - start_ns);
    assert_eq!(cut(&version, "10").await.status, 412);
    // What is cut once more is told in times of the pass.
    let version = stretch["window"]["version"].as_i64().unwrap().to_string();
    assert_eq!(cut(&version, "10").await.status, 303);
    let shorter = bench.json().await;
    assert!((10_000_000_000..10_020_000_000).contains(&shorter["window"]["cut_ns"][0].as_i64().unwrap()));
    assert_eq!(weighhouse::work::recheck::wrong(&mut bench.house.store.read().await.unwrap()).await, [""; 0]);
    let version = shorter["window"]["version"].as_i64().unwrap().to_string();
    let together = [("do", "together"), ("version", version.as_str())];
    assert_eq!(bench.owner.post(&paths::pass_cut(&bench.keys[0]), &together).await.status, 303);
    let after = bench.json().await;
    assert_eq!(
        (average(&after), &after["companions"][0]["offset_ns"]),
        (average(&before), &500_000_000.into())
    );
    assert_eq!(after["window"]["cut_ns"], serde_json::Value::Null);
}

/// Noon UTC of 1 March 2026 and these seconds.
fn stamp(at: f64) -> String {
    format!("2026-03-01T12:{:02.0}:{:09.6}+00:00", (at / 60.0).floor(), at % 60.0)
}

/// Frames on a wall clock from noon UTC of 1 March 2026 plus `from_s`.
fn clocked(from_s: f64) -> String {
    let (mut text, mut at) = ("at,frame time (ms)\n".to_owned(), from_s);
    for i in 0..1500_u32 {
        let ms = 8.0 + f64::from(i % 7) * 0.25;
        writeln!(text, "{},{ms}", stamp(at)).unwrap();
        at += ms / 1000.0;
    }
    text
}

#[tokio::test]
async fn one_companion_of_an_evening_is_cut_at_the_passes_that_it_was_written_beside() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    for (n, from) in [10.0, 40.0, 70.0].into_iter().enumerate() {
        bring(&owner, &format!("Curlew_hairpin_2160p-native_alder_p{}.csv", n + 1), clocked(from)).await;
    }
    let mut text = "at,board power [W],core clock [MHz]\n".to_owned();
    for i in 0..2000_u32 {
        let at = f64::from(i) * 0.05;
        writeln!(text, "{},{}.5,{}", stamp(at), 240 + i % 13, 1900 + i % 7 * 15).unwrap();
    }
    bring(&owner, "evening_sensors.csv", text).await;
    let pattern = "{part}_{scene}_{setting}_{rig}_p{pass}";
    let pairs = [("pattern", pattern), ("segment", "1"), ("segment", "2"), ("segment", "3")];
    let made = owner.post(&paths::assign("k"), &pairs).await;
    assert_eq!(made.status, 303, "{}", made.body);

    let beside = owner.post(&paths::cut_beside("k"), &[("segment", "4")]).await;
    assert_eq!(beside.status, 303, "{}", beside.body);
    let said = owner.get(&paths::intake("k")).await;
    assert!(said.texts(".flash span")[0].starts_with("3 passes have a companion now"));
    assert_eq!(said.texts("#companions").len(), 0);
    let again = owner.post(&paths::cut_beside("k"), &[("segment", "4")]).await;
    assert_eq!(again.status, 422);
    let board = owner.get(&paths::plan("k")).await;
    let first = board.attribute("a[href^='/passes/']", "href").unwrap();
    let key = first.trim_start_matches("/passes/").split('?').next().unwrap();
    let whole = owner.post(&paths::pair("k"), &[("segment", "4"), ("pass", key)]).await;
    assert_eq!(whole.status, 409, "what was cut is no companion as a whole: {}", whole.body);
    let pass = board.attribute("a[href^='/passes/']", "href").unwrap();
    let json = owner.get(&paths::api(&pass)).await.json();
    let companion = &json["companions"][0];
    assert_eq!(
        (&companion["placed_by"], &companion["offset_ns"]),
        (&"wall clock".into(), &(-2_000_000_000_i64).into())
    );
    let power = json["ledger"].as_array().unwrap().iter().find(|row| row["measure"] == "power_w").unwrap();
    assert!(power["value"].as_f64().is_some_and(|watts| (240.0..254.0).contains(&watts)));
    assert_eq!(weighhouse::work::recheck::wrong(&mut house.store.read().await.unwrap()).await, [""; 0]);
}
