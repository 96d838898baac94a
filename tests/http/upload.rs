//! Logs sent by a rig with its key or by a member.

use std::fmt::Write as _;

use reqwest::Method;
use serde_json::Value;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use weighhouse::store::captures;
use weighhouse_web::paths;

use crate::figures::{self, add_sent, bench};
use crate::harness::{Answer, Client, House, answer};

/// A log whose columns its own numbers prove.
pub fn log(frames: u32, salt: u32) -> String {
    let mut text = "elapsed (s),frame time (ms),power (W)\n".to_owned();
    let mut at = 0.0;
    for i in 0..frames {
        let frame = 8.0 + f64::from((i + salt) % 7) * 0.25;
        writeln!(text, "{at:.6},{frame:.3},{}", 250 + i % 9).unwrap();
        at += frame / 1000.0;
    }
    text
}

async fn send(client: &Client, name: &str, bytes: impl Into<reqwest::Body>) -> Answer {
    client.put(&paths::upload(name), bytes).await
}

async fn kept(house: &House) -> usize {
    captures::newest(&mut house.store.read().await.unwrap(), 99).await.unwrap().len()
}

fn text<'a>(json: &'a Value, name: &str) -> &'a str {
    json[name].as_str().unwrap()
}

#[tokio::test]
async fn a_member_and_a_rig_upload_and_are_told_what_was_understood() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let made = send(&member, "run 1.csv", log(2000, 0)).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let json = made.json();
    assert_eq!((text(&json, "outcome"), json["already"].as_bool()), ("read", Some(false)));
    let says = text(&json, "says");
    // 2000 frames of 8 to 9.5 ms.
    assert!(says.starts_with("2000\u{a0}frames over 17.5"), "{says}");
    assert!(says.contains("read 3 of 3\u{a0}columns: ") && says.contains(", frame time in ms,"), "{says}");
    assert_eq!(json["segments"][0]["read"][1], "column 2 'frame time (ms)' frame time in ms");
    assert_eq!(json["segments"][0]["rows"], 2000);

    let rig = house.rig().await;
    let bench = house.with_key(&owner, rig).await;
    let twice = send(&bench, "same.csv", log(2000, 0)).await;
    assert_eq!(twice.status, 200);
    assert!(
        text(&twice.json(), "says").starts_with("The same bytes are here already: one capture, kept once.")
    );
    assert_eq!(twice.json()["capture"], json["capture"]);
    assert_eq!(send(&bench, "other.csv", log(2000, 1)).await.status, 201);
    let row = captures::newest(&mut house.store.read().await.unwrap(), 1).await.unwrap().remove(0);
    assert_eq!((row.rig_id, row.person_id, row.rig_key_id.is_some()), (Some(rig), None, true));
    assert_eq!(kept(&house).await, 2);
}

#[tokio::test]
async fn who_may_not_upload_is_told_so_and_nothing_is_kept() {
    let house = House::start().await;
    let owner = house.owner().await;
    let rig = house.rig().await;
    let bench = house.with_key(&owner, rig).await;
    let guest = house.guest(&owner).await;
    assert_eq!(send(&house.anonymous(), "a.csv", log(300, 0)).await.status, 401);
    assert_eq!(send(&guest, "a.csv", log(300, 0)).await.status, 403);
    let wrong = Client { key: Some("no such key".to_owned()), ..house.anonymous() };
    let refused = send(&wrong, "a.csv", log(300, 0)).await;
    assert_eq!((refused.status, text(&refused.json(), "what")), (401, "Wrong key"));
    let other_rig = bench.put(&format!("{}?rig=99", paths::upload("a.csv")), log(300, 0)).await;
    assert_eq!(other_rig.status, 403);
    let key = owner.get(&paths::api(&paths::people())).await.json()["keys"][0]["id"].as_i64().unwrap();
    assert_eq!(owner.post(&paths::key_back(key), &[]).await.status, 303);
    assert_eq!(send(&bench, "a.csv", log(300, 0)).await.status, 401);
    let elsewhere = owner
        .bare(Method::PUT, &paths::upload("a.csv"))
        .header("origin", "https://evil.example")
        .body(log(300, 0));
    assert_eq!(answer(elsewhere).await.status, 403);
    assert_eq!(kept(&house).await, 0);
}

