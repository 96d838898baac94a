//! Names in logs that look like paths or serial numbers: listed on the Pack page, masked in what leaves unless asked for,
//! and the figures computed anew all the same.

use std::io::{Cursor, Write as _};

use weighhouse_web::paths;
use zip::write::{SimpleFileOptions, ZipWriter};

use crate::figures::{PIECE, add_sent, bench, cell_what, log, make};
use crate::harness::{Client, House};
use crate::pack::{bytes, file, names, zip_with};
use crate::reproduce::{changed, reproduce};

const FOLDER: &str = r"C:\Users\Quillmoor\captures";
const SERIAL: &str = "TW0099887766";

/// A log with a folder and a serial number before its table, and the program's path in each row.
fn telling(salt: u32) -> Vec<u8> {
    let mut text = format!("# {FOLDER}\\hairpin.csv, operator Quillmoor\r\n# Card {SERIAL}\r\n");
    for (n, line) in log(10.0, salt).lines().enumerate() {
        let program = if n == 0 { "program" } else { r"D:\Games\Vellum Rally\vellum.exe" };
        text.push_str(&format!("{line},{program}\r\n"));
    }
    text.into_bytes()
}

async fn house_with(owner: &Client, house: &House, file: &str, log: Vec<u8>) {
    let cells = bench(house, owner, false).await;
    add_sent(house, owner, cells[0], ("p02", &paths::upload(file)), log).await;
    make(owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
}

/// Paths of a pack's files that hold this, in any case of letters.
fn holds(zip: &[u8], what: &str) -> Vec<String> {
    let what = what.to_ascii_lowercase();
    let there =
        |name: &String| String::from_utf8_lossy(&bytes(zip, name)).to_ascii_lowercase().contains(&what);
    names(zip).into_iter().filter(there).collect()
}

#[tokio::test]
async fn names_in_logs_are_listed_and_masked_and_the_figures_are_found_again() {
    let house = House::start().await;
    let owner = house.owner().await;
    house_with(&owner, &house, &format!("hairpin-{SERIAL}.csv"), telling(2)).await;
    let page = owner.get(&paths::pack(PIECE)).await;
    let rows = page.texts("section[aria-labelledby=names] tbody tr");
    for row in [
        format!("{SERIAL} serial number or machine name 1 hairpin-{SERIAL}.csv"),
        format!("{FOLDER} folder name 2 hairpin-{SERIAL}.csv"),
        format!("Quillmoor user's name name 3 hairpin-{SERIAL}.csv"),
        format!(r"D:\Games\Vellum Rally folder name 4 hairpin-{SERIAL}.csv"),
    ] {
        assert!(rows.contains(&row), "{row}: {rows:?}");
    }
    assert_eq!(rows.len(), 4, "{rows:?}");

    let plain = zip_with(&owner, "").await;
    let with = zip_with(&owner, "?captures=1").await;
    for (zip, what) in [&plain, &with].into_iter().flat_map(|zip| [(zip, "quillmoor"), (zip, SERIAL)]) {
        assert_eq!(holds(zip, what), Vec::<String>::new(), "{what}");
    }
    assert!(file(&plain, "/tables/passes.csv").contains("hairpin-name 1.csv"));
    let masked = file(&with, ".masked");
    assert!(
        masked.starts_with("# name 2\\hairpin.csv, operator name 3\r\n# Card name 1\r\n"),
        "{masked:.200}"
    );
    assert!(masked.contains(r",name 4\vellum.exe"), "{masked:.400}");
    assert_eq!(with, zip_with(&owner, "?captures=1").await, "the same store, the same bytes");
    let (code, says, progress) = reproduce(&with, &[]);
    assert_eq!(code, Some(0), "{says}{progress}");
    assert!(says.contains("7 captures read, 1 of them with names masked"), "{says}");
    let other = changed(&with, ".masked", |bytes| *bytes.last_mut().unwrap() = b' ');
    let (code, says, _) = reproduce(&other, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains(".masked (hairpin-name 1.csv): its bytes are others"), "{says}");
}

#[tokio::test]
async fn names_leave_as_they_are_when_asked_for() {
    let house = House::start().await;
    let owner = house.owner().await;
    house_with(&owner, &house, &format!("hairpin-{SERIAL}.csv"), telling(2)).await;
    let asked = zip_with(&owner, "?captures=1&names=1").await;
    assert!(file(&asked, "/tables/passes.csv").contains(SERIAL));
    assert!(holds(&asked, FOLDER).iter().any(|path| path.contains("/captures/")));
    assert!(names(&asked).iter().all(|path| !path.ends_with(".masked")));
    let (code, says, progress) = reproduce(&asked, &[]);
    assert_eq!(code, Some(0), "{says}{progress}");
}

#[tokio::test]
async fn an_archive_with_names_in_it_leaves_only_as_it_is() {
    let house = House::start().await;
    let owner = house.owner().await;
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    archive.start_file("hairpin.csv", SimpleFileOptions::default()).unwrap();
    archive.write_all(&telling(2)).unwrap();
    let archive = archive.finish().unwrap().into_inner();
    house_with(&owner, &house, "week.zip", archive).await;
    let page = owner.get(&paths::pack(PIECE)).await;
    assert!(page.body.contains("Cannot be masked: week.zip"), "{}", page.body);
    let refused = owner.get(&format!("{}?captures=1", paths::pack_zip(PIECE))).await;
    assert_eq!(refused.status, 409, "{}", refused.body);
    assert!(refused.body.contains("Names stand in week.zip"), "{}", refused.body);
    assert_eq!(holds(&zip_with(&owner, "").await, "quillmoor"), Vec::<String>::new());
    let asked = zip_with(&owner, "?captures=1&names=1").await;
    assert_eq!(reproduce(&asked, &[]).0, Some(0));
}

#[tokio::test]
async fn a_log_that_would_read_otherwise_is_not_masked_behind_ones_back() {
    let house = House::start().await;
    let owner = house.owner().await;
    // Cells are parted by spaces: a mask with a space in it would shift them.
    let text: Vec<String> = log(10.0, 2)
        .lines()
        .enumerate()
        .map(|(n, line)| {
            let line = if n == 0 { "elapsed_s frame_time_ms" } else { &line.replace(',', " ") };
            format!("{} {line}\n", if n == 0 { "program" } else { "/home/quillmoor/vellum.bin" })
        })
        .collect();
    house_with(&owner, &house, "hairpin.txt", text.concat().into_bytes()).await;
    let answer = owner.get(&format!("{}?captures=1", paths::pack_zip(PIECE))).await;
    assert_eq!(answer.status, 409, "{}", answer.body);
    assert!(answer.body.contains("Names stand in hairpin.txt"), "{}", answer.body);
}
