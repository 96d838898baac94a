//! Made-up charts, one of each kind, for the pattern page and for looking at.

mod amounts;
mod crowded;

pub(crate) use amounts::amounts;
pub use crowded::crowded;

use super::{
    Bar, BarGroup, Bars, Block, Caption, Column, Distribution, Entry, Histogram, Lane, Overall, Picture,
    Place, Plane, Ratio, RatioRow, Ratios, Series, Shape, Span, SpanKind, Spot, Stands, Strip, Table,
    TableColumn, Theme,
};
use crate::format::Unit;

const SCENES: [&str; 8] = [
    "Vellum Rally, hairpin",
    "Nine Lamps Below, cistern",
    "Saltmarsh Couriers, causeway",
    "Orchard of Static, market rain",
    "Hollow Regatta, night harbour",
    "Quarry Parliament, siege",
    "Driftglass, arena",
    "Tin Comet, corridor",
];

/// Each kind of chart as inline SVG.
pub fn inline() -> Vec<String> {
    all(&Theme::LIGHT).into_iter().map(|(_, svg)| svg).collect()
}

/// Each kind of chart with its name.
pub fn pictures() -> Vec<(&'static str, Box<dyn Picture>)> {
    vec![
        ("strip", Box::new(strip())),
        ("ratios", Box::new(ratios())),
        ("bars", Box::new(bars())),
        ("plane", Box::new(plane())),
        ("worth", Box::new(worth())),
        ("amounts", Box::new(amounts(false))),
        ("levels", Box::new(amounts(true))),
        ("distribution", Box::new(distribution(false))),
        ("cumulative", Box::new(distribution(true))),
    ]
}

/// Each kind of chart with its name, as it stands in a page.
pub fn all(theme: &Theme) -> Vec<(&'static str, String)> {
    pictures().into_iter().map(|(name, picture)| (name, picture.shaped(theme, Shape::Page))).collect()
}

/// A part at its tunings.
pub(crate) fn plane() -> Plane {
    let spot = |name: &str, watts: f64, fps: f64| Spot {
        name: name.to_owned(),
        x: watts,
        y: fps,
        x_interval: Some((watts - 2.5, watts + 2.5)),
        y_interval: Some((fps - 0.6, fps + 0.6)),
        says: format!("{name}: {fps} fps at {watts} W"),
    };
    let limits =
        [("350 W", 347.0, 86.2), ("400 W", 396.0, 93.6), ("420 W", 416.0, 95.8), ("stock", 492.0, 98.0)];
    let line: Vec<(f64, f64)> = limits.iter().map(|(_, watts, fps)| (*watts, *fps)).collect();
    Plane {
        caption: caption("plane", "Tarnwick Curlew: frame rate over watts", "Watts as measured, not as set."),
        across: "Mean measured power (W)".to_owned(),
        up: "Average frame rate (fps)".to_owned(),
        series: vec![
            Series {
                name: "stock clocks".to_owned(),
                points: limits.iter().map(|(name, watts, fps)| spot(name, *watts, *fps)).collect(),
                band: line.iter().map(|(watts, fps)| (*watts, fps - 0.5, fps + 0.5)).collect(),
                line,
            },
            Series {
                name: "core +180 MHz, memory +750 MHz".to_owned(),
                points: vec![spot("400 W with clock offsets", 397.0, 99.2)],
                ..Series::default()
            },
        ],
        places: vec![Place { at: 416.0, interval: Some((396.0, 440.0)), says: "knee".to_owned() }],
    }
}

fn caption(id: &str, title: &str, subtitle: &str) -> Caption {
    Caption {
        id: id.to_owned(),
        title: title.to_owned(),
        subtitle: subtitle.to_owned(),
        desc: format!("{title}. {subtitle}"),
        foot: vec![
            "Average: frames divided by time. 1% low: 99th percentile of frame times (type 7), as a rate.".to_owned(),
            "3 to 5 passes a cell over 60 s windows; rig alder (open bench); Tarnwick driver 31.2, Ullmere driver 8.4."
                .to_owned(),
        ],
        draft: false,
    }
}

