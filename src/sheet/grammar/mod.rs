//! The grammar of a statement, one rule a function; each rule stands in the doc of its function. [`statement`] reads
//! one statement and demands that every word of it is accounted for.

mod added;
mod base;
mod caps;
mod clocks;
mod follow;
mod fuse;
mod handson;
mod haste;
mod haste_hands;
mod haste_keys;
mod haste_memory;
mod haste_meter;
mod header;
mod hurry;
mod hurry_keys;
mod keys;
mod loops;
mod matrix;
mod meter;
mod number;
mod ohms;
mod picture;
mod places;
mod plainly;
mod position;
mod rails;
mod result;
mod shorthand;
mod sound;
mod subject;
mod upset;

use super::concept::Concept::{self, *};
use super::concept::Concepts;
use super::statement::Statement;
use super::token::Atom;
use super::toks::{E, P, Toks};
use nom::error::ParseError;
pub use subject::inherited;

type Rule = for<'a> fn(Toks<'a>) -> P<'a, Vec<Statement>>;

/// A kind of statement.
struct Kind {
    rule: Rule,
    /// A line that it accepts.
    example: &'static str,
    /// Concepts of which a statement of this kind has at least one ...
    needs: Concepts,
    /// ... unless it can do with names and numbers alone.
    signs: bool,
    /// And at least one of these, when it holds any: how it was.
    says: Concepts,
    /// Plain enough to be told of in messages; turns of prose are not.
    told: bool,
}

const fn kind(
    rule: Rule,
    example: &'static str,
    needs: &[Concept],
    signs: bool,
    says: Concepts,
) -> Kind {
    Kind {
        rule,
        example,
        needs: Concepts::of(needs),
        signs,
        says,
        told: true,
    }
}

/// A kind of prose: never offered in a message.
const fn prose(rule: Rule, example: &'static str, needs: &[Concept], signs: bool) -> Kind {
    let mut kind = kind(rule, example, needs, signs, ANY);
    kind.told = false;
    kind
}

/// Nothing more is needed.
const ANY: Concepts = Concepts::of(&[]);

/// How a test went.
#[rustfmt::skip]
const OUTCOMES: Concepts = Concepts::of(&[Good, Bad, Low, High, Dead, Missing, Stopped, Slow, Fast, Wrong, Garbage, Noisy,
    Stuck, OnlyHard, No, NoKeys, Checksum, InTime, YesNo, ReadBack]);

