//! What a result is about: memory, ROMs, timers, clocks, keys as a whole, ports, sound, picture.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt, peek, value};
use nom::sequence::{preceded, terminated};

use super::base::*;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{LOWER, Place, Subject};
use crate::sheet::token::Kind;
use crate::sheet::toks::{E, P, Toks};

/// Adapters, and with them timers and clocks, are numbered up to this.
pub const ADAPTERS: u32 = 2;

const BIT_NUMBERS: &str = "bit numbers 0 to 7";

/// A list of subjects: `memory, os and sound`. A bit behind one of another memory is of that memory: `colour bit 0 + bit 3`.
pub fn subjects(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let item = |i| {
        let (rest, all) = after_gap(subject)(i)?;
        let memory = (i.from..rest.from).any(|k| i.lexed.longest(k, Memory).is_some());
        Ok((rest, (all, memory)))
    };
    let (rest, listed) = items(item)(input)?;
    let mut all: Vec<Subject> = Vec::new();
    for (subjects, memory) in listed {
        let last = if memory { None } else { all.last() };
        match inherited(last, &subjects) {
            Some(subjects) => all.extend(subjects),
            None => return fail(input, "of which memory, as in memory bit 3 or colour bit 3"),
        }
    }
    Ok((rest, all))
}

/// Bits without a word for the memory, as those of the memory that `last` is of; `None` when it cannot be told.
pub fn inherited(last: Option<&Subject>, subjects: &[Subject]) -> Option<Vec<Subject>> {
    let bits: Option<Vec<u8>> = subjects
        .iter()
        .map(|s| match s {
            Subject::MemoryBit(n) => Some(*n),
            _ => None,
        })
        .collect();
    match (last, bits) {
        (Some(last @ (Subject::ColourBit(_) | Subject::OtherMemory(_, Some(_)))), Some(bits)) => {
            super::follow::like(last, &bits)
        }
        (Some(Subject::ColourMemory | Subject::OtherMemory(_, None)), Some(_)) => None,
        _ => Some(subjects.to_vec()),
    }
}

/// One subject word, which may stand for several (`bits 0-3`, `voices 1, 2`).
pub fn subject(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    alt((
        example("colour bit 2 bad", colour_memory),
        example("upper memory bit 3 bad", other_memory),
        memory,
        example("os rom bad", rom),
        example("timer 1a bad", timer),
        example("clock 1 stopped", clock),
        interrupt,
        example("row 3 dead", keyboard),
        example("control port 1 bad", port),
        example("voice 2 dead", sound),
        paddles,
        map(word(Picture), |()| vec![Subject::Picture]),
        map(word(StartText), |()| vec![Subject::StartText]),
        map(word(BlindTyping), |()| vec![Subject::BlindTyping]),
        map(one_of(OWN), |name| vec![Subject::Own(name.into())]),
        map(own_check, |check| vec![check]),
    ))
    .parse(input)
}

/// Checks that only some boards have, by their names in the maps.
const OWN: &[(Concept, &str)] = &[
    (PowerLamp, "lamp.power"),
    (CapsLamp, "lamp.caps"),
    (KeyClick, "click"),
];

