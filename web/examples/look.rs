//! Writes the samples of all pages and charts into a folder, to be looked at in a browser:
//! `cargo run -p weighhouse-web --example look -- FOLDER`.

use std::fs;
use std::path::PathBuf;

use weighhouse_web::charts::{Shape, Theme, png, samples};
use weighhouse_web::{assets, pages};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("say a folder to write into")?);
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