/// The kinds of statement. The order decides when two kinds would accept the same words.
#[rustfmt::skip]
const KINDS: &[Kind] = &[
    kind(added::added, "added board in U4", &[AddedBoard, StraightIn], false, ANY),
    kind(header::header, "ticket 0412", &[Ticket, Board, Mains, Cartridge, From, Photo, Typed, Fitted, Empty, Missing, No,
        CameIn, WorksCheck, Untested, Run, NewRun, InPlace, BoardName], false, ANY),
    kind(result::rest_fine, "rest fine", &[Rest], false, ANY),
    kind(result::not_reached, "not reached: sound, ports", &[NotReached], false, ANY),
    kind(matrix::matrix, "key Q also presses W", &[AlsoPresses, ActTogether, Gives, UntilHeld, ContactOf, StickPart, Loopback, Swap], false, ANY),
    prose(upset::upset, "key Q resets the machine", &[KeyResets, KeyCrashes, KeyHangs], false),
    kind(keys::key_line, "keys dead Q W E", &[Key, Ghost], false, Concepts::of(&[Good, Bad, Dead, Missing, Stuck, Ghost, OnlyHard])),
    kind(picture::texts, "4000 wrote 55 read 5D", &[BytesFree, InsteadOf, Wrote, ReadBack, Arrow, More], false, ANY),
    kind(rails::supplies, "+5V 4.98", &[Rail, Supply, Fuse], true, ANY),
    kind(picture::picture, "screen black", &[Picture, NoPicture, NoSignal, WrongCharacters, NoColour, OneColour,
        Unstable, NoText], false, ANY),
    kind(caps::cap, "cap C88 100uF/16V: 71 uF, esr 2.1, loss 6 %", &[Capacitor], false, ANY),
    kind(sound::tones, "voice 1 423.8 Hz expected 440", &[Voice, Waveform, Envelope, NoiseSource, Loudness], false,
        Concepts::of(&[Cents, Flat, Sharp, Waveform, Envelope, NoiseSource, Loudness, ShouldBe, Wrote, InsteadOf])),
    kind(clocks::speeds, "clock 1 3.8 % fast", &[Percent, Jumps, Drifts, Floating, Comes, NeverComes, InTime], false,
        Concepts::of(&[Percent, Jumps, Drifts, Floating, Comes, NeverComes, InTime])),
    kind(result::lamp, "power lamp on", &[PowerLamp, CapsLamp], false, ANY),
    prose(result::result, "check lamp.power ok", &[Good, Bad, Dead, Missing, Wrong, Noisy], false),
    kind(result::result, "memory bit 3 bad", &[Memory, Bit, Rom, RomOs, RomLanguage, RomCharacter, Checksum,
        ColourMemory, ColourBit, LowerMemory, UpperMemory, VideoMemory, Timer, Adapter, Clock, Interrupt, Keyboard, Row, Column, Port, AllPorts, ControlPort,
        SerialPort, UserPort, CassettePort, CartridgePort, Sound, Voice, Filter, Paddle, Picture, StartText,
        PowerLamp, CapsLamp, KeyClick, BlindTyping, Test, Noisy, NoKeys, Loop, ZeroPage, StackPage], true, OUTCOMES),
    kind(hurry::spoken, "M3 bad per ram test", &[Upward, Forgets, MemoryType, AllOnes, Minutes, Silent, Pitch, PlaysAs,
        NoiseOnly, Volume, Noisy, StickPart, Loopback, SerialLine, Stripes, BorderOnly, AfterThat, FreeWord, Except,
        PerTest], false, ANY),
    kind(hurry::short, "b2 stuck low", &[Bit, Row, ColourMemory, Checksum, Timer, Of], true, ANY),
    kind(hurry_keys::keys_in_a_hurry, "space key doubles", &[RestKeys, PlainKey], false, ANY),
    kind(meter::meter, "current 850 mA", &[Current, Degrees, SeriesResistance, SagsTo, Ripple, By, No], true, ANY),
    kind(ohms::ohms, "U15.9 to CN6.10 0.3 ohm", &[Resistance, AcrossPart, Joined, Open, To, Lowest, NotLowest], true, ANY),
    kind(handson::hands_on, "swapped U17: no change", &[Swap, Replace, Piggyback, Bridge, LiftLeg, Pull, Press, Reseat, Cool, HeatUp,
        Clean, Resolder, Moved, Tester, Tested, KnownGood, WithNew, PutBack], false, ANY),
    kind(places::unit_line, "keyboard dirty", &[Keyboard, Supply, Cartridge, Cable], false, Concepts::of(&[Hot, TooHot, Cold,
        Warm, LookBulged, LookLeaking, LookBurnt, LookCorroded, LookCracked, LookReworked, LookModified, LookBent, LookDirty,
        LookLoose, LookReversed, LookTorn, LookFine])),
    prose(loops::loop_run, "ran 14 warm no fails", &[Loop, Ran, Of], false),
    prose(haste_memory::memory_in_prose, "ram d4 bad", &[Memory, Bit, ShouldBe, Each, PerTest, Bad], true),
    prose(haste_keys::keys_in_prose, "q w e dead", &[AlwaysOn, Except, Stuck, Dead, Bad], true),
    prose(haste::in_prose, "neither tod runs", &[Neither, AtAll, NotReached, Except, InTime, Wave, AllThere, ShouldBe, FromSpeaker,
        TapePart, Rom, Timer, Voice, Clock], true),
    prose(haste_meter::measured_in_prose, "nothing on the 12", &[NoVoltsOn, GroundWord, SupplyPin, LineName, Cold, Hot, TooHot],
        true),
    prose(shorthand::shorthand, "U19 2114: p18 5.05 p8 pulsing", &[], true),
    prose(haste_hands::hands_in_prose, "new 4164 in U12 and its alive", &[WithNew, KnownGood, Swap, Cool, Press, Pull, Clean, Reseat,
        Replace, Piggyback, Resolder, HeatUp, Tester], true),
    prose(plainly::plainly, "still black", &[Black, ColourWord, LowerMemory, UpperMemory, VideoMemory, ColourMemory, Memory, Timer, Clock, Cartridge,
        Good, Bad, Dead, Closing], true),
    kind(places::place_line, "U7.40 low", &[LineName, Line], true, ANY),
];