#[tokio::test]
async fn a_retry_under_its_key_gets_the_first_answer() {
    let house = House::start().await;
    let owner = house.owner().await;
    let put = async |bytes: String| {
        let asked = owner.request(Method::PUT, &paths::upload("a.csv")).header("idempotency-key", "k1");
        answer(asked.body(bytes)).await
    };
    let first = put(log(300, 0)).await;
    let again = put(log(300, 0)).await;
    assert_eq!((first.status, again.status), (201, 201));
    assert_eq!(first.json(), again.json());
    assert_eq!(put(log(300, 1)).await.status, 409);
    assert_eq!(kept(&house).await, 1);
}

#[tokio::test]
async fn a_start_is_kept_and_one_without_a_zone_is_refused() {
    let house = House::start().await;
    let owner = house.owner().await;
    let put = async |query: &str, salt| {
        owner.put(&format!("{}?{query}", paths::upload("a.csv")), log(300, salt)).await
    };
    assert_eq!(put("start=2026-02-28T12%3A00%3A00%2B01%3A00", 0).await.status, 201);
    let row = captures::newest(&mut house.store.read().await.unwrap(), 1).await.unwrap().remove(0);
    assert_eq!(row.start_us, Some(1_772_276_400_000_000));
    for (query, says) in [
        ("start=2026-02-28T12%3A00", "does not say in which zone"),
        ("start=noon", "'noon' is no moment"),
        ("rig=9", "There is no rig 9"),
        ("rig=alder", "'alder' is no number of a rig"),
    ] {
        let refused = put(query, 1).await;
        assert_eq!(refused.status, 422, "{query}");
        assert!(text(&refused.json(), "says").contains(says), "{}", refused.body);
    }
    assert_eq!(kept(&house).await, 1);
}

