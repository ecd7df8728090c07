//! The Z80 on its bus, by its data sheet.

use super::*;

/// Address pins, bit 0 first.
const ADDRESS: [usize; 16] = [30, 31, 32, 33, 34, 35, 36, 37, 38, 39, 40, 1, 2, 3, 4, 5];

impl Machine<'_> {
    /// Neither reset nor told to wait or to let go of the bus, and whole inside.
    pub(super) fn z80_free(&self, part: usize) -> bool {
        // Where the clock is stepped, a wait is counted in the bus cycle.
        let wait = !self.aside.clocked && self.pin(part, 24) == V::L;
        let held = wait || self.pin(part, 25) == V::L || self.aside.waits;
        self.pin(part, 26) == V::H && !held && !self.o.block(part, "core")
    }

    /// Address first (step 0), then request and read strobe with the data of a write (step 1), then the write strobe (step 2).
    /// A port's write strobe comes with its request.
    pub(super) fn drive_z80(&self, part: usize, out: &mut Vec<(usize, V)>) {
        let request = self.request.filter(|_| self.cpu_runs(part));
        // A refresh counter that stands still refreshes one row.
        let stands = |r: &Request| r.cycle == Cycle::Refresh && self.o.block(part, "refresh");
        let address = request.map_or(0xFFFF, |r| if stands(&r) { 0 } else { r.address });
        for (k, n) in ADDRESS.into_iter().enumerate() {
            out.push((n, V::of(address >> k & 1 == 1)));
        }
        // Strobes end before address and data do.
        let held = request.filter(|_| self.step.cpu && self.step.stage > 0);
        let on = held.filter(|_| self.step.stage < 3);
        let write = on.is_some_and(|r| r.write.is_some());
        let port = on.is_some_and(|r| r.cycle == Cycle::Port);
        let refresh = request.is_some_and(|r| r.cycle == Cycle::Refresh);
        let strobe = |n: usize, low: bool| (n, V::of(!low));
        out.extend([
            strobe(
                27,
                request.is_some_and(|r| r.cycle == Cycle::Fetch) && self.step.stage < 3,
            ),
            strobe(28, refresh && !self.o.block(part, "refresh")),
            strobe(19, on.is_some() && !port),
            strobe(20, port),
            strobe(21, on.is_some() && !write && !refresh),
            strobe(22, write && (port || self.step.stage == 2)),
            strobe(18, false),
            strobe(23, false),
        ]);
        if let Some(data) = held.and_then(|r| r.write) {
            for (k, n) in self.data_pins().into_iter().enumerate() {
                out.push((n, V::of(data >> k & 1 == 1)));
            }
        }
    }

    /// Reads a port, or writes it.
    pub fn port(&mut self, address: u16, write: Option<u8>) -> u8 {
        self.bus(address, write, Cycle::Port)
    }

    /// Fetches an instruction, then refreshes a row.
    pub fn fetch_instruction(&mut self, address: u16, row: u8) -> u8 {
        let read = self.bus(address, None, Cycle::Fetch);
        self.bus(u16::from(row), None, Cycle::Refresh);
        read
    }
}