/// `power lamp`, `caps lamp`
pub fn lamp(input: Toks<'_>) -> P<'_, Subject> {
    const LAMPS: &[(Concept, &str)] = &[(PowerLamp, "lamp.power"), (CapsLamp, "lamp.caps")];
    map(one_of(LAMPS), |name| Subject::Own(name.into())).parse(input)
}

/// `check lamp.power`, `check tape-motor`: any check of the map by its name there, where that is no word for something else.
fn own_check(input: Toks<'_>) -> P<'_, Subject> {
    let name = input.skip(1);
    if input.first().is_none_or(|a| &*a.lower != "check") || name.is_empty() {
        return Err(nom::Err::Error(E::silent(input)));
    }
    let joined = |n: usize| {
        name.nth(n).is_some_and(|a| {
            a.stuck && (a.kind != Kind::Mark || matches!(&*a.lower, "." | "-" | "_"))
        })
    };
    let rest = name.skip((1..).find(|n| !joined(*n)).unwrap_or(1));
    let word = name
        .lexed
        .found(name.from)
        .iter()
        .any(|m| m.concept.is_some() && name.from + m.len >= rest.from);
    if word || position(name).is_ok() {
        return Err(nom::Err::Error(E::silent(name)));
    }
    let name = input.skip(1).lexed.span(input.from + 1, rest.from);
    let name = input.lexed.text[name.start..name.end].to_lowercase();
    if !name.starts_with(|c: char| c.is_ascii_alphabetic()) {
        return fail(
            input.skip(1),
            "the name of the check, as in `check lamp.power ok`",
        );
    }
    Ok((rest, Subject::Own(name)))
}

/// What of main memory is meant, behind a state (`memory bad: bits 3 and 5`): bits, sockets or addresses.
pub fn memory_detail(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let of_bits = map(bits, |all| {
        all.into_iter()
            .map(|b| Subject::MemoryBit(b as u8))
            .collect()
    });
    let sockets = map(positions, |all: Vec<Place>| {
        all.into_iter().map(Subject::MemorySocket).collect()
    });
    alt((of_bits, map(range, |s| vec![s]), sockets)).parse(input)
}

pub fn bits(input: Toks<'_>) -> P<'_, Vec<u32>> {
    let every = (word(Each), opt(word(Memory)), word(Bit));
    let every = value((0..=7).collect(), every);
    alt((every, preceded(word(Bit), numbers(0, 7, BIT_NUMBERS)))).parse(input)
}

/// `colour bit 2`, `colour memory bits 0-3`, `colour memory`: four bits wide.
fn colour_memory(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let four = || numbers(0, 3, "colour memory bits 0 to 3");
    let some = alt((
        preceded(word(ColourBit), four()),
        preceded((word(ColourMemory), word(Bit)), four()),
    ));
    let (rest, found) = opt(some).parse(input)?;
    match found {
        Some(bits) => Ok((
            rest,
            bits.into_iter()
                .map(|b| Subject::ColourBit(b as u8))
                .collect(),
        )),
        None => {
            let (rest, ()) = word(ColourMemory)(input)?;
            refuse(rest, Bit, "colour memory bits 0 to 3")?;
            Ok((rest, vec![Subject::ColourMemory]))
        }
    }
}

/// `upper memory bit 3`, `upper bit 3`, `video memory bits 0-3`, `video memory`.
fn other_memory(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    const BANKS: &[(Concept, &str)] = &[
        (LowerMemory, LOWER),
        (UpperMemory, "upper"),
        (VideoMemory, "video"),
    ];
    if input.first().is_some_and(|a| &*a.lower == "upper")
        && let Ok((rest, all)) = bits(input.skip(1))
    {
        let of = |bit| Subject::OtherMemory("upper".into(), Some(bit as u8));
        return Ok((rest, all.into_iter().map(of).collect()));
    }
    let (rest, bank) = one_of(BANKS)(input)?;
    let of = |bit| match bit {
        // The bits of the first bank are those of the memory.
        Some(bit) if bank == LOWER => Subject::MemoryBit(bit),
        bit => Subject::OtherMemory(bank.to_string(), bit),
    };
    let (rest, found) = opt(bits).parse(rest)?;
    if let Some(all) = found {
        return Ok((rest, all.into_iter().map(|b| of(Some(b as u8))).collect()));
    }
    refuse(rest, Bit, BIT_NUMBERS)?;
    Ok((rest, vec![of(None)]))
}

/// Fails when a word that must be followed by something else is.
fn refuse<'a>(input: Toks<'a>, concept: Concept, what: &'static str) -> P<'a, ()> {
    match word(concept)(input) {
        Ok((rest, ())) => fail(rest, what),
        Err(_) => Ok((input, ())),
    }
}

/// `memory bit 3`, `bits 0-3`, `all bits`, `memory U10`, `memory 4000-4FFF`, `4000-4FFF`, `memory`.
fn memory(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let of_bits = map(preceded(opt(word(Memory)), bits), |all| {
        all.into_iter()
            .map(|b| Subject::MemoryBit(b as u8))
            .collect()
    });
    let sockets = |i| {
        let (rest, all) = preceded(word(Memory), positions).parse(i)?;
        // `ram d9 bad`: `D9` would be a data line behind the word memory, and there is none of that number.
        let line = |p: &Place| p.name.len() == 2 && p.name.starts_with('D');
        let small = (i.from..rest.from).any(|k| i.lexed.typed(k).starts_with('d'));
        if small && all.iter().any(line) {
            return fail(i, BIT_NUMBERS);
        }
        Ok((rest, all.into_iter().map(Subject::MemorySocket).collect()))
    };
    let whole = |i| {
        let (rest, ()) = word(Memory)(i)?;
        // `memory bit bad`: which bit was forgotten; nothing is made of it.
        refuse(rest, Bit, BIT_NUMBERS)?;
        Ok((rest, vec![Subject::Memory]))
    };
    alt((of_bits, map(range, |s| vec![s]), sockets, whole)).parse(input)
}

/// `4000-4FFF`, `4000 to 4FFF`, `memory at 4000`: addresses are hex, four digits without a prefix.
pub fn range(input: Toks<'_>) -> P<'_, Subject> {
    // Pages of a 6502: zero page and stack.
    const PAGES: &[(Concept, (u32, u32))] = &[(ZeroPage, (0, 0xFF)), (StackPage, (0x100, 0x1FF))];
    if let Ok((rest, (first, last))) = preceded(opt(word(Memory)), one_of(PAGES)).parse(input) {
        return Ok((rest, Subject::MemoryRange(first, last)));
    }
    let (rest, told) = opt((word(Memory), opt(word(Address)))).parse(input)?;
    let (after, first) = address(rest)?;
    let (after, last) = opt(preceded(
        range_mark,
        want("an address such as 4FFF", address),
    ))
    .parse(after)?;
    match last {
        // `C100-C104` may be capacitors as well.
        Some(_) if told.is_none() && place_like(rest) => fail(rest, ADDRESS_OR_PLACE),
        Some(last) if last < first => fail(rest, "the lower address first, as in 4000-4FFF"),
        Some(last) => Ok((after, Subject::MemoryRange(first, last))),
        None if told.is_some() => Ok((after, Subject::MemoryRange(first, first))),
        None => Err(nom::Err::Error(E::silent(input))),
    }
}

fn place_like(input: Toks) -> bool {
    let may = |i: Toks| may_be_address(&i.typed().to_uppercase());
    may(input)
        && (1..=4).any(|n| {
            !input.skip(n).is_empty() && input.skip(n).typed().len() == 4 && may(input.skip(n))
        })
}

/// An address in hex: four digits, or any number of them after `$` or `0x`.
pub fn address(input: Toks<'_>) -> P<'_, u32> {
    let (rest, (n, digits, prefixed)) = hex(input)?;
    if digits == 4 || prefixed {
        Ok((rest, n))
    } else if digits > 4 {
        fail(
            input,
            "an address in hex, four digits (longer ones with $ before them)",
        )
    } else {
        Err(nom::Err::Error(E::silent(input)))
    }
}

/// A ROM by its word or by its position.
pub fn rom<'a>(input: Toks<'a>) -> P<'a, Vec<Subject>> {
    const WORDS: &[(Concept, &str)] = &[
        (RomOs, "os"),
        (RomLanguage, "language"),
        (RomCharacter, "character"),
    ];
    let named = map(terminated(one_of(WORDS), opt(|i| direct(i, Rom))), |w| {
        vec![Subject::Rom(w.to_string())]
    });
    // `rom os`, without a mark between: `roms, os` is a list.
    let turned = |i| {
        let (rest, ()) = word(Rom)(i)?;
        let stop = rest.first().is_some_and(|a| a.kind == Kind::Mark);
        if stop {
            return Err(nom::Err::Error(E::silent(rest)));
        }
        map(one_of(WORDS), |w| vec![Subject::Rom(w.to_string())]).parse(rest)
    };
    let placed = map(preceded(word(Rom), positions), |all: Vec<Place>| {
        all.into_iter().map(|p| Subject::Rom(p.name)).collect()
    });
    let placed_first = map(
        terminated(position, alt((word(Rom), peek(word(Checksum))))),
        |p| vec![Subject::Rom(p)],
    );
    let whole = |i: Toks<'a>| {
        let (rest, ()) = preceded(opt(word(Each)), after_gap(|i| direct(i, Rom))).parse(i)?;
        // `rom bad` does not say which one; `roms ok` does.
        let many = (i.from..rest.from).any(|k| matches!(&*i.lexed.atoms[k].lower, "roms" | "all"));
        if many {
            Ok((rest, vec![Subject::Rom("all".into())]))
        } else {
            fail(rest, "which ROM: os, language, character or U4")
        }
    };
    alt((named, turned, placed, placed_first, whole)).parse(input)
}

/// `timer 1a`, `timer b of adapter 2`, `adapter 2 timer b`, `timers`.
pub fn timer(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let adapter_first = (
        preceded(word(Adapter), adapter_number),
        preceded(word(Timer), opt(timer_letter)),
    );
    let adapter_last = (
        terminated(preceded(word(Timer), opt(timer_letter)), opt(word(Of))),
        preceded(word(Adapter), adapter_number),
    );
    let compact = preceded(word(Timer), timer_names);
    let letter_only = preceded(word(Timer), timer_letter);
    let timers = preceded(opt(alt((word(Each), word(Both)))), word(Timer));
    let one = |adapter: u32, letter| vec![Subject::Timer(Some(adapter as u8), letter)];
    alt((
        map(adapter_first, |(n, letter)| one(n, letter)),
        map(adapter_last, |(letter, n)| one(n, letter)),
        compact,
        map(letter_only, |l| vec![Subject::Timer(None, Some(l))]),
        map(timers, |()| vec![Subject::Timer(None, None)]),
    ))
    .parse(input)
}

/// `1a, 2b`: timers without the word, behind one that had it.
pub fn timer_names(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    map(items(after_gap(timer_name)), |all| {
        all.into_iter()
            .map(|(n, l)| Subject::Timer(Some(n as u8), l))
            .collect()
    })
    .parse(input)
}

fn adapter_number(input: Toks<'_>) -> P<'_, u32> {
    let (rest, n) = want("the number of the adapter, 1 or 2", ordinal)(input)?;
    if (1..=ADAPTERS).contains(&n) {
        Ok((rest, n))
    } else {
        fail(input, "the number of the adapter, 1 or 2")
    }
}

/// `a` or `b`, exactly here.
fn timer_letter(input: Toks<'_>) -> P<'_, char> {
    match input.first().map(|a| &*a.lower) {
        Some("a") => Ok((input.skip(1), 'a')),
        Some("b") => Ok((input.skip(1), 'b')),
        _ => Err(nom::Err::Error(E::silent(input))),
    }
}

/// `1a`, `1`, `1 a` (adapter and timer).
pub fn timer_name(input: Toks<'_>) -> P<'_, (u32, Option<char>)> {
    let text = input.first().map_or("", |a| &*a.lower);
    let split = text.len() == 2
        && text.as_bytes()[0].is_ascii_digit()
        && matches!(text.as_bytes()[1], b'a' | b'b');
    let (rest, found) = if split {
        (
            input.skip(1),
            (
                u32::from(text.as_bytes()[0] - b'0'),
                Some(char::from(text.as_bytes()[1])),
            ),
        )
    } else {
        (direct_uint, opt(timer_letter)).parse(input)?
    };
    if (1..=ADAPTERS).contains(&found.0) {
        Ok((rest, found))
    } else {
        fail(input, "adapter 1 or 2 and timer a or b, as in timer 1a")
    }
}

/// `clock 1`, `clocks 1 and 2`, `both clocks`, `clocks`. A bare `clock` may be the processor's, and is not taken.
pub fn clock<'a>(input: Toks<'a>) -> P<'a, Vec<Subject>> {
    let which = "which clock, as in clock 1, or clocks for both";
    let numbered = map(preceded(word(Clock), numbers(1, ADAPTERS, which)), |all| {
        all.into_iter()
            .map(|n| Subject::Clock(Some(n as u8)))
            .collect()
    });
    let counted = map(terminated(one_of(ORDINALS), word(Clock)), |n| {
        vec![Subject::Clock(Some(n))]
    });
    let of_adapter = map(
        preceded(
            (word(Adapter), opt(word(Of))),
            terminated(adapter_number, word(Clock)),
        ),
        |n| vec![Subject::Clock(Some(n as u8))],
    );
    let every = |i: Toks<'a>| {
        let (rest, both) = opt(alt((word(Both), word(Each)))).parse(i)?;
        let (after, ()) = word(Clock)(rest)?;
        let last = &input.lexed.atoms[after.from - 1].lower;
        let told = both.is_some() || matches!(&**last, "clocks" | "tods" | "tod" | "day" | "rtc");
        let stopped = word(Stopped)(after).is_ok();
        if told || stopped {
            Ok((after, vec![Subject::Clock(None)]))
        } else {
            fail(after, which)
        }
    };
    alt((counted, of_adapter, numbered, every)).parse(input)
}

const ORDINALS: &[(Concept, u8)] = &[(First, 1), (Second, 2)];

/// `interrupts`, `interrupt 1`, `adapter 2 interrupts`.
pub fn interrupt(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let adapter_first = terminated(preceded(word(Adapter), adapter_number), word(Interrupt));
    let numbered = preceded(
        (word(Interrupt), opt(word(Of)), opt(word(Adapter))),
        numbers(1, ADAPTERS, "adapter 1 or 2"),
    );
    alt((
        map(adapter_first, |n| vec![Subject::Interrupt(Some(n as u8))]),
        map(numbered, |all| {
            all.into_iter()
                .map(|n| Subject::Interrupt(Some(n as u8)))
                .collect()
        }),
        map(preceded(opt(word(Each)), word(Interrupt)), |()| {
            vec![Subject::Interrupt(None)]
        }),
    ))
    .parse(input)
}

/// `keyboard`, `all keys`, `keys` as a whole, `row 3`, `columns 2 and 5`.
pub fn keyboard(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let many =
        |all: Vec<u32>, make: fn(u8) -> Subject| all.into_iter().map(|n| make(n as u8)).collect();
    // `kbd rows 0-3 ok` says nothing of the others.
    let row = preceded(
        opt(terminated(word(Keyboard), peek(|i| direct(i, Row)))),
        word(Row),
    );
    alt((
        map(
            preceded(row, numbers(0, 15, "the number of the row")),
            move |all| many(all, Subject::KeyRow),
        ),
        map(
            preceded(word(Column), numbers(0, 15, "the number of the column")),
            move |all| many(all, Subject::KeyColumn),
        ),
        map(word(Keyboard), |()| vec![Subject::AllKeys]),
    ))
    .parse(input)
}

/// The ports.
pub fn port(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    const WORDS: &[(Concept, &str)] = &[
        (SerialPort, "serial"),
        (UserPort, "user"),
        (CassettePort, "cassette"),
        (CartridgePort, "cartridge"),
    ];
    let named = |text: &str| vec![Subject::Port(text.to_string())];
    let control = |i| {
        let (rest, ()) = preceded(opt(word(Both)), word(ControlPort)).parse(i)?;
        let (rest, _) = opt(|i| direct(i, Port)).parse(rest)?;
        match numbers(1, 2, "control port 1 or 2")(rest) {
            Ok((rest, all)) => Ok((
                rest,
                all.iter()
                    .map(|n| Subject::Port(format!("control {n}")))
                    .collect(),
            )),
            Err(_) => Ok((rest, vec![Subject::Port("control".into())])),
        }
    };
    let numbered = map(
        preceded(
            word(Port),
            numbers(
                1,
                2,
                "control port 1 or 2, or serial, user, cassette, cartridge",
            ),
        ),
        |all| {
            all.iter()
                .map(|n| Subject::Port(format!("control {n}")))
                .collect()
        },
    );
    // `cartridge` alone names the test cartridge.
    let cartridge = map((word(Cartridge), word(Port)), move |_| named("cartridge"));
    alt((
        map(word(AllPorts), move |()| named("all")),
        control,
        map(terminated(one_of(WORDS), opt(|i| direct(i, Port))), named),
        cartridge,
        numbered,
    ))
    .parse(input)
}

/// `sound`, `voice 2`, `voices 1 and 3`, `all voices`, `filter`.
pub fn sound<'a>(input: Toks<'a>) -> P<'a, Vec<Subject>> {
    let some = map(
        preceded(word(Voice), numbers(1, 3, "voice 1, 2 or 3")),
        |all| all.into_iter().map(|n| Subject::Voice(n as u8)).collect(),
    );
    let counted = map(terminated(one_of(COUNTED), word(Voice)), |n| {
        vec![Subject::Voice(n)]
    });
    let all = |i: Toks<'a>| {
        let (rest, ()) = preceded(opt(word(Each)), word(Voice)).parse(i)?;
        let many = (i.from..rest.from)
            .any(|k| matches!(&*i.lexed.atoms[k].lower, "voices" | "channels" | "all"));
        if many {
            Ok((rest, (1..=3).map(Subject::Voice).collect()))
        } else {
            fail(rest, "which voice, as in voice 2")
        }
    };
    alt((
        map(word(Filter), |()| vec![Subject::Filter]),
        counted,
        some,
        all,
        map(word(Sound), |()| vec![Subject::Sound]),
    ))
    .parse(input)
}

const COUNTED: &[(Concept, u8)] = &[(First, 1), (Second, 2), (Third, 3)];

/// `paddles`, `paddles 1`, `paddle inputs of port 2`.
fn paddles(input: Toks<'_>) -> P<'_, Vec<Subject>> {
    let (rest, ()) = word(Paddle)(input)?;
    let (rest, _) = opt(alt((word(ControlPort), word(Port)))).parse(rest)?;
    match numbers(1, 2, "control port 1 or 2")(rest) {
        Ok((rest, all)) => Ok((
            rest,
            all.into_iter()
                .map(|n| Subject::Paddles(Some(n as u8)))
                .collect(),
        )),
        Err(_) => Ok((rest, vec![Subject::Paddles(None)])),
    }
}
