//! Soaks: a sensor log without frames becomes one, says where it holds its temperature, and goes back.

use std::fmt::Write as _;

use weighhouse_web::paths;

use crate::figures::{PIECE, bench};
use crate::harness::{Client, House};

/// Fifteen minutes towards `top`; without the rows from `gap` on for a minute, and with the clock lower from nine minutes on
/// where it `throttles`.
fn log(top: f64, gap: Option<u32>, throttles: bool) -> String {
    let mut text = "moment,board power (W),core clock (MHz),core temperature (°C)\n".to_owned();
    for second in (0..900_u32).filter(|second| gap.is_none_or(|gap| !(gap..gap + 60).contains(second))) {
        let lower = throttles && second >= 540;
        let (clock, power) = if lower { (2_480.0, 431.0) } else { (2_690.0, 480.0) };
        let wobble = f64::from(second % 7) * 0.05;
        let heat = top - (top - 30.0) * (-f64::from(second) / 110.0).exp() + wobble;
        let (minute, rest) = (second / 60, second % 60);
        writeln!(text, "2026-03-01T10:{minute:02}:{rest:02}.000Z,{power:.1},{clock:.0},{heat:.1}").unwrap();
    }
    text
}

async fn sent(owner: &Client, name: &str, log: String) -> i64 {
    let sent = owner.put(&paths::upload(name), log).await;
    assert_eq!(sent.status, 201, "{}", sent.body);
    sent.json()["segments"][0]["segment"].as_i64().unwrap()
}

#[tokio::test]
async fn a_sensor_log_becomes_a_soak_and_says_where_it_holds_and_throttles() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    bench(&house, &owner, false).await;
    let segment = sent(&owner, "dunlin_soak.csv", log(82.0, None, true)).await;
    assert!(owner.get(&paths::intake(PIECE)).await.body.contains("It is a soak"));
    let new = paths::soak_new(PIECE, segment);
    let fields = [("tuning", "1"), ("rig", "1"), ("ambient_c", "22.0")];
    assert_eq!(guest.post(&new, &fields).await.status, 403);
    let wrong = owner.post(&new, &[("tuning", "1"), ("rig", "7"), ("ambient_c", "warm")]).await;
    assert!(wrong.status == 422 && wrong.body.contains("Choose the rig"), "{}", wrong.body);
    let made = owner.post(&new, &fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    assert_eq!(owner.post(&new, &fields).await.status, 409, "it is one already");
    assert!(!owner.get(&paths::intake(PIECE)).await.body.contains("dunlin_soak.csv"));

    let page = guest.get(&paths::api(made.location())).await.json();
    let told = page["told"].to_string().replace(['\u{a0}', '\u{202f}'], " ");
    assert!(page["steady"].as_str().unwrap().starts_with("82.1"), "{page}");
    assert!(told.contains("within a kelvin of it from 7 min 10 s on"), "{told}");
    assert!(told.contains("60.1 K over the air"), "{told}");
    let notices = page["notices"].to_string().replace('\u{a0}', " ");
    assert_eq!(notices, r#"["Throttles from 9 min 0 s on: clock 7.8% lower"]"#);
    let list = guest.get(&paths::readings(PIECE)).await;
    assert!(list.texts("section[aria-labelledby=soaks] td").iter().any(|text| text.contains("Throttles")));
    assert_eq!(guest.get(&paths::soak(PIECE, "none")).await.status, 404);

    let back = format!("{}/take-back", made.location());
    assert_eq!(owner.post(&back, &[("version", "2")]).await.status, 412);
    assert_eq!(owner.post(&back, &[("version", "1")]).await.status, 303);
    assert!(owner.get(&paths::intake(PIECE)).await.body.contains("dunlin_soak.csv"));
}

#[tokio::test]
async fn a_gap_is_told_and_a_log_without_heat_is_no_soak() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let gapped = sent(&owner, "gap_soak.csv", log(70.0, Some(400), false)).await;
    let made = owner.post(&paths::soak_new(PIECE, gapped), &[("tuning", "1"), ("rig", "1")]).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let page = owner.get(&paths::api(made.location())).await.json();
    let notices = page["notices"].to_string().replace('\u{a0}', " ");
    assert_eq!(notices, r#"["Gap from 6 min 40 s to 7 min 40 s: nothing was logged"]"#);
    assert!(page["steady"].as_str().unwrap().starts_with("70."), "{page}");

    let mut power = "moment,board power (W)\n".to_owned();
    for second in 0..200_u32 {
        writeln!(power, "2026-03-01T11:{:02}:{:02}.000Z,{}", second / 60, second % 60, 300 + second % 5)
            .unwrap();
    }
    let cold = sent(&owner, "meter.csv", power).await;
    let form = owner.get(&paths::soak_new(PIECE, cold)).await;
    assert!(form.body.contains("no column of temperatures"), "{}", form.body);
    let refused = owner.post(&paths::soak_new(PIECE, cold), &[("tuning", "1"), ("rig", "1")]).await;
    assert_eq!(refused.status, 409);
}
