//! Extremes for the frame-time strip: what a column of pixels shows, from the frames or from stored blocks.
//!
//! First, lowest, highest and last value of a column draw the same line as all its frames would (Jugel, Jerzak,
//! Hackenbroich & Markl 2014, Proc. VLDB Endow. 7:797-808, 'M4').

use crate::recording::Window;
use serde::{Deserialize, Serialize};

/// Frames in a block of the pyramid.
pub const BLOCK: usize = 256;

/// What one column of pixels shows, ns of frame time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Column {
    /// Which column, from 0 at the left.
    pub x: u32,
    /// The first frame that starts in it.
    pub first_ns: i64,
    /// The shortest.
    pub min_ns: i64,
    /// The longest.
    pub max_ns: i64,
    /// The last.
    pub last_ns: i64,
}

/// A run of frames: when it starts on the pass's clock, and its frame times, ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Block {
    /// Start of its first frame.
    pub start_ns: i64,
    /// Its first frame time.
    pub first_ns: i64,
    /// The shortest.
    pub min_ns: i64,
    /// The longest.
    pub max_ns: i64,
    /// Its last frame time.
    pub last_ns: i64,
}

/// Columns of a view `px` wide, exact, from the frames that start in the window. Columns without a frame are left out.
pub fn columns(at_ns: &[i64], frame_ns: &[i64], window: Window, px: u32) -> Vec<Column> {
    let rows = window.rows(at_ns);
    let frames =
        at_ns.get(rows.clone()).unwrap_or_default().iter().zip(frame_ns.get(rows).unwrap_or_default());
    gather(
        frames.map(|(&start_ns, &ns)| Block { start_ns, first_ns: ns, min_ns: ns, max_ns: ns, last_ns: ns }),
        window,
        px,
    )
}

/// Columns of a view from the blocks that reach into the window. No extreme is lost, but each may stand as far to the
/// left as its block is long: use it where [`serves`] says so.
pub fn columns_from_pyramid(blocks: &[Block], window: Window, px: u32) -> Vec<Column> {
    let from = blocks.partition_point(|b| b.start_ns <= window.start_ns).saturating_sub(1);
    let to = blocks.partition_point(|b| b.start_ns < window.end_ns).max(from);
    gather(blocks[from..to].iter().copied(), window, px)
}

/// Whether a view shows at least two blocks a column, so that blocks are as good as frames.
pub fn serves(blocks: &[Block], window: Window, px: u32) -> bool {
    let from = blocks.partition_point(|b| b.start_ns < window.start_ns);
    let to = blocks.partition_point(|b| b.start_ns < window.end_ns);
    to.saturating_sub(from) as u64 >= 2 * u64::from(px)
}

/// Merges blocks, in order of time, into the columns that their starts fall in.
fn gather(blocks: impl Iterator<Item = Block>, window: Window, px: u32) -> Vec<Column> {
    let length = i128::from(window.length_ns());
    let mut columns: Vec<Column> = Vec::new();
    if length <= 0 || px == 0 {
        return columns;
    }
    for block in blocks {
        let into = i128::from(block.start_ns) - i128::from(window.start_ns);
        let x = u32::try_from(into.max(0) * i128::from(px) / length).unwrap_or(px - 1).min(px - 1);
        match columns.last_mut().filter(|column| column.x == x) {
            Some(column) => {
                column.min_ns = column.min_ns.min(block.min_ns);
                column.max_ns = column.max_ns.max(block.max_ns);
                column.last_ns = block.last_ns;
            }
            None => {
                let Block { first_ns, min_ns, max_ns, last_ns, .. } = block;
                columns.push(Column { x, first_ns, min_ns, max_ns, last_ns });
            }
        }
    }
    columns
}

/// Blocks of [`BLOCK`] frames, the last one shorter.
pub fn pyramid(at_ns: &[i64], frame_ns: &[i64]) -> Vec<Block> {
    at_ns
        .chunks(BLOCK)
        .zip(frame_ns.chunks(BLOCK))
        .filter_map(|(at, frames)| {
            Some(Block {
                start_ns: *at.first()?,
                first_ns: *frames.first()?,
                min_ns: *frames.iter().min()?,
                max_ns: *frames.iter().max()?,
                last_ns: *frames.last()?,
            })
        })
        .collect()
}

