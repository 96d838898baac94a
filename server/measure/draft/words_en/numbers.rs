//! English numbers in words.

/// Below twenty.
pub(super) const SMALL: &[(&str, u32)] = &[
    ("zero", 0),
    ("one", 1),
    ("two", 2),
    ("three", 3),
    ("four", 4),
    ("five", 5),
    ("six", 6),
    ("seven", 7),
    ("eight", 8),
    ("nine", 9),
    ("ten", 10),
    ("eleven", 11),
    ("twelve", 12),
    ("thirteen", 13),
    ("fourteen", 14),
    ("fifteen", 15),
    ("sixteen", 16),
    ("seventeen", 17),
    ("eighteen", 18),
    ("nineteen", 19),
];

/// Tens.
pub(super) const TENS: &[(&str, u32)] = &[
    ("twenty", 20),
    ("thirty", 30),
    ("forty", 40),
    ("fifty", 50),
    ("sixty", 60),
    ("seventy", 70),
    ("eighty", 80),
    ("ninety", 90),
];

/// Parts of a whole.
pub(super) const PARTS: &[(&str, u32)] = &[
    ("third", 3),
    ("thirds", 3),
    ("quarter", 4),
    ("quarters", 4),
    ("fourth", 4),
    ("fifth", 5),
    ("fifths", 5),
    ("sixth", 6),
    ("sixths", 6),
    ("seventh", 7),
    ("eighth", 8),
    ("eighths", 8),
    ("ninth", 9),
    ("tenth", 10),
    ("tenths", 10),
];

/// Multiples in a word.
pub(super) const MULTIPLES: &[(&str, f64)] = &[
    ("twice", 2.0),
    ("thrice", 3.0),
    ("double", 2.0),
    ("doubles", 2.0),
    ("doubled", 2.0),
    ("doubling", 2.0),
    ("twofold", 2.0),
    ("triple", 3.0),
    ("triples", 3.0),
    ("tripled", 3.0),
    ("treble", 3.0),
    ("trebles", 3.0),
    ("threefold", 3.0),
    ("quadruple", 4.0),
    ("quadruples", 4.0),
    ("fourfold", 4.0),
    ("halve", 0.5),
    ("halves", 0.5),
    ("halved", 0.5),
    ("halving", 0.5),
];
