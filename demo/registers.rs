//! What the invented team has entered: people, rigs, parts, drivers, prices, scenes, settings and tunings.

use jiff::{SignedDuration, Timestamp};

use crate::types::{Base, Build, Driver, Part, Person, Price, Rig, Scene, Setting, Team, Tuning, Unit};

/// Indices into the rigs.
pub const ALDER: usize = 0;
pub const BIRCH: usize = 1;
/// Indices into the parts (and their stock tunings).
pub const DUNLIN: usize = 0;
pub const CURLEW: usize = 1;
pub const THOLE: usize = 2;
/// Indices into the scenes.
pub const VELLUM: usize = 0;
pub const LAMPS: usize = 1;
pub const SALTMARSH: usize = 2;
pub const ORCHARD: usize = 3;
pub const REGATTA: usize = 4;
pub const QUARRY: usize = 5;
pub const DRIFTGLASS: usize = 6;
pub const COMET: usize = 7;
/// Indices into the settings.
pub const NATIVE: usize = 0;
pub const UPSCALED: usize = 1;
pub const TRACED: usize = 2;
/// A setting that no cell has.
pub const QHD: usize = 6;
/// Indices into the drivers.
pub const DUNLIN_DRIVER: usize = 0;
pub const CURLEW_OLD_DRIVER: usize = 1;
pub const CURLEW_NEW_DRIVER: usize = 2;
pub const THOLE_DRIVER: usize = 3;

/// Nanoseconds in a second.
pub const NS_PER_S: i64 = 1_000_000_000;

/// `hours` before `now`, on a whole minute.
pub fn hours_before(now: Timestamp, hours: i64) -> Timestamp {
    let minute = now - SignedDuration::from_secs(now.as_second().rem_euclid(60));
    minute
        - SignedDuration::from_nanos(i64::from(minute.subsec_nanosecond()))
        - SignedDuration::from_hours(hours)
}

fn days_before(now: Timestamp, days: i64) -> Timestamp {
    hours_before(now, 24 * days)
}

pub fn team() -> Team {
    let person = |name, role, password| Person { name, role, password };
    Team {
        name: "Plumbline Desk",
        people: vec![
            person("Ysolde Varrenkamp", "owner", "lead weight on a line"),
            person("Tobin Achterloo", "member", "four screws and a riser"),
            person("Renske Quillmoor", "member", "cold air from the left"),
            person("Odo Marchvale", "guest", "one more comma, please"),
        ],
    }
}

pub fn rigs(now: Timestamp) -> Vec<Rig> {
    let base = |cooling, enclosure| Base {
        from: days_before(now, 60),
        board: "Halvenor Slate 9",
        processor: "Halvenor H-912, 12 cores",
        memory: "2 x 32 GiB at 6 000 MT/s",
        os_build: "Meridian 24, build 8812",
        firmware: "1.40",
        cooling,
        enclosure,
        time_zone: "Europe/Berlin",
    };
    vec![
        Rig { name: "alder", note: "The main bench.", bases: vec![base("360 mm loop", "open bench")] },
        Rig {
            name: "birch",
            note: "Same board and processor, in a closed case.",
            bases: vec![base("240 mm loop, two case fans", "case")],
        },
    ]
}

pub fn parts() -> Vec<Part> {
    let part = |maker, model, slug, rated_power_w, memory_mib, note| Part {
        maker,
        model,
        slug,
        kind: "card",
        rated_power_w,
        memory_mib,
        note,
    };
    vec![
        part("Tarnwick", "Dunlin", "dunlin", 400, 16_384, "The card to beat."),
        part("Tarnwick", "Curlew", "curlew", 500, 24_576, "The new card."),
        part("Ullmere", "Thole", "thole", 310, 12_288, "The other maker's, with less memory."),
    ]
}

pub fn units() -> Vec<Unit> {
    let (origin, lender, terms) = ("bought", "", "");
    let unit = |part, label, serial, firmware| Unit { part, label, serial, origin, lender, terms, firmware };
    let curlew = unit(CURLEW, "Curlew #1", "TC-50-00023", "94.11");
    vec![
        unit(DUNLIN, "Dunlin #1", "TD-40-01177", "92.04"),
        Unit { origin: "lent", lender: "Tarnwick", terms: "goes back two weeks after the piece", ..curlew },
        unit(THOLE, "Thole #1", "UT-31-08841", "3.2"),
    ]
}

pub fn drivers(now: Timestamp) -> Vec<Driver> {
    let driver = |part, name, days| Driver { part, name, dated: days_before(now, days) };
    vec![
        driver(DUNLIN, "612.18", 33),
        driver(CURLEW, "612.18", 33),
        driver(CURLEW, "615.02", 4),
        driver(THOLE, "7.11.3", 20),
    ]
}

