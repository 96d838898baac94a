//! What stands before a browser test begins: a team, and what it enters once, sent as the pages send it.

use jiff::Timestamp;
use weighhouse::chance::Chance;
use weighhouse::store::pieces;
use weighhouse::work::bench_week;
use weighhouse::work::passwords::Passwords;
use weighhouse_demo::{Demo, FaultKind};
use weighhouse_web::paths;

use crate::driver::Browser;
use crate::harness::{CHEAP, Client, House, NOW_US};

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

/// A house of the demo's team, with the passes of the cells around some planted faults.
pub struct Bench {
    house: House,
    /// What was loaded.
    pub week: Demo,
    /// Key of its piece.
    pub piece: String,
}

impl Bench {
    /// Sets it: each cell that shares scene and setting with a pass that has one of these faults.
    pub async fn set(faults: &[FaultKind]) -> Self {
        let week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
        let faulty = |kind: &FaultKind| {
            week.truth.passes.iter().position(|p| p.fault.is_some_and(|f| f.kind == *kind))
        };
        let row = |cell: usize| (week.cells[cell].scene, week.cells[cell].setting);
        let rows: Vec<_> = faults.iter().map(|kind| row(week.passes[faulty(kind).unwrap()].cell)).collect();
        let kept: Vec<bool> = week.passes.iter().map(|pass| rows.contains(&row(pass.cell))).collect();
        Self::of(week, &kept, false).await
    }

    /// Sets it: the native cells of these scenes, and the card of an earlier piece, carried over and not checked.
    pub async fn carried_over(scenes: &[usize]) -> Self {
        let mut week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
        let wanted = |cell: usize| {
            let cell = &week.cells[cell];
            scenes.contains(&cell.scene) && cell.setting == 0 && week.tunings[cell.tuning].name == "stock"
        };
        let kept: Vec<bool> = week.passes.iter().map(|pass| wanted(pass.cell)).collect();
        let earlier = week.earlier.as_mut().unwrap();
        earlier.passes.retain(|pass| scenes.contains(&pass.cell));
        Self::of(week, &kept, true).await
    }

    /// Sets it: the passes of stock parts at a setting.
    pub async fn at_setting(name: &str) -> Self {
        let week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
        let wanted = |cell: usize| {
            let cell = &week.cells[cell];
            week.settings[cell.setting].name == name && week.tunings[cell.tuning].name == "stock"
        };
        let kept: Vec<bool> = week.passes.iter().map(|pass| wanted(pass.cell)).collect();
        Self::of(week, &kept, false).await
    }

    /// Loads those passes of a week that are kept, before anything was decided.
    async fn of(mut week: Demo, kept: &[bool], with_earlier: bool) -> Self {
        let house = House::start().await;
        let mut kept = kept.iter();
        week.passes.retain(|_| *kept.next().unwrap());
        week.decisions.clear();
        let mut loaded = week.clone();
        match &mut loaded.earlier {
            Some(earlier) if with_earlier => earlier.fresh.clear(),
            earlier => *earlier = None,
        }
        let passwords = Passwords::new(CHEAP);
        bench_week::load(&house.store, &Chance::system(), &passwords, loaded, |_| {}).await.unwrap();
        let pieces = pieces::all(&mut house.store.read().await.unwrap()).await.unwrap();
        Self { piece: pieces[0].key.clone(), house, week }
    }

    /// Lets time pass.
    pub fn wait_s(&self, seconds: i64) {
        self.house.wait_s(seconds);
    }

    /// Where its pages are.
    pub fn base(&self) -> String {
        self.house.anonymous().base
    }

    /// Signs a browser in as the nth of the team; the first is its owner.
    pub async fn sign_in(&self, browser: &Browser, nth: usize) {
        let person = &self.week.team.people[nth];
        browser.sign_in(person.name, person.password).await;
    }
}

/// Sends a form and expects that it was taken.
pub async fn send(who: &Client, to: &str, fields: &[(&str, &str)]) {
    let answer = who.post(to, fields).await;
    assert_eq!(answer.status, 303, "{to}: {}", answer.body);
}
