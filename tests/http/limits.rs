//! Requests that are too large, too slow or never whole.

use std::time::Duration;

use reqwest::{Body, Method};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use weighhouse_web::paths;

use crate::harness::{House, answer};

const SMALL: usize = 64 * 1024;

#[tokio::test]
async fn too_many_bytes_are_413_however_they_come() {
    let house = House::start().await;
    let client = house.anonymous();
    let told = |bytes: usize| {
        let asked = client.request(Method::POST, &paths::sign_in());
        asked.header("content-type", "application/x-www-form-urlencoded").body(vec![b'a'; bytes])
    };
    let large = answer(told(SMALL + 1)).await;
    assert_eq!((large.status, large.texts("h1")), (413, vec!["Too large".to_owned()]));
    assert_eq!(answer(told(SMALL)).await.status, 401);
    let pieces = (0..=SMALL / 1024).map(|_| Ok::<_, std::io::Error>(vec![b'a'; 1024]));
    let streamed = client
        .request(Method::POST, &paths::api(&paths::sign_in()))
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::wrap_stream(futures_util::stream::iter(pieces)));
    let large = answer(streamed).await;
    assert_eq!((large.status, large.json()["what"].as_str()), (413, Some("Too large")));
}

#[tokio::test]
async fn a_header_that_is_never_whole_is_hung_up_on() {
    let house = House::start_with(|config| config.limits.header = Duration::from_millis(100)).await;
    let mut stream = TcpStream::connect(house.server.addr()).await.unwrap();
    stream.write_all(b"GET / HTTP/1.1\r\nHost: 127.0.0.1").await.unwrap();
    let mut rest = Vec::new();
    stream.read_to_end(&mut rest).await.unwrap();
    let text = String::from_utf8(rest).unwrap();
    assert!(text.is_empty() || text.starts_with("HTTP/1.1 408"), "{text}");
}

#[tokio::test]
async fn a_body_that_stops_coming_is_given_up() {
    let house = House::start_with(|config| config.limits.body_idle = Duration::from_millis(100)).await;
    let mut stream = TcpStream::connect(house.server.addr()).await.unwrap();
    let head = "POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\
                Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 10\r\n\r\nname";
    stream.write_all(head.as_bytes()).await.unwrap();
    let mut rest = Vec::new();
    stream.read_to_end(&mut rest).await.unwrap();
    let text = String::from_utf8(rest).unwrap();
    assert!(text.starts_with("HTTP/1.1 400"), "{text}");
}

#[tokio::test]
async fn a_server_that_is_told_to_stop_waits_for_nobody_for_ever() {
    let house = House::start_with(|config| config.limits.drain = Duration::from_millis(100)).await;
    let mut half = TcpStream::connect(house.server.addr()).await.unwrap();
    half.write_all(b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 10\r\n\r\n").await.unwrap();
    let client = house.anonymous();
    assert_eq!(client.get("/healthz").await.status, 200);
    house.server.stop().await;
    assert!(client.bare(Method::GET, "/healthz").send().await.is_err());
}
