//! The same content in other clothes (delimiter, decimal mark, encoding, line end, quotes, preamble, column order) gives
//! the same frames.

use std::io::Cursor;

use proptest::prelude::*;
use weighhouse_measure::intake::{Known, Outcome, read_log};

use super::dice::Dice;
use super::dress::Clothes;

/// A cell before it is written.
enum Cell {
    /// Whole `10^-digits`.
    Number(i64, u32),
    Word(&'static str),
}

/// Names with their cells: stamps and durations that prove each other, a sensor, words.
fn content(dice: &mut Dice) -> Vec<(&'static str, Vec<Cell>)> {
    let fps = dice.between(30, 400);
    let frames = dice.frames(150, fps);
    let starts = frames.iter().scan(0, |at, ns| Some(std::mem::replace(at, *at + ns)));
    let offset = dice.below(5_000) * 1_000_000_000;
    vec![
        ("elapsed [s]", starts.map(|ns| Cell::Number((ns + offset) / 100, 7)).collect()),
        ("frame time [ms]", frames.iter().map(|ns| Cell::Number(ns / 100, 4)).collect()),
        ("Leistung [W]", (0..150).map(|i| Cell::Number(25_000 + i / 9 * 37 % 900, 2)).collect()),
        (
            "remark",
            (0..150).map(|i| Cell::Word(if i % 3 == 0 { "said \"so\", then" } else { "ok" })).collect(),
        ),
    ]
}

fn written(content: &[(&str, Vec<Cell>)], order: &[usize], clothes: &Clothes, dice: &mut Dice) -> Vec<u8> {
    let mut lines = clothes.head(dice);
    lines.push(clothes.line(&order.iter().map(|&c| content[c].0.to_owned()).collect::<Vec<_>>()));
    lines.extend((0..content[0].1.len()).map(|row| {
        let cell = |&c: &usize| match content[c].1[row] {
            Cell::Number(scaled, digits) => clothes.number(scaled, digits),
            Cell::Word(word) => word.to_owned(),
        };
        clothes.line(&order.iter().map(cell).collect::<Vec<_>>())
    }));
    clothes.bytes(&lines)
}

/// Times of the frames, and of each track its values.
type Read = (Vec<i64>, Vec<i64>, Vec<Vec<f64>>);

fn read(bytes: &[u8]) -> Result<Read, String> {
    match read_log(&mut Cursor::new(bytes), "log", &Known::default()).unwrap().members.remove(0).outcome {
        Outcome::Read { segments, .. } if segments.len() == 1 => {
            let recording = &segments[0].recording;
            let tracks = recording.tracks.iter().map(|track| track.values.clone()).collect();
            Ok((recording.at_ns.clone(), recording.frame_ns.clone(), tracks))
        }
        other => Err(format!("{other:?}").chars().take(600).collect()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, rng_seed: proptest::test_runner::RngSeed::Fixed(3), ..ProptestConfig::default() })]

    #[test]
    fn the_same_content_in_other_clothes_gives_the_same_frames(seed in 0_u64..1 << 40) {
        let mut dice = Dice::new(seed);
        let content = content(&mut dice);
        let mut plain = Clothes::draw(&mut dice);
        (plain.delimiter, plain.decimal, plain.grouped, plain.preamble) = (",", '.', false, 0);
        let want = read(&written(&content, &[0, 1, 2, 3], &plain, &mut dice));
        prop_assert!(want.is_ok(), "{want:?}");
        prop_assert_eq!(want.as_ref().map_or(0, |read| read.1.len()), 150);
        for _ in 0..4 {
            let clothes = Clothes::draw(&mut dice);
            let mut order = [0, 1, 2, 3];
            dice.shuffle(&mut order);
            let got = read(&written(&content, &order, &clothes, &mut dice));
            prop_assert_eq!(&got, &want, "{:?} {:?}", order, clothes);
        }
    }
}
