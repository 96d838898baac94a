//! On a phone: what a meter shows is entered with a photo of it, a repeat is set aside, a figure is made of it, and another person
//! agrees to it.

use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::Driver;
use crate::stage::Bench;

/// The start of a JPEG (ISO/IEC 10918-1: SOI and APP0).
const PHOTO: &[u8] = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x02\0\0\x01\0\x01\0\0";

#[tokio::test(flavor = "multi_thread")]
async fn a_reading_goes_from_a_phone_beside_the_meter_to_an_agreed_figure() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let (one, other) = (driver.browser(&bench.base()).await, driver.browser(&bench.base()).await);
    one.width(390).await;
    bench.sign_in(&one, 2).await;
    bench.sign_in(&other, 0).await;

    one.open(&paths::readings(&bench.piece)).await;
    one.press("Enter a reading").await;
    one.choose("What was read", "idle power").await;
    one.fill("What it showed", "58,4 58.6 71.0").await;
    one.choose("Part", "Tarnwick Dunlin").await;
    one.choose("Rig", "birch").await;
    one.press("Keep the reading").await;
    one.see("The reading is kept").await;
    one.see("whole system with Tarnwick Dunlin").await;

    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("meter.jpg");
    std::fs::write(&photo, PHOTO).unwrap();
    one.give_files("Photo or log", &[photo.to_str().unwrap().to_owned()]).await;
    one.press("Attach").await;
    one.see("meter.jpg is attached").await;

    let why =
        "document.querySelector('input[name=repeat][value=\"3\"]').form.elements.reason.value = arguments[0]";
    one.script(&why.replace("arguments[0]", "'the updater ran'")).await;
    one.press("Set aside repeat 3").await;
    one.see("Repeat 3 is set aside").await;
    one.see("the updater ran").await;

    one.press("Make a figure of it").await;
    one.press("Make the figure").await;
    one.see("The figure is made").await;
    one.press("Propose").await;
    one.see("proposed").await;
    let figure = one.path().await;
    other.open(&figure).await;
    other.see("58.50").await;
    other.press("Agree").await;
    other.see("agreed").await;
    assert_eq!(one.complaints().await, Vec::<String>::new());
    one.close().await;
    other.close().await;
}