fn strip() -> Strip {
    let columns = |pass: u32, hitch: std::ops::Range<u32>| -> Vec<Option<Column>> {
        let value = |i: u32| 7.6 + f64::from((i * 37 + pass * 11) % 17) * 0.11 + f64::from(i / 160 % 3) * 0.9;
        (0..Strip::columns(960))
            .map(|i| {
                let most = if hitch.contains(&i) && i.is_multiple_of(5) { 31.0 } else { value(i) + 1.1 };
                Some(Column { first: value(i), min: value(i) - 0.8, max: most, last: value(i + 1) })
            })
            .collect()
    };
    let pass = |n: u32, note: &str, spans: Vec<Span>, hitch| Lane {
        name: format!("Pass {n}"),
        note: note.to_owned(),
        unit: Unit::Ms,
        series: 0,
        slim: false,
        columns: columns(n, hitch),
        window_ns: Some((2_000_000_000, 58_000_000_000)),
        spans,
        ghosts: Vec::new(),
    };
    let says = |kind, start_ns, end_ns, says: &str| Span { kind, start_ns, end_ns, says: says.to_owned() };
    let spans = vec![
        says(SpanKind::Flag, 21_000_000_000, 24_500_000_000, "hitch cluster: 14 frames"),
        says(SpanKind::Remark, 41_000_000_000, 42_000_000_000, "door opened in the lab"),
    ];
    let power = Lane {
        name: "Power".to_owned(),
        note: "pass 2, plug-in meter, placed by wall clock".to_owned(),
        unit: Unit::W,
        series: 2,
        slim: true,
        columns: columns(5, 0..0)
            .into_iter()
            .map(|c| {
                c.map(|c| Column {
                    first: c.first * 40.0,
                    min: c.min * 40.0,
                    max: c.max * 40.0,
                    last: c.last * 40.0,
                })
            })
            .collect(),
        window_ns: None,
        spans: vec![],
        ghosts: Vec::new(),
    };
    Strip {
        caption: caption(
            "sample-strip",
            "Vellum Rally, hairpin: frame time of 2 passes",
            "Least and most of each pixel",
        ),
        from_ns: 0,
        to_ns: 60_000_000_000,
        width: 960,
        cut: Some(28.0),
        lanes: vec![pass(1, "sound", vec![], 0..0), pass(2, "flagged", spans, 294..343), power],
    }
}

fn ratio(value: f64, half: f64) -> Ratio {
    Ratio { value, low: value - half, high: value + half }
}

/// Ratios of two parts.
pub fn ratios() -> Ratios {
    let gains = [1.262, 1.291, 1.238, 1.251, 1.207, 1.018, 1.22, 1.301];
    let rows = SCENES.iter().zip(gains).enumerate().map(|(n, (name, gain))| RatioRow {
        name: (*name).to_owned(),
        note: if n == 6 { "played by hand".to_owned() } else { String::new() },
        ratios: vec![
            Some(ratio(gain, if n == 6 { 0.041 } else { 0.008 })),
            (n != 4).then(|| ratio(gain - 0.41, if n == 6 { 0.05 } else { 0.009 })),
        ],
        asked: None,
    });
    Ratios {
        caption: Caption {
            draft: true,
            ..caption(
                "sample-ratios",
                "Average frame rate against the Tarnwick Dunlin, 2160p native, stock",
                "Dot: ratio of geometric means over passes. Line: 95% interval from the spread between passes.",
            )
        },
        baseline: "Tarnwick Dunlin".to_owned(),
        contenders: vec!["Tarnwick Curlew".to_owned(), "Ullmere Thole".to_owned()],
        axis: "average frame rate, change against the baseline (log scale)".to_owned(),
        rows: rows.collect(),
        overall: vec![
            Overall { these: ratio(1.219, 0.0046), another: Some((1.05, 1.41)) },
            Overall { these: ratio(0.815, 0.006), another: Some((0.68, 0.97)) },
        ],
    }
}