/// Blocks as bytes: for each block five numbers of 7 bits a byte, lowest first, with the top bit on all but the last
/// byte: steps of the start, then shortest, and the others less the shortest. `None` unless starts rise and
/// frame times hold each other in order, as those of [`pyramid`] do.
pub fn encode(blocks: &[Block]) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(blocks.len() * 16);
    let mut before = 0;
    for block in blocks {
        let above = [block.max_ns, block.first_ns, block.last_ns].map(|ns| ns - block.min_ns);
        for number in [block.start_ns - before, block.min_ns].into_iter().chain(above) {
            push(&mut bytes, u64::try_from(number).ok()?);
        }
        before = block.start_ns;
    }
    Some(bytes)
}

fn push(bytes: &mut Vec<u8>, mut number: u64) {
    loop {
        let [low, ..] = number.to_le_bytes();
        number >>= 7;
        if number == 0 {
            return bytes.push(low & 0x7f);
        }
        bytes.push(low | 0x80);
    }
}

/// Blocks from bytes of [`encode`]; `None` when they are cut off or no such bytes.
pub fn decode(mut bytes: &[u8]) -> Option<Vec<Block>> {
    let mut blocks = Vec::new();
    let mut start_ns = 0_i64;
    while !bytes.is_empty() {
        start_ns = start_ns.checked_add(pull(&mut bytes)?)?;
        let min_ns = pull(&mut bytes)?;
        let mut above = || min_ns.checked_add(pull(&mut bytes)?);
        let (max_ns, first_ns, last_ns) = (above()?, above()?, above()?);
        blocks.push(Block { start_ns, first_ns, min_ns, max_ns, last_ns });
    }
    Some(blocks)
}

fn pull(bytes: &mut &[u8]) -> Option<i64> {
    let mut number = 0_i64;
    for shift in (0..63).step_by(7) {
        let (&byte, rest) = bytes.split_first()?;
        *bytes = rest;
        number |= i64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Some(number);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn starts(frame_ns: &[i64]) -> Vec<i64> {
        frame_ns.iter().scan(0, |t, ns| Some(std::mem::replace(t, *t + ns))).collect()
    }

    #[test]
    fn a_column_shows_the_frames_that_start_in_it() {
        let frame_ns = [10, 30, 20, 40];
        let window = Window { start_ns: 0, end_ns: 100 };
        let first = Column { x: 0, first_ns: 10, min_ns: 10, max_ns: 30, last_ns: 30 };
        let both = Column { x: 0, first_ns: 10, min_ns: 10, max_ns: 40, last_ns: 40 };
        let second = Column { x: 1, first_ns: 40, min_ns: 40, max_ns: 40, last_ns: 40 };
        let at_ns = starts(&frame_ns);
        assert_eq!(columns(&at_ns, &frame_ns, window, 1), [both]);
        let halves = columns(&at_ns, &frame_ns, window, 2);
        assert_eq!(halves, [Column { last_ns: 20, ..first }, second]);
        let later = Window { start_ns: 1000, end_ns: 2000 };
        assert!(columns(&at_ns, &frame_ns, later, 5).is_empty());
        assert!(columns(&at_ns, &frame_ns, window, 0).is_empty());
    }

    #[test]
    fn no_pixels_no_length_no_blocks() {
        assert!(columns_from_pyramid(&[], Window { start_ns: 0, end_ns: 9 }, 4).is_empty());
        assert_eq!(decode(&[]), Some(vec![]));
        assert_eq!(decode(&[0x80]), None);
        assert_eq!(decode(&[0xff; 12]), None);
    }

    #[test]
    fn blocks_serve_wide_views_and_not_close_ones() {
        let frame_ns = vec![1000; 40 * BLOCK];
        let blocks = pyramid(&starts(&frame_ns), &frame_ns);
        let all = Window { start_ns: 0, end_ns: 40 * 256 * 1000 };
        assert!(serves(&blocks, all, 20) && !serves(&blocks, all, 21));
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn blocks_lose_no_extreme_and_come_back_from_bytes(
            frame_ns in proptest::collection::vec(1_i64..5_000_000_000, 1..2000),
            px in 1_u32..7,
        ) {
            let at_ns = starts(&frame_ns);
            let blocks = pyramid(&at_ns, &frame_ns);
            prop_assert_eq!(decode(&encode(&blocks).unwrap()), Some(blocks.clone()));
            let window = Window { start_ns: 0, end_ns: at_ns[at_ns.len() - 1] + 1 };
            let (exact, rough) = (columns(&at_ns, &frame_ns, window, px), columns_from_pyramid(&blocks, window, px));
            let ends = |c: &[Column]| (c.iter().map(|c| c.min_ns).min(), c.iter().map(|c| c.max_ns).max());
            prop_assert_eq!(ends(&exact), ends(&rough));
            prop_assert!(exact.windows(2).all(|pair| pair[0].x < pair[1].x));
        }
    }
}