pub fn prices(now: Timestamp) -> Vec<Price> {
    let price = |part, amount, kind, source, days| Price {
        part,
        amount,
        currency: "EUR",
        kind,
        country: "DE",
        source,
        dated: days_before(now, days),
    };
    vec![
        price(DUNLIN, "1520.00", "street", "median of five shops", 40),
        price(DUNLIN, "1450.00", "street", "median of five shops", 1),
        price(CURLEW, "1790.00", "list", "the maker's announcement", 9),
        price(CURLEW, "1790.00", "street", "median of three shops", 1),
        price(THOLE, "890.00", "street", "median of five shops", 1),
    ]
}

pub fn scenes(now: Timestamp) -> Vec<Scene> {
    let scene = |game, passage, slug, kind, start_cue, build, days| Scene {
        game,
        passage,
        slug,
        kind,
        start_cue,
        window_start_ns: NS_PER_S,
        window_end_ns: 29 * NS_PER_S,
        note: "",
        builds: vec![Build { name: build, dated: days_before(now, days) }],
    };
    let mut scenes = vec![
        scene(
            "Vellum Rally",
            "hairpin",
            "vellum-rally",
            "replay",
            "the replay's lights turn green",
            "1.9.2",
            48,
        ),
        scene(
            "Nine Lamps Below",
            "cistern",
            "nine-lamps-below",
            "replay",
            "the first lamp is lit",
            "2.0.1",
            30,
        ),
        scene(
            "Saltmarsh Couriers",
            "causeway",
            "saltmarsh-couriers",
            "built-in",
            "the bell rings",
            "0.88",
            22,
        ),
        scene(
            "Orchard of Static",
            "market rain",
            "orchard-of-static",
            "built-in",
            "the screen clears",
            "1.14",
            61,
        ),
        scene(
            "Hollow Regatta",
            "night harbour",
            "hollow-regatta",
            "built-in",
            "the harbour fades in",
            "3.3.0",
            17,
        ),
        scene("Quarry Parliament", "siege", "quarry-parliament", "built-in", "the gate opens", "5.02", 90),
        scene("Driftglass", "arena", "driftglass", "by hand", "step over the arena's threshold", "1.0.7", 12),
        scene("Tin Comet", "corridor", "tin-comet", "replay", "the door shuts", "4.1", 120),
    ];
    scenes[LAMPS].note = "Ray traced throughout; it has no switch for it.";
    scenes[QUARRY].note = "Two thousand units on screen: the processor is busy.";
    scenes[DRIFTGLASS].note = "Two laps to the right; opponents differ each time.";
    scenes
}

pub fn settings() -> Vec<Setting> {
    let setting = |name, slug, ray_tracing, upscaling, generated| Setting {
        name,
        slug,
        width_px: 3840,
        height_px: 2160,
        preset: "high",
        ray_tracing,
        upscaling,
        generated,
    };
    let qhd =
        Setting { width_px: 2560, height_px: 1440, ..setting("1440p native", "1440p-native", "", "", 1) };
    vec![
        setting("2160p native", "2160p-native", "", "", 1),
        setting("2160p upscaled from 1080p", "2160p-upscaled", "", "from 1080p, 50% an axis", 1),
        setting("2160p native, ray traced", "2160p-traced", "on", "", 1),
        setting("2160p native, ray traced, 2 shown for 1", "2160p-traced-2for1", "on", "", 2),
        setting("2160p native, ray traced, 3 shown for 1", "2160p-traced-3for1", "on", "", 3),
        setting("2160p native, ray traced, 4 shown for 1", "2160p-traced-4for1", "on", "", 4),
        qhd,
    ]
}

/// The stock tunings in the order of the parts, then the Curlew's sweep.
pub fn tunings() -> Vec<Tuning> {
    let tuning = |part, name, slug, power_limit_w, core_offset_mhz, memory_offset_mhz| Tuning {
        part,
        name,
        slug,
        power_limit_w,
        core_offset_mhz,
        memory_offset_mhz,
    };
    vec![
        tuning(DUNLIN, "stock", "", None, 0, 0),
        tuning(CURLEW, "stock", "", None, 0, 0),
        tuning(THOLE, "stock", "", None, 0, 0),
        tuning(CURLEW, "350 W", "-350w", Some(350), 0, 0),
        tuning(CURLEW, "400 W", "-400w", Some(400), 0, 0),
        tuning(CURLEW, "420 W", "-420w", Some(420), 0, 0),
        tuning(CURLEW, "450 W", "-450w", Some(450), 0, 0),
        tuning(CURLEW, "400 W with clock offsets", "-400w-offsets", Some(400), 180, 750),
    ]
}
