//! Static files, compiled in and named by their content, so that browsers may keep them for ever.

use std::sync::LazyLock;

use sha2::{Digest, Sha256};

/// What to send in `Cache-Control` with a file asked for by its hashed name.
pub const FOREVER: &str = "public, max-age=31536000, immutable";

/// A static file.
#[derive(Debug)]
pub struct Asset {
    /// Its name in the sources.
    pub name: &'static str,
    /// Its name in addresses: `weighhouse.0a1b2c3d4e5f6071.css`.
    pub hashed: String,
    /// Media type, for `Content-Type`.
    pub mime: &'static str,
    /// Content.
    pub bytes: Vec<u8>,
}

/// Fonts first: the style sheet names them by hash.
const FILES: &[(&str, &str, &[u8])] = &[
    ("notosans.ttf", "font/ttf", notosans::REGULAR_TTF),
    ("notosans-bold.ttf", "font/ttf", notosans::BOLD_TTF),
    // The font's licence (SIL Open Font License 1.1) goes wherever the font goes.
    ("notosans-licence.txt", "text/plain; charset=utf-8", include_bytes!("static/notosans-licence.txt")),
    ("mark.svg", "image/svg+xml", include_bytes!("static/mark.svg")),
    ("weighhouse.css", "text/css; charset=utf-8", include_bytes!("static/weighhouse.css")),
    // Goes along with methods pages, in packs and editions.
    ("methods.css", "text/css; charset=utf-8", include_bytes!("static/methods.css")),
    ("keys.js", "text/javascript; charset=utf-8", include_bytes!("static/keys.js")),
    ("strip.js", "text/javascript; charset=utf-8", include_bytes!("static/strip.js")),
    ("upload.js", "text/javascript; charset=utf-8", include_bytes!("static/upload.js")),
    ("board.js", "text/javascript; charset=utf-8", include_bytes!("static/board.js")),
    ("live.js", "text/javascript; charset=utf-8", include_bytes!("static/live.js")),
    ("live-worker.js", "text/javascript; charset=utf-8", include_bytes!("static/live-worker.js")),
    ("preview.js", "text/javascript; charset=utf-8", include_bytes!("static/preview.js")),
    ("came-in.js", "text/javascript; charset=utf-8", include_bytes!("static/came-in.js")),
    ("mend.js", "text/javascript; charset=utf-8", include_bytes!("static/mend.js")),
    ("filter.js", "text/javascript; charset=utf-8", include_bytes!("static/filter.js")),
    ("draft.js", "text/javascript; charset=utf-8", include_bytes!("static/draft.js")),
];

static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(|| {
    let mut assets: Vec<Asset> = Vec::with_capacity(FILES.len());
    for (name, mime, bytes) in FILES {
        let bytes = if name.ends_with(".css") { name_files(bytes, &assets) } else { bytes.to_vec() };
        let hash: String = Sha256::digest(&bytes).iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
        assets.push(Asset { name, hashed: format!("{stem}.{hash}.{ending}"), mime, bytes });
    }
    assets
});

/// Puts hashed names where the style sheet says `url("NAME")`.
fn name_files(css: &[u8], assets: &[Asset]) -> Vec<u8> {
    let mut text = String::from_utf8_lossy(css).into_owned();
    for asset in assets {
        text = text.replace(&format!("url(\"{}\")", asset.name), &format!("url(\"{}\")", asset.hashed));
    }
    text.into_bytes()
}

/// All of them.
pub fn all() -> &'static [Asset] {
    &ASSETS
}

/// The file with this hashed name.
pub fn by_hashed_name(hashed: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|asset| asset.hashed == hashed)
}

/// Content of a file of the sources, for packs that carry the font's licence.
pub fn bytes(name: &str) -> Option<&'static [u8]> {
    all().iter().find(|asset| asset.name == name).map(|asset| asset.bytes.as_slice())
}

/// Hashed name of a file of the sources; an unknown one stays as it is, and a test keeps templates from naming one.
pub fn hashed_name(name: &str) -> String {
    ASSETS
        .iter()
        .find(|asset| asset.name == name)
        .map_or_else(|| name.to_owned(), |asset| asset.hashed.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4: the SHA-256 of the file is what its name carries.
    #[test]
    fn a_hashed_name_leads_to_its_bytes() {
        for asset in all() {
            let found = by_hashed_name(&hashed_name(asset.name)).unwrap();
            assert_eq!(found.bytes, asset.bytes);
            let hash: String = Sha256::digest(&found.bytes).iter().map(|b| format!("{b:02x}")).collect();
            assert!(hash.starts_with(found.hashed.rsplit('.').nth(1).unwrap()), "{}", found.hashed);
        }
        assert!(by_hashed_name("weighhouse.css").is_none());
    }

    #[test]
    fn the_style_sheet_names_its_files_by_hash_and_none_from_elsewhere() {
        let css =
            String::from_utf8(by_hashed_name(&hashed_name("weighhouse.css")).unwrap().bytes.clone()).unwrap();
        for part in css.split("url(\"").skip(1) {
            let name = part.split('"').next().unwrap();
            assert!(by_hashed_name(name).is_some(), "{name}");
        }
        assert!(!css.contains("//") && !css.contains("@import"), "style sheet fetches from elsewhere");
    }
}
