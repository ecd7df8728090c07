//! The address decoder in the logic array of the 6510-based boards, written from what its outputs select (memory map
//! of such a machine; from memory).

/// What the array looks at; `n` inputs are low when asserted.
#[derive(Debug, Clone, Copy)]
pub struct Inputs {
    pub a15: bool,
    pub a14: bool,
    pub a13: bool,
    pub a12: bool,
    pub loram: bool,
    pub hiram: bool,
    pub charen: bool,
    pub cas_n: bool,
    pub va14_n: bool,
    pub va13: bool,
    pub va12: bool,
    pub game_n: bool,
    pub exrom_n: bool,
    pub write_n: bool,
    /// Low while the processor owns the bus.
    pub video: bool,
    pub ba: bool,
}

/// Outputs, all low when asserted: memory, language ROM, operating system ROM, character ROM, colour write, input and
/// output, cartridge low, cartridge high.
pub fn decode(i: &Inputs) -> [bool; 8] {
    let mut pick = [false; 8];
    let ultimax = !i.game_n && i.exrom_n;
    if i.video {
        pick[3] = i.va14_n && !i.va13 && i.va12 && !ultimax;
        pick[7] = ultimax && i.va13 && i.va12;
    } else {
        let page =
            u8::from(i.a15) << 3 | u8::from(i.a14) << 2 | u8::from(i.a13) << 1 | u8::from(i.a12);
        let read = i.write_n;
        match page {
            0xD => {
                let io = ultimax || i.charen && (i.loram || i.hiram);
                let chars = !ultimax && !i.charen && (i.hiram || i.loram) && read;
                pick[5] = io && (i.ba || !read);
                pick[3] = chars;
            }
            0xA | 0xB if !ultimax => {
                pick[1] = i.loram && i.hiram && i.game_n && read;
                pick[7] = i.hiram && !i.game_n && !i.exrom_n && read;
            }
            0xE | 0xF => {
                pick[2] = i.hiram && !ultimax && read;
                pick[7] = ultimax;
            }
            0x8 | 0x9 => {
                pick[6] = ultimax || i.loram && i.hiram && !i.exrom_n && read;
            }
            _ => {}
        }
        pick[4] = pick[5] && !i.write_n && !i.cas_n;
        let hole = ultimax && ((1..=7).contains(&page) || (0xA..=0xC).contains(&page));
        let taken = pick[1] || pick[2] || pick[3] || pick[5] || pick[6] || pick[7] || hole;
        pick[0] = !i.cas_n && !taken;
        return pick.map(|p| !p);
    }
    pick[0] = !i.cas_n && !pick[3] && !pick[7];
    pick.map(|p| !p)
}
