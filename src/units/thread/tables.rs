//! The standard series: which pitch goes with which size.

use rust_decimal::Decimal;

/// ISO 261:1998, table 1, coarse pitches: nominal diameter and pitch, both in hundredths of a millimetre.
const METRIC_COARSE: [(u32, u32); 40] = [
    (100, 25),
    (110, 25),
    (120, 25),
    (140, 30),
    (160, 35),
    (180, 35),
    (200, 40),
    (220, 45),
    (250, 45),
    (300, 50),
    (350, 60),
    (400, 70),
    (450, 75),
    (500, 80),
    (600, 100),
    (700, 100),
    (800, 125),
    (900, 125),
    (1000, 150),
    (1100, 150),
    (1200, 175),
    (1400, 200),
    (1600, 200),
    (1800, 250),
    (2000, 250),
    (2200, 250),
    (2400, 300),
    (2700, 300),
    (3000, 350),
    (3300, 350),
    (3600, 400),
    (3900, 400),
    (4200, 450),
    (4500, 450),
    (4800, 500),
    (5200, 500),
    (5600, 550),
    (6000, 550),
    (6400, 600),
    (6800, 600),
];

/// Coarse pitch in millimetres of a metric nominal diameter; above 68 mm ISO 261 has none.
pub(super) fn metric_coarse(nominal_mm: Decimal) -> Option<Decimal> {
    METRIC_COARSE
        .iter()
        .find(|(d, _)| Decimal::new(i64::from(*d), 2) == nominal_mm)
        .map(|(_, pitch)| Decimal::new(i64::from(*pitch), 2).normalize())
}

/// ASME B1.1, coarse series: numbered sizes and threads per inch.
pub(super) const UNC_NUMBERED: [(u32, u32); 9] = [
    (1, 64),
    (2, 56),
    (3, 48),
    (4, 40),
    (5, 40),
    (6, 32),
    (8, 32),
    (10, 24),
    (12, 24),
];

/// ASME B1.1, fine series: numbered sizes and threads per inch.
pub(super) const UNF_NUMBERED: [(u32, u32); 10] = [
    (0, 80),
    (1, 72),
    (2, 64),
    (3, 56),
    (4, 48),
    (5, 44),
    (6, 40),
    (8, 36),
    (10, 32),
    (12, 28),
];

/// ASME B1.1, coarse series: size in thirty-seconds of an inch, threads per inch times two.
pub(super) const UNC: [(u32, u32); 24] = [
    (8, 40),
    (10, 36),
    (12, 32),
    (14, 28),
    (16, 26),
    (18, 24),
    (20, 22),
    (24, 20),
    (28, 18),
    (32, 16),
    (36, 14),
    (40, 14),
    (44, 12),
    (48, 12),
    (56, 10),
    (64, 9),
    (72, 9),
    (80, 8),
    (88, 8),
    (96, 8),
    (104, 8),
    (112, 8),
    (120, 8),
    (128, 8),
];

/// ASME B1.1, fine series: size in thirty-seconds of an inch, threads per inch times two.
pub(super) const UNF: [(u32, u32); 14] = [
    (8, 56),
    (10, 48),
    (12, 48),
    (14, 40),
    (16, 40),
    (18, 36),
    (20, 36),
    (24, 32),
    (28, 28),
    (32, 24),
    (36, 24),
    (40, 24),
    (44, 24),
    (48, 24),
];

/// BS 84, British Standard Whitworth: size in thirty-seconds of an inch, threads per inch times two.
pub(super) const BSW: [(u32, u32); 25] = [
    (4, 80),
    (6, 48),
    (8, 40),
    (10, 36),
    (12, 32),
    (14, 28),
    (16, 24),
    (18, 24),
    (20, 22),
    (22, 22),
    (24, 20),
    (28, 18),
    (32, 16),
    (36, 14),
    (40, 14),
    (44, 12),
    (48, 12),
    (52, 10),
    (56, 10),
    (60, 9),
    (64, 9),
    (72, 8),
    (80, 8),
    (88, 7),
    (96, 7),
];

/// BS 84, British Standard Fine: size in thirty-seconds of an inch, threads per inch times two.
pub(super) const BSF: [(u32, u32); 25] = [
    (6, 64),
    (7, 56),
    (8, 52),
    (9, 52),
    (10, 44),
    (12, 40),
    (14, 36),
    (16, 32),
    (18, 32),
    (20, 28),
    (22, 28),
    (24, 24),
    (26, 24),
    (28, 22),
    (32, 20),
    (36, 18),
    (40, 18),
    (44, 16),
    (48, 16),
    (52, 16),
    (56, 14),
    (64, 14),
    (72, 12),
    (80, 12),
    (96, 10),
];

/// ISO 228-1, table 1: size in thirty-seconds of an inch, threads per inch, major diameter in micrometres, and the usual
/// tap drill in hundredths of a millimetre. The drills up to G 2 are those a trade list gives for BSP parallel threads
/// (0685.com, "continuing education 71475", seen as a stored page); beyond it there is none here.
pub(super) const G: [(u32, u32, u32, Option<u32>); 20] = [
    (2, 28, 7_723, Some(680)),
    (4, 28, 9_728, Some(880)),
    (8, 19, 13_157, Some(1180)),
    (12, 19, 16_662, Some(1525)),
    (16, 14, 20_955, Some(1900)),
    (20, 14, 22_911, Some(2100)),
    (24, 14, 26_441, Some(2450)),
    (28, 14, 30_201, Some(2825)),
    (32, 11, 33_249, Some(3075)),
    (36, 11, 37_897, None),
    (40, 11, 41_910, Some(3950)),
    (48, 11, 47_803, Some(4550)),
    (56, 11, 53_746, Some(5100)),
    (64, 11, 59_614, Some(5700)),
    (72, 11, 65_710, None),
    (80, 11, 75_184, None),
    (88, 11, 81_534, None),
    (96, 11, 87_884, None),
    (112, 11, 100_330, None),
    (128, 11, 113_030, None),
];

/// Looks a size up in a series.
pub(super) fn find(series: &[(u32, u32)], size: u32) -> Option<u32> {
    series.iter().find(|(s, _)| *s == size).map(|(_, tpi)| *tpi)
}
