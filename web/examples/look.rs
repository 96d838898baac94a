//! Writes the samples of all pages and charts into a folder, to be looked at in a browser:
//! `cargo run -p weighhouse-web --example look -- FOLDER`. With `crowded` behind it: charts of 3, 12 and 24 scenes with names
//! of 40 letters, square and for video, 1920 and 3840 pixels wide.

use std::fs;
use std::path::{Path, PathBuf};

use weighhouse_web::charts::{Shape, Theme, png, samples};
use weighhouse_web::{assets, pages};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("say a folder to write into")?);
    if std::env::args().nth(2).as_deref() == Some("crowded") {
        return crowded(&folder);
    }
    fs::create_dir_all(folder.join("static"))?;
    for asset in assets::all() {
        fs::write(folder.join("static").join(&asset.hashed), &asset.bytes)?;
    }
    for (n, (name, html)) in pages::rendered_samples()?.into_iter().enumerate() {
        let near = html.replace("=\"/static/", "=\"static/");
        fs::write(folder.join(format!("{n:02}-{name}.html")), near)?;
    }
    for (theme_name, theme) in Theme::ALL {
        for (name, picture) in samples::pictures() {
            let svg = picture.shaped(&theme, Shape::Page);
            fs::write(folder.join(format!("{name}-{theme_name}.png")), png::from_svg(&svg, 1.5)?)?;
            let video = png::wide(&picture.shaped(&theme, Shape::Wide), pages::WIDTHS[0])?;
            fs::write(folder.join(format!("{name}-{theme_name}-16x9.png")), video)?;
        }
    }
    Ok(())
}

fn crowded(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    fs::create_dir_all(folder)?;
    for scenes in [3, 12, 24] {
        for (name, picture) in samples::crowded(scenes) {
            for (theme_name, theme) in Theme::ALL {
                for (shape_name, shape) in Shape::ALL {
                    let svg = picture.shaped(&theme, shape);
                    for width in pages::WIDTHS {
                        let file = format!("{name}-{scenes}-{shape_name}-{theme_name}-{width}.png");
                        fs::write(folder.join(file), png::wide(&svg, width)?)?;
                    }
                }
            }
        }
    }
    Ok(())
}
