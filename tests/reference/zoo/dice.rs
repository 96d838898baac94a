//! A small seeded generator (splitmix64: Steele, Lea & Flood 2014, OOPSLA), so that a layout is known by its number.

/// Dice with a seed.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0xD134_2543_DE82_EF95).wrapping_add(0x5851_F42D))
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 to `n` - 1.
    pub fn below(&mut self, n: i64) -> i64 {
        i64::try_from(self.next() >> 33).unwrap() % n
    }

    pub fn between(&mut self, from: i64, to: i64) -> i64 {
        from + self.below(to - from + 1)
    }

    pub fn chance(&mut self, percent: i64) -> bool {
        self.below(100) < percent
    }

    pub fn pick<T: Clone>(&mut self, of: &[T]) -> T {
        of[usize::try_from(self.below(i64::try_from(of.len()).unwrap())).unwrap()].clone()
    }

    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for i in (1..items.len()).rev() {
            items.swap(i, usize::try_from(self.below(i64::try_from(i + 1).unwrap())).unwrap());
        }
    }

    /// Durations of frames, whole tenths of a microsecond in ns: a slow wave, noise, some hitches.
    pub fn frames(&mut self, count: usize, fps: i64) -> Vec<i64> {
        let base = 1_000_000_000 / fps;
        let hitches = self.between(0, 3);
        let mut drift = 0_i64;
        (0..count)
            .map(|_| {
                drift = (drift * 9 + self.between(-100, 100) * 10) / 10;
                let noise = self.between(-40, 60);
                let hitch = if self.below(1000) < hitches { self.between(2, 9) } else { 1 };
                (base * (1000 + drift / 8 + noise) / 1000 * hitch / 100).max(1) * 100
            })
            .collect()
    }
}
