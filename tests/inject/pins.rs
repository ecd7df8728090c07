//! Pins by data sheet: which are supplies, outputs, inputs. Numbers are pin numbers. From memory where no data sheet is
//! among the published facts; the board's pin tables agree with them.

use super::wiring::Kind;

/// Gates of the small logic chips in 14 pins: input and output of the inverters and drivers, two inputs and output of the others.
pub const SIX: [(usize, usize); 6] = [(1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12)];
pub const FOUR: [(usize, usize, usize); 4] = [(1, 2, 3), (4, 5, 6), (9, 10, 8), (12, 13, 11)];
/// Enable, input and output of the six drivers of 74LS367 and 74LS368.
pub const DRIVERS: [(usize, usize, usize); 6] = [
    (1, 2, 3),
    (1, 4, 5),
    (1, 6, 7),
    (1, 10, 9),
    (15, 12, 11),
    (15, 14, 13),
];

/// Pins of a part that are supplies: positive ones, and grounds. All are needed.
pub fn supplies(kind: Kind) -> (&'static [usize], &'static [usize]) {
    use Kind::*;
    match kind {
        P6502 => (&[8], &[1, 21]),
        P6510 => (&[6], &[21]),
        Z80 => (&[11], &[29]),
        A6526 => (&[20], &[1]),
        Combined => (&[64], &[16, 33, 48]),
        K8701 => (&[12, 15], &[2, 4, 9]),
        M41464 => (&[9], &[18]),
        V6569 => (&[40, 13], &[20]),
        V6845 => (&[20], &[1]),
        S6581 => (&[25, 28], &[14]),
        S8910 | S8910Ports => (&[40], &[1]),
        V9918 => (&[33], &[12]),
        Ppi8255 => (&[26], &[7]),
        C311 => (&[8], &[4]),
        R2364 | R2332 => (&[24], &[12]),
        R27128 | R23128 | R27256 => (&[28], &[14]),
        M4116 => (&[1, 8, 9], &[16]),
        M4532 | M4816 => (&[8], &[16]),
        M4164 => (&[8], &[16]),
        M2114 => (&[18], &[9]),
        Array => (&[28], &[14]),
        L00 | L02 | L04 | L06 | L07 | L08 | L14 | L32 | L74 | Flip | C4066 | T556 | L4044 => {
            (&[14], &[7])
        }
        L138 | L139 | L145 | L153 | L157 | L367 | L368 | L166 | L193 | L257 | L258 => (&[16], &[8]),
        C4050 => (&[1], &[8]),
        L245 | L273 | L373 => (&[20], &[10]),
        L629 => (&[16, 15], &[8, 9]),
        Osc => (&[14], &[7]),
        A5C112 => (&[14, 13], &[40]),
        E1889 => (&[14, 15, 16], &[5]),
        _ => (&[], &[]),
    }
}

/// Whether this is an integrated circuit with supplies.
pub fn is_chip(kind: Kind) -> bool {
    !supplies(kind).0.is_empty()
}