#[tokio::test]
async fn an_upload_that_breaks_off_leaves_nothing_and_its_retry_is_whole() {
    let house = House::start().await;
    let owner = house.owner().await;
    let rig = house.rig().await;
    let bench = house.with_key(&owner, rig).await;
    let bytes = log(3000, 0);
    let mut stream = TcpStream::connect(house.server.addr()).await.unwrap();
    let head = format!(
        "PUT {} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {}\r\nIdempotency-Key: k\r\nContent-Length: {}\r\n\r\n",
        paths::upload("a.csv"),
        bench.key.as_deref().unwrap(),
        bytes.len()
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream.write_all(&bytes.as_bytes()[..bytes.len() / 2]).await.unwrap();
    stream.shutdown().await.unwrap();
    // The server sees the end before the body is whole and hangs up.
    let mut rest = Vec::new();
    stream.read_to_end(&mut rest).await.unwrap();
    assert!(!String::from_utf8_lossy(&rest).contains(" 201 "));
    let mut db = house.store.read().await.unwrap();
    assert_eq!(captures::staged(&mut db).await.unwrap(), []);
    drop(db);
    assert_eq!(kept(&house).await, 0);
    let asked = bench.request(Method::PUT, &paths::upload("a.csv")).header("idempotency-key", "k");
    assert_eq!(answer(asked.body(bytes)).await.status, 201);
    assert_eq!(kept(&house).await, 1);
}

#[tokio::test]
async fn too_many_bytes_are_refused_whether_or_not_their_number_is_said() {
    let house = House::start_with(|config| config.limits.upload_bytes = 10_000).await;
    let owner = house.owner().await;
    let told = send(&owner, "a.csv", log(2000, 0)).await;
    assert_eq!(told.status, 413);
    let pieces = log(2000, 0)
        .into_bytes()
        .chunks(1000)
        .map(|c| Ok::<_, std::io::Error>(c.to_vec()))
        .collect::<Vec<_>>();
    let untold = send(&owner, "a.csv", reqwest::Body::wrap_stream(futures_util::stream::iter(pieces))).await;
    assert_eq!(untold.status, 413);
    for json in [told.json(), untold.json()] {
        assert!(text(&json, "says").contains("more than the 10"), "{json}");
        assert!(text(&json, "mend").contains("gzip"));
    }
    assert_eq!(kept(&house).await, 0);
}

/// The log with another text as the frame time of some rows.
fn spoilt(rows: &[(usize, &str)]) -> String {
    let mut lines: Vec<String> = log(300, 0).lines().map(str::to_owned).collect();
    for (row, text) in rows {
        let mut cells: Vec<&str> = lines[*row].split(',').collect();
        cells[1] = text;
        lines[*row] = cells.join(",");
    }
    lines.join("\n") + "\n"
}

#[tokio::test]
async fn what_is_no_log_is_refused_with_file_line_and_mend_and_nothing_is_kept() {
    let house = House::start().await;
    let owner = house.owner().await;
    let header = "elapsed (s),frame time (ms),power (W)\n";
    for (name, bytes, says) in [
        (
            "empty.csv",
            Vec::new(),
            "empty.csv is empty (0 bytes). Record it again, or fetch it again from the rig.",
        ),
        (
            "binary.csv",
            [0, 159, 146, 150].repeat(5000),
            "binary.csv, line 1: byte 0 is 0x00, so this is not text. Export the log as delimited text (comma, semicolon or tab).",
        ),
        (
            "header.csv",
            header.as_bytes().to_vec(),
            "header.csv, line 1: a header of 3 columns with no row of numbers below it. The recorder was stopped before the first frame: record again.",
        ),
        (
            "colons.csv",
            log(300, 0).replace(',', "::").into_bytes(),
            "colons.csv, line 1: no rows of numbers separated by comma, semicolon, tab, bar or blanks. Export the log as delimited text.",
        ),
    ] {
        let refused = send(&owner, name, bytes).await;
        assert_eq!((refused.status, text(&refused.json(), "says")), (422, says));
        assert_eq!(text(&refused.json(), "mend"), "Nothing of it was kept.");
    }
    assert_eq!(kept(&house).await, 0);
}

#[tokio::test]
async fn what_could_not_be_understood_is_told_with_line_and_column() {
    let house = House::start().await;
    let owner = house.owner().await;
    let spoilt = send(&owner, "nan.csv", spoilt(&[(101, "NaN"), (201, "-8.0")])).await;
    assert_eq!(spoilt.status, 201);
    let problems = &spoilt.json()["segments"][0]["problems"];
    assert_eq!((&problems[0]["line"], &problems[0]["column"]), (&102.into(), &2.into()));
    assert_eq!(text(&problems[0], "says"), "'NaN' is not a finite number; the row is left out.");
    assert_eq!(text(&problems[1], "says"), "'-8.0' is negative; the row is left out.");
    assert_eq!(spoilt.json()["segments"][0]["rows"], 298);

    let whole = log(300, 1);
    let cut = send(&owner, "cut.csv", whole[..whole.len() - 6].to_owned()).await;
    let problem = &cut.json()["segments"][0]["problems"][0];
    assert_eq!(problem["line"], 301);
    assert!(text(problem, "says").starts_with("The last row is cut"), "{problem}");

    let wide: Vec<String> =
        (0..300).map(|i| (0..100).map(|j| (i * j % 17).to_string()).collect::<Vec<_>>().join(",")).collect();
    let names: Vec<String> = (0..100).map(|j| format!("c{j}")).collect();
    let asked = send(&owner, "wide.csv", format!("{}\n{}\n", names.join(","), wide.join("\n"))).await;
    assert_eq!((asked.status, text(&asked.json(), "outcome")), (201, "ask"));
}

/// 64 MB of digits in one row, packed while they are sent.
#[tokio::test]
async fn a_small_file_that_unpacks_to_a_large_one_is_given_up_early() {
    use std::io::Write as _;

    let house = House::start().await;
    let owner = house.owner().await;
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gz.write_all(b"elapsed (s),frame time (ms)\n0,8\n").unwrap();
    let pieces = (0..64).map(move |_| {
        gz.write_all(&[b'1'; 1_000_000]).unwrap();
        gz.flush().unwrap();
        Ok::<_, std::io::Error>(std::mem::take(gz.get_mut()))
    });
    let refused =
        send(&owner, "bomb.gz", reqwest::Body::wrap_stream(futures_util::stream::iter(pieces))).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(
        text(&refused.json(), "says").starts_with("bomb.gz, line 3: longer than 1024 KiB"),
        "{}",
        refused.body
    );
    assert_eq!(kept(&house).await, 0);
}

/// The body of a form with files, as a browser without script sends it (RFC 7578).
fn with_files(fields: &[(&str, &str)], files: &[(&str, &str)]) -> String {
    let mut body = String::new();
    for (name, text) in fields {
        write!(body, "--b\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n").unwrap();
    }
    for (name, text) in files {
        write!(
            body,
            "--b\r\ncontent-disposition: form-data; name=\"files\"; filename=\"{name}\"\r\n\
             content-type: text/csv\r\n\r\n{text}\r\n"
        )
        .unwrap();
    }
    body + "--b--\r\n"
}

async fn send_form(client: &Client, piece: &str, body: String) -> Answer {
    let request = client.request(Method::POST, &paths::intake_logs(piece));
    answer(request.header("content-type", "multipart/form-data; boundary=b").body(body)).await
}

#[tokio::test]
async fn without_script_a_form_brings_several_logs_and_names_the_one_that_is_none() {
    let house = House::start().await;
    let owner = house.owner().await;
    let new = [("name", "A piece"), ("kind", "card"), ("deadline", ""), ("zone", "UTC")];
    let made = owner.post(&paths::pieces(), &new).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let piece = made.location().split('/').nth(2).unwrap().to_owned();
    let rig = house.rig().await.to_string();
    let said = [("once", "k1"), ("rig", rig.as_str())];
    let (first, second) = (log(800, 1), log(800, 2));
    let both = with_files(&said, &[("one.csv", first.as_str()), ("two.csv", second.as_str())]);
    let sent = send_form(&owner, &piece, both.clone()).await;
    assert_eq!((sent.status, sent.location()), (303, paths::intake(&piece).as_str()), "{}", sent.body);
    assert!(owner.get(sent.location()).await.body.contains("2\u{a0}logs came in."));
    assert_eq!(send_form(&owner, &piece, both).await.status, 303);
    assert_eq!(kept(&house).await, 2, "sent twice, kept once");
    let third = log(800, 3);
    let mixed = [("empty.csv", ""), ("three.csv", third.as_str())];
    let sent = send_form(&owner, &piece, with_files(&[("once", "k2"), ("rig", "")], &mixed)).await;
    assert_eq!(sent.status, 422);
    let says = sent.texts("main").join(" ");
    assert!(says.contains("1 log came in; these did not: empty.csv"), "{says}");
    assert_eq!(kept(&house).await, 3, "the good one stays");
    let (fourth, fifth) = (log(800, 4), log(800, 5));
    let alike = [("run.csv", fourth.as_str()), ("run.csv", fifth.as_str())];
    let sent = send_form(&owner, &piece, with_files(&[("once", "k4"), ("rig", "")], &alike)).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    assert_eq!(kept(&house).await, 5, "two folders may hold logs of one name");
    let long = "x".repeat(1025);
    let sent = send_form(&owner, &piece, with_files(&[("rig", long.as_str())], &[("one.csv", "")])).await;
    assert_eq!(sent.status, 413);
    let none = send_form(&owner, &piece, with_files(&[("once", "k3")], &[("", "")])).await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("Choose at least one log."));
}

