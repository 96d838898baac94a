//! The pack over HTTP: the same store gives the same bytes, and only what is agreed says so.

use std::io::{Cursor, Read as _};

use reqwest::Method;
use weighhouse_web::paths;
use zip::ZipArchive;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Client, House};
use crate::package;

async fn zip(client: &Client) -> Vec<u8> {
    zip_with(client, "").await
}

/// The pack as it is taken with these ticks.
pub async fn zip_with(client: &Client, ticks: &str) -> Vec<u8> {
    zip_of(client, PIECE, ticks).await
}

/// The zip of another piece.
pub async fn zip_of(client: &Client, piece: &str, ticks: &str) -> Vec<u8> {
    let path = format!("{}{ticks}", paths::pack_zip(piece));
    let answer = client.request(Method::GET, &path).send().await.unwrap();
    assert_eq!(answer.status(), 200);
    assert_eq!(answer.headers()["content-type"], "application/zip");
    answer.bytes().await.unwrap().to_vec()
}

/// Paths of the files of a zip.
pub fn names(zip: &[u8]) -> Vec<String> {
    let archive = ZipArchive::new(Cursor::new(zip)).unwrap();
    archive.file_names().map(|name| name.unwrap().into_owned()).collect()
}

/// The file whose path ends so.
pub fn bytes(zip: &[u8], ending: &str) -> Vec<u8> {
    let name =
        names(zip).into_iter().find(|name| name.ends_with(ending)).unwrap_or_else(|| panic!("no {ending}"));
    let mut bytes = Vec::new();
    ZipArchive::new(Cursor::new(zip)).unwrap().by_name(&name).unwrap().read_to_end(&mut bytes).unwrap();
    bytes
}

/// The same as text.
pub fn file(zip: &[u8], ending: &str) -> String {
    String::from_utf8(bytes(zip, ending)).unwrap()
}

#[tokio::test]
async fn the_pack_holds_what_was_agreed_and_the_same_store_gives_the_same_bytes() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let guest = house.guest(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    make(&owner, &cell_what(cells[2]), "Dunlin in the arena").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);

    let page = guest.get(&paths::pack(PIECE)).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.texts("section[aria-labelledby=take] p")[0].starts_with("1 of 2"), "{}", page.body);

    let first = zip(&guest).await;
    assert_eq!(first, zip(&owner).await, "the same store, the same bytes");
    let figures: serde_json::Value = serde_json::from_str(&file(&first, "figures.json")).unwrap();
    let agreed: Vec<&serde_json::Value> =
        figures["figures"].as_array().unwrap().iter().map(|f| &f["agreed"]).collect();
    assert_eq!(agreed, [&serde_json::json!(true), &serde_json::json!(false)]);
    assert!(file(&first, "methods.html").contains("<h1>How we measured"));
    assert!(file(&first, "tables/passes.csv").lines().count() > 6, "a row for each of six passes");
    assert!(file(&first, "tables/ratios.csv").contains("overall (these scenes)"));
    assert!(file(&first, "average-fps.svg").contains("draft"), "its ratios are not agreed");
}

#[tokio::test]
async fn a_piece_without_passes_says_what_to_do_first() {
    let house = House::start().await;
    let owner = house.owner().await;
    let form = [("name", "Empty"), ("kind", "card"), ("zone", "UTC")];
    let piece = owner.post(&paths::pieces(), &form).await;
    let key = piece.location().split('/').nth(2).unwrap_or_default().to_owned();
    let page = owner.get(&paths::pack(&key)).await;
    assert!(page.body.contains("Nothing to pack yet"), "{}", page.body);
    assert_eq!(owner.get(&paths::pack("nothing")).await.status, 404);
}

#[tokio::test]
async fn each_table_is_what_the_data_package_says_and_each_file_is_on_the_page() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let packed = zip(&owner).await;
    let package: serde_json::Value = serde_json::from_str(&file(&packed, "/datapackage.json")).unwrap();
    package::check(&package, |path| bytes(&packed, &format!("/{path}")));
    let described: Vec<&str> =
        package["resources"].as_array().unwrap().iter().map(|r| r["path"].as_str().unwrap()).collect();
    let page = owner.get(&paths::pack(PIECE)).await;
    for name in names(&packed) {
        assert!(!bytes(&packed, &name).is_empty(), "{name} is empty");
    }
    for name in names(&packed).iter().filter_map(|name| name.split_once('/').map(|(_, path)| path)) {
        assert!(!name.ends_with(".csv") || described.contains(&name), "{name} is not described");
        if !name.starts_with("charts/") && name != "methods.css" {
            assert!(page.body.contains(name), "{name} is not on the page");
        }
    }
    let measures = file(&packed, "tables/pass_measures.csv");
    assert_eq!(measures.lines().count(), file(&packed, "tables/passes.csv").lines().count());
}