/// Pins that the part drives (bidirectional ones included).
pub fn outputs(kind: Kind) -> Vec<usize> {
    use Kind::*;
    let v: &[usize] = match kind {
        P6502 => &[
            9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31,
            32, 33, 34, 39,
        ],
        P6510 => &[
            7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 23, 24, 25, 26, 27, 28, 29,
            30, 31, 32, 33, 34, 35, 36, 37, 38, 39,
        ],
        Z80 => &[
            1, 2, 3, 4, 5, 7, 8, 9, 10, 12, 13, 14, 15, 18, 19, 20, 21, 22, 23, 27, 28, 30, 31, 32,
            33, 34, 35, 36, 37, 38, 39, 40,
        ],
        A6526 => &[
            2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 21, 26, 27, 28, 29, 30, 31,
            32, 33, 39, 40,
        ],
        V6569 => &[
            1, 2, 3, 4, 5, 6, 7, 8, 12, 14, 15, 16, 17, 18, 19, 23, 24, 25, 26, 27, 28, 29, 30, 31,
            32, 33, 34, 39,
        ],
        Combined => &[
            8, 12, 13, 14, 15, 17, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31, 34, 40, 43, 44, 45, 49,
            50, 51, 52, 53, 54, 55, 56, 57, 58,
        ],
        K8701 => &[6, 8],
        M41464 => &[2, 3, 15, 17],
        V6845 => &[
            4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 26, 27, 28, 29, 30, 31, 32, 33,
            35, 36, 37, 38, 39, 40,
        ],
        S6581 => &[15, 16, 17, 18, 19, 20, 21, 22, 27],
        S8910 => &[3, 4, 38, 30, 31, 32, 33, 34, 35, 36, 37],
        S8910Ports => &[
            3, 4, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 38, 30, 31, 32, 33,
            34, 35, 36, 37,
        ],
        V9918 => &[
            1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 16, 17, 18, 19, 20, 21, 22, 23, 24, 35, 36, 38,
        ],
        // Port B only reads on the boards here.
        Ppi8255 => &[
            1, 2, 3, 4, 10, 11, 12, 13, 14, 15, 16, 17, 27, 28, 29, 30, 31, 32, 33, 34, 37, 38, 39,
            40,
        ],
        C311 => &[7],
        R2364 | R2332 => &[9, 10, 11, 13, 14, 15, 16, 17],
        R27128 | R23128 | R27256 => &[11, 12, 13, 15, 16, 17, 18, 19],
        M4164 | M4116 | M4532 | M4816 => &[14],
        M2114 => &[11, 12, 13, 14],
        Array => &[10, 11, 12, 13, 15, 16, 17, 18],
        L04 | L06 | L07 | L14 => &[2, 4, 6, 8, 10, 12],
        L00 | L08 | L32 => &[3, 6, 8, 11],
        L02 => &[1, 4, 10, 13],
        C4050 => &[2, 4, 6, 10, 12, 15],
        L145 => &[1, 2, 3, 4, 5, 6, 7, 9, 10, 11],
        L153 => &[7, 9],
        L157 => &[4, 7, 9, 12],
        L273 => &[2, 5, 6, 9, 12, 15, 16, 19],
        L367 | L368 => &[3, 5, 7, 9, 11, 13],
        L74 | Flip => &[5, 6, 8, 9],
        L138 => &[7, 9, 10, 11, 12, 13, 14, 15],
        L139 => &[4, 5, 6, 7, 9, 10, 11, 12],
        L166 => &[13],
        L193 => &[6, 12],
        L245 => &[2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18],
        L257 | L258 => &[4, 7, 9, 12],
        L373 => &[2, 5, 6, 9, 12, 15, 16, 19],
        L629 => &[7, 10],
        L4044 => &[5, 8],
        T556 => &[5, 9],
        Osc => &[8],
        A5C112 => &[
            1, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 16, 17, 18, 21, 22, 25, 27, 28, 29, 30, 31, 32,
            34, 35,
        ],
        E1889 => &[13, 17],
        _ => &[],
    };
    v.to_vec()
}

/// Blocks inside a chip that can die by themselves while the rest works, by data sheet.
pub fn blocks(kind: Kind) -> &'static [&'static str] {
    use Kind::*;
    match kind {
        P6502 => &["core", "interrupts"],
        P6510 => &["core", "interrupts", "nmi"],
        A6526 => &[
            "timer a",
            "timer b",
            "clock",
            "interrupt",
            "flag",
            "shift",
            "core",
        ],
        V6569 => &["luma", "chroma", "registers", "fetch", "colours", "warm"],
        V6845 => &["registers", "sync", "warm"],
        S6581 => &[
            "voice 1", "voice 2", "voice 3", "filter", "pot x", "pot y", "output",
        ],
        S8910 => &["voice 1", "voice 2", "voice 3", "warm"],
        S8910Ports => &["voice 1", "voice 2", "voice 3", "registers", "warm"],
        V9918 => &[
            "registers",
            "fetch",
            "strobes",
            "writing",
            "luma",
            "colour",
            "interrupt",
            "warm",
        ],
        Ppi8255 => &["bus", "warm"],
        Z80 => &["core", "interrupts", "refresh"],
        R2364 | R2332 | R27128 | R23128 | R27256 => &["contents"],
        M4164 | M4116 | M4532 | M4816 => &["cells", "row", "cells low", "cells high", "warm"],
        M2114 => &["cells 0", "cells 1", "cells 2", "cells 3"],
        Array => &["warm"],
        A5C112 => &[
            "keys 0",
            "keys 1",
            "keys 2",
            "keys 3",
            "keys 4",
            "row 0 low",
            "row 1 low",
            "row 2 low",
            "row 3 low",
            "row 4 low",
            "fetch",
            "tape",
            "interrupt",
            "border",
            "warm",
        ],
        E1889 => &["oscillator", "weak", "warm"],
        L629 => &["drift"],
        K8701 => &["drift", "warm"],
        Combined => &["warm", "restore"],
        M41464 => &["cells 0", "cells 1", "cells 2", "cells 3", "row", "warm"],
        L193 | L74 | Flip => &["warm"],
        _ => &[],
    }
}
