//! What stands before a browser test begins: a team, and what it enters once, sent as the pages send it.

use weighhouse_web::paths;

use crate::harness::{Client, House};

/// A house with an owner, a member, the part Tarnwick Curlew with a second tuning, two scenes and a
/// setting.
pub struct Stage {
    /// The server, which lives as long as this.
    _house: House,
    /// Maren Oake, the owner.
    pub owner: Client,
}

impl Stage {
    /// Sets it.
    pub async fn set() -> Self {
        let house = House::start().await;
        let owner = house.owner().await;
        house.member(&owner).await;
        let part = [
            ("maker", "Tarnwick"),
            ("model", "Curlew"),
            ("rated_power_w", "500"),
            ("unit", "A"),
            ("driver", "501.2"),
            ("driver_dated", "2026-02-10"),
        ];
        let tuning = [("name", "limit 300 W"), ("power_limit_w", "300")];
        let setting = [("name", "2560x1440"), ("width_px", "2560"), ("height_px", "1440")];
        send(&owner, &paths::parts(), &part).await;
        send(&owner, &paths::tunings(1), &tuning).await;
        send(&owner, &paths::settings(), &setting).await;
        for passage in ["glasshouse", "murmuration"] {
            let scene = [
                ("game", "Vellum Rally"),
                ("passage", passage),
                ("kind", "replay"),
                ("build", "1.0.3"),
                ("build_dated", "2026-02-10"),
            ];
            send(&owner, &paths::scenes(), &scene).await;
        }
        Self { _house: house, owner }
    }

    /// Where its pages are.
    pub fn base(&self) -> &str {
        &self.owner.base
    }
}

/// Sends a form and expects that it was taken.
pub async fn send(who: &Client, to: &str, fields: &[(&str, &str)]) {
    let answer = who.post(to, fields).await;
    assert_eq!(answer.status, 303, "{to}: {}", answer.body);
}
