//! Charts with more in them than most: what makes labels meet.

use super::{amounts, bars, distribution, plane, ratios, strip, worth};
use crate::charts::{Amount, BarGroup, Histogram, Lane, Picture, RatioRow, Spot};

/// Each kind of chart with so many scenes, names of 40 letters and two-line words around it: what makes labels meet.
pub fn crowded(scenes: usize) -> Vec<(&'static str, Box<dyn Picture>)> {
    let name = |n: usize| format!("{:-<40}", format!("Wide Mountain Workshop Moorland {n} "));
    let (mut strip, mut ratios, mut bars) = (strip(), ratios(), bars());
    let (mut plane, mut worth) = (plane(), worth());
    let lanes = strip.lanes.clone();
    strip.lanes =
        (0..scenes.min(12)).map(|n| Lane { name: name(n), series: n % 6, ..lanes[n % 3].clone() }).collect();
    let (rows, groups) = (ratios.rows.clone(), bars.groups.clone());
    ratios.rows = (0..scenes).map(|n| RatioRow { name: name(n), ..rows[n % rows.len()].clone() }).collect();
    ratios.contenders.iter_mut().enumerate().for_each(|(n, contender)| *contender = name(n));
    bars.groups =
        (0..scenes).map(|n| BarGroup { name: name(n), ..groups[n % groups.len()].clone() }).collect();
    for bar in bars.groups.iter_mut().flat_map(|group| &mut group.bars) {
        bar.name = name(bar.series);
    }
    let points = plane.series[0].points.clone();
    plane.series[0].points = (0..scenes)
        .map(|n| {
            let point = &points[n % points.len()];
            let (x, y) = (point.x + n as f64 * 1.5, point.y - n as f64 * 0.4);
            let (x_interval, y_interval) = (Some((x - 2.5, x + 2.5)), Some((y - 0.6, y + 0.6)));
            Spot { name: name(n), x, y, x_interval, y_interval, says: point.says.clone() }
        })
        .collect();
    plane.series[0].line.truncate(scenes);
    plane.series[0].band.truncate(scenes);
    for block in &mut worth.blocks {
        let rows = block.rows.clone();
        block.rows = (0..scenes).map(|n| rows[n % rows.len()].clone()).collect();
        block.rows.iter_mut().enumerate().for_each(|(n, row)| row[0].text = name(n));
    }
    let spread = |cumulative| {
        let mut spread = distribution(cumulative);
        let all = spread.series.clone();
        spread.series =
            (0..scenes.min(6)).map(|n| Histogram { name: name(n), ..all[n % all.len()].clone() }).collect();
        spread
    };
    let read = |levels| {
        let mut read = amounts(levels);
        let rows = read.rows.clone();
        let row =
            |n: usize| Amount { name: name(n), note: name(n), series: n, ..rows[n % rows.len()].clone() };
        read.rows = (0..scenes).map(row).collect();
        read
    };
    let mut all: Vec<(&'static str, Box<dyn Picture>)> = vec![
        ("strip", Box::new(strip)),
        ("ratios", Box::new(ratios)),
        ("bars", Box::new(bars)),
        ("plane", Box::new(plane)),
        ("worth", Box::new(worth)),
        ("amounts", Box::new(read(false))),
        ("levels", Box::new(read(true))),
        ("distribution", Box::new(spread(false))),
        ("cumulative", Box::new(spread(true))),
    ];
    for (_, picture) in &mut all {
        let caption = picture.caption();
        caption.title = format!("{}, {}", caption.title, name(scenes));
        caption.subtitle = format!("{} {}", caption.subtitle, name(scenes).repeat(3));
    }
    all
}