/// Reads the whole of `input` as one statement (which may say the same of several things). What was tried is remembered.
pub fn statement(input: Toks<'_>) -> Option<Vec<Statement>> {
    if input.explain {
        return fresh(input);
    }
    let range = (input.from, input.to);
    if let Some(known) = input.lexed.tried.borrow().get(&range) {
        return known.clone();
    }
    let found = fresh(input);
    let mut tried = input.lexed.tried.borrow_mut();
    tried.insert(range, found.clone());
    found
}

fn fresh(input: Toks<'_>) -> Option<Vec<Statement>> {
    if may_be_unmeasured(input) || counts_keys(input) {
        return None;
    }
    let (concepts, signs) = input.contents();
    let worth = |k: &&Kind| {
        (k.needs.meets(&concepts) || (k.signs && signs))
            && (k.says == ANY || k.says.meets(&concepts))
    };
    KINDS.iter().filter(worth).find_map(|kind| {
        let (rest, found) = (kind.rule)(input).ok()?;
        base::end(rest).is_ok().then_some(found)
    })
}

/// `no phi 2 measured`: there was none, or nobody looked.
fn may_be_unmeasured(input: Toks<'_>) -> bool {
    let last = input.to.checked_sub(1).filter(|k| *k > input.from);
    let looked = last.is_some_and(|k| {
        let word = &*input.lexed.atoms[k].lower;
        matches!(
            word,
            "measured" | "checked" | "tested" | "tried" | "seen" | "yet"
        )
    });
    looked && input.first().is_some_and(|a| a.lower == "no")
}

/// `1 key dead`: the key with that name, or one of them; `5 keys dead` are five of them.
fn counts_keys(input: Toks<'_>) -> bool {
    let is = |n: usize, word: &str| input.nth(n).is_some_and(|a| a.lower == word);
    let number = |a: &Atom| a.lower.bytes().all(|b| b.is_ascii_digit());
    is(0, "1") && is(1, "key") || input.first().is_some_and(number) && is(1, "keys")
}

/// Why `input` is no statement: the error of the kind that got furthest, with what was expected there and a line that
/// would have been read.
pub fn explain(input: Toks<'_>) -> E {
    let input = Toks {
        explain: true,
        ..input
    };
    let mut furthest = E::silent(input);
    let (concepts, signs) = input.contents();
    for kind in KINDS
        .iter()
        .filter(|k| k.told && (k.needs.meets(&concepts) || (k.signs && signs)))
    {
        let error = match (kind.rule)(input) {
            Ok((rest, _)) => match base::end(rest) {
                Ok(_) => continue,
                Err(e) => e,
            },
            Err(e) => e,
        };
        if let nom::Err::Error(mut error) | nom::Err::Failure(mut error) = error {
            if (error.told || error.at > input.from) && !error.wants.is_empty() {
                error.example = error.example.or(Some(kind.example));
            }
            furthest = furthest.or(error);
        }
    }
    furthest
}

