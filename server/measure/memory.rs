//! Memory that is kept from one log to the next.

use std::hint::black_box;

/// Size of the piece that is asked for and given back, bytes; twice as much is kept at most.
const PIECE: usize = 16 << 20;

/// Call once before many logs are read one after another.
///
/// The GNU C library gives the top of its memory back to the system after each log, and each page costs a fault when it
/// is asked for anew: a fifth of all time. When a large piece has been freed, it takes pieces up to that size for usual and
/// keeps twice as much (`mallopt(3)`, `M_MMAP_THRESHOLD`). Nothing is written to the piece, so that it takes no memory;
/// other libraries are not harmed.
pub fn keep_between_logs() {
    drop(black_box(Vec::<u8>::with_capacity(PIECE)));
}