fn bars() -> Bars {
    let parts = [("Tarnwick Dunlin", 1.0), ("Tarnwick Curlew", 1.24), ("Ullmere Thole", 0.83)];
    let group = |(n, name): (usize, &&str)| {
        let base = [118.0, 74.0, 96.0, 88.0][n % 4];
        let bar = |(series, (part, gain)): (usize, &(&str, f64))| {
            let average = base * gain;
            Bar {
                name: (*part).to_owned(),
                series,
                average: (n != 3 || series != 2).then_some(average),
                interval: Some((average * 0.991, average * 1.009)),
                low: Some((average * 0.77, Some(1.2))),
            }
        };
        BarGroup { name: (**name).to_owned(), bars: parts.iter().enumerate().map(bar).collect() }
    };
    Bars {
        caption: caption(
            "sample-bars",
            "Average and 1% low, 2160p native, stock",
            "Bar: average. Notch: 1% low (quantile). Line: 95% interval of the average.",
        ),
        axis: "average frame rate".to_owned(),
        low: "1% low: quantile".to_owned(),
        unit: Unit::Fps,
        groups: SCENES.iter().take(4).enumerate().map(group).collect(),
    }
}

/// Prices and answers of readers.
pub(crate) fn worth() -> Table {
    let block = |columns: &[(&str, Stands)], rows: &[(&[&str], &'static str)]| Block {
        columns: columns
            .iter()
            .map(|(head, stands)| TableColumn { head: (*head).to_owned(), stands: *stands, may_go: false })
            .collect(),
        rows: rows
            .iter()
            .map(|(texts, way)| {
                let last = texts.len() - 1;
                let entry = |(nth, text): (usize, &&str)| Entry {
                    text: (*text).to_owned(),
                    way: if nth == last { way } else { "" },
                };
                texts.iter().enumerate().map(entry).collect()
            })
            .collect(),
    };
    let prices = block(
        &[
            ("Part", Stands::Name),
            ("Price", Stands::Number),
            ("Price of a frame", Stands::Number),
            ("Price of equal value", Stands::Number),
            ("Value", Stands::Answer),
        ],
        &[
            (&["Tarnwick Dunlin", "1450.00 EUR", "16.09 ± 0.08 EUR", "–", "the baseline"], ""),
            (
                &["Tarnwick Curlew", "1790.00 EUR", "16.02 ± 0.07 EUR", "1798 EUR", "about the same value"],
                "level",
            ),
            (&["Ullmere Thole", "910.00 EUR", "12.13 ± 0.09 EUR", "1206 EUR", "better value"], "up"),
        ],
    );
    let readers = block(
        &[
            ("Reader", Stands::Name),
            ("Part", Stands::Name),
            ("Lead", Stands::Number),
            ("Asks for", Stands::Number),
            ("Worth it", Stands::Answer),
        ],
        &[
            (&["plays Orchard of Static daily", "Tarnwick Curlew", "+58%", "+30%", "yes"], "up"),
            (&["owns a Tarnwick Dunlin", "Tarnwick Curlew", "+24%", "+50%", "no"], "down"),
            (&["plays on a sofa", "Ullmere Thole", "–", "+10%", "not measured"], "open"),
        ],
    );
    Table {
        caption: caption(
            "sample-worth",
            "What each part is worth, 2160p native",
            "Average frame rate; against the Tarnwick Dunlin. Values ± half their 95% interval.",
        ),
        blocks: vec![prices, readers],
    }
}

fn distribution(cumulative: bool) -> Distribution {
    let series = |n: u64| Histogram {
        name: format!("Pass {}", n + 1),
        counts: (0..48_u64).map(|c| 4000 / (1 + (c.abs_diff(16 + 2 * n)).pow(2))).collect(),
        beyond: 11 * n,
    };
    let id = if cumulative { "sample-cumulative" } else { "sample-distribution" };
    Distribution {
        caption: caption(id, "Vellum Rally, hairpin: frame times of 2 passes", "Classes of 0.25 ms"),
        edges_ms: (0..=48_u8).map(|n| 4.0 + f64::from(n) * 0.25).collect(),
        series: (0..2).map(series).collect(),
        cumulative,
    }
}