#[tokio::test]
async fn a_capture_is_given_back_byte_for_byte_under_its_name() {
    let house = House::start().await;
    let owner = house.owner().await;
    let bytes = log(3000, 5);
    let made = send(&owner, "Fluß run.csv", bytes.clone()).await;
    let capture = paths::capture(made.json()["capture"].as_i64().unwrap());
    let guest = house.guest(&owner).await;
    let back = guest.get(&capture).await;
    assert_eq!((back.status, back.body == bytes), (200, true));
    // RFC 6266, section 4.3, with the encoding of RFC 8187.
    assert_eq!(back.header("content-disposition"), "attachment; filename*=UTF-8''Flu%C3%9F%20run.csv");
    assert_eq!(owner.get(&paths::capture(99)).await.status, 404);
    assert_eq!(house.anonymous().get(&capture).await.status, 303);
}

#[tokio::test]
async fn a_pass_with_another_settings_file_than_its_siblings_is_flagged() {
    let house = House::start().await;
    let owner = house.owner().await;
    let [cell, ..] = bench(&house, &owner, false).await;
    let (usual, other) = ("a1".repeat(32), "b2".repeat(32));
    for (n, settings) in (2..).zip([&usual, &usual, &other]) {
        let key = format!("p0{n}");
        let to = paths::with_query(&paths::upload(&format!("{key}.csv")), &[("settings", settings)]);
        add_sent(&house, &owner, cell, (&key, &to), figures::log(10.0, n).into_bytes()).await;
    }
    let pass = owner.get(&paths::pass("p04")).await;
    assert!(
        pass.body.contains("ran with another settings file (b2b2b2b2) than passes 3, 4 (a1a1a1a1)"),
        "{}",
        pass.body
    );
    assert!(pass.body.contains(&format!("of its settings file <code>{other}</code>")), "{}", pass.body);
    let sibling = owner.get(&paths::pass("p03")).await;
    assert!(!sibling.body.contains("another settings file ("), "{}", sibling.body);
    let to = paths::with_query(&paths::upload("p09.csv"), &[("settings", "b2")]);
    let short = owner.put(&to, figures::log(10.0, 9)).await;
    assert!(short.status == 422 && short.body.contains("no SHA-256"), "{}", short.body);
}