/// Reads the whole of `input` as what leaves out what the statements `before` it were about: `2 missing` behind
/// `voice 1 ok`.
pub fn continued(input: Toks<'_>, before: &[Statement]) -> Option<Vec<Statement>> {
    let (rest, found) = follow::followed(input, before).ok()?;
    base::end(rest).is_ok().then_some(found)
}

/// What a line is read as; `?` when it is not.
#[cfg(test)]
pub fn read_as(line: &str) -> String {
    let sheet = super::parse("t", line.as_bytes()).expect("a text");
    let said = sheet.statements().map(|s| super::print_statement(&s.value));
    let said: Vec<String> = said.collect();
    match said.is_empty() {
        true => "?".into(),
        false => said.join(" | "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::token::Lexed;
    use crate::sheet::{Vocabulary, print_statement};
    use crate::source::Span;

    fn with<T>(text: &str, act: impl FnOnce(Toks) -> T) -> T {
        let lexed = Lexed::new(text, Span::new(0, text.len()), Vocabulary::english(), None);
        act(Toks {
            lexed: &lexed,
            from: 0,
            to: lexed.atoms.len(),
            explain: false,
        })
    }

    #[test]
    fn every_kind_reads_its_own_example() {
        for kind in KINDS {
            assert!(with(kind.example, statement).is_some(), "{}", kind.example);
        }
    }

    /// What stops the reading, what was expected there, and the line that is offered.
    fn fault(text: &str) -> (String, String, Option<&'static str>) {
        with(text, |input| {
            assert_eq!(statement(input), None, "{text}");
            let error = explain(input);
            (
                input.lexed.typed(error.at).to_string(),
                error.wants.join("; "),
                error.example,
            )
        })
    }

    #[test]
    fn errors_stand_where_reading_stopped_and_say_what_was_expected() {
        for (text, stops_at, expected, example) in [
            (
                "U7.40 wobbly",
                "wobbly",
                "low, high, pulsing, floating, dead, ok, a voltage or a frequency",
                "U7.40 low",
            ),
            (
                "memory bit 9 bad",
                "9",
                "bit numbers 0 to 7",
                "memory bit 3 bad",
            ),
            (
                "4000 wrote 155 read 5D",
                "155",
                "a byte in hex, two digits such as 5D",
                "4000 wrote 55 read 5D",
            ),
            (
                "clock 1 10.0 s in",
                "",
                "seconds, as in 10.0 s",
                "clock 1 10.0 s in 12.0 s",
            ),
            (
                "ghost T",
                "",
                "`when` and the keys that are pressed, as in ghost T when R Y",
                "ghost T when R Y",
            ),
            (
                "keys dead F-A",
                "-",
                "a range of letters or of digits, as in A-F",
                "keys dead Q W E",
            ),
            (
                "mains 500 Hz",
                "500",
                "the mains frequency, as in mains 50 Hz",
                "mains 50 Hz",
            ),
            (
                "fuse F1 glows",
                "glows",
                "ok, blown or missing",
                "fuse F1 blown",
            ),
            (
                "not reached: nonsense",
                "nonsense",
                "what was not reached: sound, ports ...",
                "not reached: sound, ports",
            ),
        ] {
            let (at, wants, line) = fault(text);
            assert_eq!(
                (&*at, &*wants, line),
                (stops_at, expected, Some(example)),
                "{text}"
            );
        }
    }

    #[test]
    fn every_example_in_a_message_can_be_typed() {
        for text in [
            "os bad",
            "supply 5.1 off the board",
            "ripple +5V 80 mV",
            "resistance +5V 120 ohm",
            "17 more addresses",
            "fitted U18 8580",
            "empty U18",
            "control port 1 bad",
            "colour bit 2 bad",
            "os checksum E1A3",
            "row 3 dead",
        ] {
            let read = with(text, statement).unwrap_or_default();
            let printed: Vec<String> = read.iter().map(print_statement).collect();
            assert_eq!(printed.len(), 1, "{text}: {printed:?}");
        }
    }
}
