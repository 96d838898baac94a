//! How the frame times of a window are distributed: a histogram on a logarithmic grid, and cumulative shares.

use serde::{Deserialize, Serialize};

/// Bins in a factor of ten, each 5.9% wide: narrow enough to show a cap, wide enough for a thousand frames.
pub const BINS_PER_DECADE: u32 = 40;
/// Lower end of the grid, ms; shorter frames are counted in the first bin.
pub const GRID_FROM_MS: f64 = 0.01;
/// Factors of ten in the grid, up to 10 s; longer frames are counted in the last bin.
pub const DECADES: u32 = 6;

/// Frames whose times lie in `[from_ms, to_ms)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bin {
    /// Lower edge, ms.
    pub from_ms: f64,
    /// Upper edge, ms.
    pub to_ms: f64,
    /// Frames in it.
    pub frames: u64,
    /// Share of all frames up to and with this bin, 0 to 1.
    pub frames_so_far: f64,
    /// Share of the time that those frames took, 0 to 1.
    pub time_so_far: f64,
}

/// Histogram of frame times from the first bin with a frame to the last. The grid is the same for every pass, so that
/// passes lie on one another. Empty without frames.
pub fn histogram(frame_ns: &[i64]) -> Vec<Bin> {
    let step = 1.0 / f64::from(BINS_PER_DECADE);
    let edge = |k: u32| GRID_FROM_MS * libm::pow(10.0, f64::from(k) * step);
    let edges: Vec<f64> = (0..=BINS_PER_DECADE * DECADES).map(edge).collect();
    let inner = &edges[1..edges.len() - 1];
    let mut held = vec![(0_u64, 0_i64); inner.len() + 1];
    for &ns in frame_ns {
        let ms = ns as f64 / super::rates::NS_PER_MS;
        let (frames, total_ns) = &mut held[inner.partition_point(|&edge| edge <= ms)];
        *frames += 1;
        *total_ns += ns;
    }
    let all_ns: i64 = frame_ns.iter().sum();
    let first = held.iter().position(|bin| bin.0 > 0).unwrap_or(held.len());
    let end = held.iter().rposition(|bin| bin.0 > 0).map_or(first, |last| last + 1);
    let (mut frames_so_far, mut ns_so_far) = (0, 0);
    (first..end)
        .map(|i| {
            let (frames, ns) = held[i];
            frames_so_far += frames;
            ns_so_far += ns;
            Bin {
                from_ms: edges[i],
                to_ms: edges[i + 1],
                frames,
                frames_so_far: frames_so_far as f64 / frame_ns.len() as f64,
                time_so_far: ns_so_far as f64 / all_ns as f64,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_frame_is_in_the_bin_that_holds_it() {
        let frame_ns = [8_000_000, 8_000_001, 16_000_000, 1, 60_000_000_000];
        let bins = histogram(&frame_ns);
        assert_eq!(bins.iter().map(|b| b.frames).sum::<u64>(), 5);
        let at = |ms: f64| bins.iter().find(|b| b.from_ms <= ms && ms < b.to_ms).unwrap();
        assert_eq!((at(8.0).frames, at(16.0).frames), (2, 1));
        assert_eq!(at(16.0).frames_so_far, 0.8);
        assert_eq!((bins[0].frames, bins[bins.len() - 1].frames), (1, 1));
        assert_eq!((bins[bins.len() - 1].frames_so_far, bins[bins.len() - 1].time_so_far), (1.0, 1.0));
    }

    #[test]
    fn the_grid_is_gapless_and_nothing_gives_nothing() {
        let bins = histogram(&[1_000_000, 90_000_000]);
        assert!(bins.windows(2).all(|pair| pair[0].to_ms == pair[1].from_ms));
        assert!(histogram(&[]).is_empty());
    }
}
