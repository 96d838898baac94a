//! Tuning and latency over HTTP: what logs with watts and delay give, choices, charts.

use weighhouse::store::registers::{cells, settings, tunings};
use weighhouse::store::{Actor, CellId, SettingId, passes, pieces};
use weighhouse_web::paths;

use crate::against::{Ids, piece, segment};
use crate::harness::{Client, House, chart};

/// A log of 2 000 even frames with watts and delay; a start of its own makes each file another one.
fn log(frame_ms: f64, watts: f64, delay_ms: f64, nth: usize) -> String {
    let mut text = String::from("time_s,frame time (ms),board power (W),hand to eye delay (ms)\n");
    let mut at_s = 0.7 + nth as f64 / 1000.0;
    for _ in 0..2000 {
        text.push_str(&format!("{at_s:.6},{frame_ms:.4},{watts:.1},{delay_ms:.2}\n"));
        at_s += frame_ms / 1000.0;
    }
    text
}

/// Adds the Curlew's cell in the first scene at this tuning and setting, with three passes about these values.
async fn cell(
    house: &House,
    ids: &Ids,
    of: (&'static str, Option<i64>, SettingId),
    (fps, watts, delay): (f64, f64, f64),
    nth: usize,
) -> CellId {
    let (name, limit, setting_id) = of;
    let part_id = ids.parts[1];
    let scene_id = ids.scenes[0];
    let cell_id = house
        .store
        .write(Actor::Server, async move |tx| {
            let known = tunings::all(tx).await?;
            let known = known.into_iter().find(|t| t.fields.part_id == part_id && t.fields.name == name);
            let tuning_id = match known {
                Some(tuning) => tuning.id,
                None => {
                    let stock = tunings::TuningFields::stock(part_id);
                    let fields =
                        tunings::TuningFields { name: name.to_owned(), power_limit_w: limit, ..stock };
                    tunings::add(tx, &fields).await?
                }
            };
            let cell = cells::ensure(tx, cells::CellOf { tuning_id, scene_id, setting_id }).await?;
            let piece = pieces::by_key(tx, "k1").await?.unwrap();
            pieces::select(tx, piece.id, cell).await?;
            Ok::<_, weighhouse::store::StoreError>(cell)
        })
        .await
        .unwrap();
    for (n, share) in [1.0, 1.002, 0.998].into_iter().enumerate() {
        let text = log(1000.0 / (fps * share), watts * share, delay * share, 10 * nth + n);
        let segment_id = segment(house, format!("t{nth}-{n}.csv"), text).await;
        let new = passes::NewPass {
            cell_id,
            segment_id,
            rig_base_id: ids.base,
            unit_id: ids.units[1],
            driver_id: ids.drivers[1],
            build_id: ids.builds[0],
        };
        let key = format!("t{nth}{n}");
        house.store.write(Actor::Server, async move |tx| passes::add(tx, &key, &new).await).await.unwrap();
    }
    cell_id
}

async fn seen(client: &Client, path: &str) -> serde_json::Value {
    let answer = client.get(&paths::api(path)).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    answer.json()
}

#[tokio::test]
async fn without_a_second_tuning_or_a_delay_the_pages_say_what_to_do() {
    let house = House::start().await;
    let owner = house.owner().await;
    piece(&house).await;
    let page = owner.get(&paths::piece_tuning("k1")).await;
    assert_eq!(page.texts("main .empty b"), ["No part with two tunings yet"]);
    assert!(seen(&owner, &paths::piece_tuning("k1")).await["found"].is_null());
    assert_eq!(owner.get(&chart("tuning", &[])).await.status, 404);
    let page = owner.get(&paths::latency("k1")).await;
    assert_eq!(page.texts("main .empty b"), ["No delay logged yet"]);
    assert_eq!(owner.get(&chart("latency", &[])).await.status, 404);
}

/// Common practice, no source: stock 93 fps at 575 W; 96 fps at 450 W with another tuning is better for over 100 W less,
/// at 4.69 instead of 6.18 J a frame.
#[tokio::test]
async fn what_equals_stock_for_less_is_found_with_its_joules() {
    let house = House::start().await;
    let owner = house.owner().await;
    let ids = piece(&house).await;
    let setting = other_setting(&house, 1).await;
    for (nth, (name, limit, values)) in [
        ("stock", None, (93.0, 575.0, 31.0)),
        ("500 W", Some(500), (91.0, 500.0, 31.0)),
        ("450 W, tuned", Some(450), (96.0, 450.0, 31.0)),
        ("400 W", Some(400), (83.0, 400.0, 31.0)),
    ]
    .into_iter()
    .enumerate()
    {
        cell(&house, &ids, (name, limit, setting), values, nth).await;
    }
    let found = seen(&owner, &paths::piece_tuning("k1")).await["found"].clone();
    let names: Vec<&str> =
        found["rows"].as_array().unwrap().iter().map(|r| r["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["stock", "400 W", "450 W, tuned", "500 W"]);
    assert_eq!(found["for_less"]["name"], "450 W, tuned");
    assert!((found["for_less"]["less_w"].as_f64().unwrap() - 125.0).abs() < 0.1);
    let joules = |row: usize| found["rows"][row]["joules"]["value"].as_f64().unwrap();
    assert!((joules(0) - 6.18).abs() < 0.01 && (joules(2) - 4.69).abs() < 0.01);
    assert_eq!(found["rows"][3]["place"], "shown worse");
    let page = owner.get(&paths::piece_tuning("k1")).await;
    assert!(
        page.texts("main p b").iter().any(|says| says.contains("takes 125 W less: 450 W instead of 575 W"))
    );
    assert!(page.texts(".lede")[0].contains("This sample only"), "{:?}", page.texts(".lede"));
    let svg = owner.get(&chart("tuning", &[])).await;
    assert_eq!((svg.status, svg.header("content-type")), (200, "image/svg+xml"));
    assert!(svg.body.contains(">draft</text>"));
    for query in [("part", "99"), ("setting", "x"), ("scene", "99"), ("theme", "loud")] {
        let refused = owner.get(&chart("tuning", &[query])).await;
        assert_eq!(refused.status, 422, "{query:?}");
    }
}

async fn other_setting(house: &House, generated: i64) -> SettingId {
    let fields = settings::SettingFields {
        name: format!("2160p traced, {generated} for 1"),
        width_px: 3840,
        height_px: 2160,
        preset: "high".into(),
        ray_tracing: "on".into(),
        upscaling: String::new(),
        generated,
    };
    house.store.write(Actor::Server, async move |tx| settings::add(tx, &fields).await).await.unwrap()
}

/// Common practice, no source: latency 31, 36, 39 and 40 ms at factors 1 to 4.
#[tokio::test]
async fn shown_rendered_and_delay_stand_side_by_side() {
    let house = House::start().await;
    let owner = house.owner().await;
    let ids = piece(&house).await;
    let trade = [(1, 60.0, 31.0), (2, 106.0, 36.0), (3, 150.0, 39.0), (4, 212.0, 40.0)];
    for (nth, (factor, fps, delay)) in trade.into_iter().enumerate() {
        let setting = other_setting(&house, factor).await;
        cell(&house, &ids, ("stock", None, setting), (fps, 400.0, delay), nth).await;
    }
    let blocks = seen(&owner, &paths::latency("k1")).await["blocks"].clone();
    let rows = blocks[0]["rows"].as_array().unwrap().clone();
    let steps: Vec<f64> = rows.iter().filter_map(|row| row["step"]["value"].as_f64()).collect();
    for (got, want) in steps.iter().zip([5.0, 3.0, 1.0]) {
        assert!((got - want).abs() < 0.02, "{steps:?}");
    }
    assert!((rows[3]["rendered"]["value"].as_f64().unwrap() - 53.0).abs() < 0.01);
    let page = owner.get(&paths::latency("k1")).await;
    let says = page.texts("main p b");
    assert!(says.iter().any(|says| says.contains("212 shown from 53 rendered, 9 ms more delay")), "{says:?}");
    assert_eq!(owner.get(&chart("latency", &[])).await.status, 200);
    let nowhere = chart("latency", &[("scene", "9"), ("setting", "9")]);
    assert_eq!(owner.get(&nowhere).await.status, 404);
    // The delay of a cell can become a figure.
    let what = rows[3]["what_delay"].as_str().unwrap().to_owned();
    let form = owner.get(&paths::new_figure("k1", &what)).await;
    assert_eq!(form.status, 200, "{}", form.body);
    assert!(form.body.contains("mean delay from input to the shown frame"));
}
