//! What a run sheet can say, as values. Parsing makes these, `observe` reads them, `print` writes them back.

/// What a line of a run sheet says.
#[derive(Debug, Clone, PartialEq)]
pub enum Statement {
    /// `ticket 0412`.
    Ticket(String),
    /// `board dunlin-64`: an identifier of a board map.
    Board(String),
    /// `mains 50`: hertz the machine is fed with and (or) set to.
    Mains(f64),
    /// `cartridge NAME`: the cartridge profile the results are worded in.
    Cartridge(String),
    /// `from photo` or `typed`: how the text was obtained.
    Obtained(Obtained),
    /// `fitted U18 8580`: the type in a position.
    Fitted {
        /// The position.
        place: Place,
        /// Type number as typed.
        part: String,
    },
    /// `empty U18`: nothing in these positions.
    Empty(Vec<Place>),
    /// `came in faulty`, `works, please check`, `unknown history`.
    Intake(Intake),
    /// `complaint black screen since ...`: free text, kept; known complaint words are results of their own.
    Complaint(String),
    /// `note ...`: kept for the ticket, not evidence.
    Note(String),
    /// A result of a test run or a measurement by hand.
    Finding(Finding),
    /// A hands-on test.
    HandsOn(HandsOn),
    /// `not reached sound`: these were not run or not shown.
    NotReached(Vec<Subject>),
    /// `rest fine`: every check of the test that the sheet does not mention passed.
    RestFine,
    /// `run 2` or `new run`: what follows was seen on a later run of the same machine. Before the first finding
    /// (`run 1` at the top) it means nothing.
    NewRun,
    /// `history ten years in a shed`: free text, kept for the ticket.
    History(String),
    /// `at 2026-11-25 14:03`: when what follows was noted.
    At(Moment),
    /// `photo board-front.jpg solder side`: a picture kept beside the ticket.
    Photo {
        /// Name of the file.
        file: String,
        /// What it shows; may be empty.
        caption: String,
    },
    /// `origin U18 shelf`, `fitted U18 8580 from ticket 0398`: where the parts in these positions came from.
    Origin {
        /// The positions.
        places: Vec<Place>,
        /// Where from.
        from: Origin,
    },
    /// `old part U18 6581, date code 3287`: what was taken out of a position.
    OldPart {
        /// The position.
        place: Place,
        /// What it was, as typed.
        what: String,
    },
    /// `undo`: strikes the line of statements before it. The struck line stays in the file.
    Undo,
    /// `skip hold a logic probe on P1 pin 37`: a proposed step that will not be done.
    Skip(String),
    /// `proved U10 dead`: which unit was at fault in the end, and how, as typed.
    Proved(String),
    /// `closed: cured and proved`, `reopened`: how the ticket ended.
    Outcome(Outcome),
}

/// A minute of the calendar, as the clock on the bench showed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Moment {
    /// Year, such as 2026.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: u8,
    /// 0 to 59.
    pub minute: u8,
}

/// Where a part came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// Out of the bench's own drawers.
    Shelf,
    /// Bought for this.
    New,
    /// Out of another machine: its ticket.
    Donor(String),
}

/// How a ticket ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// `closed: cured and proved`.
    CuredProved,
    /// `closed: sent out, cause unknown`.
    CauseUnknown,
    /// `closed: used for parts`.
    UsedForParts,
    /// `reopened`: the end before this was none.
    Reopened,
}

/// How the text of the sheet came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Obtained {
    /// Typed by a person from screen or meter.
    Typed,
    /// Read by character recognition from a photograph.
    Photo,
}

/// Why the machine is on the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Intake {
    /// `came in faulty`.
    Faulty,
    /// `works, please check`.
    Works,
    /// `unknown`, untested.
    Untested,
}

/// A place on the board: a position, optionally a pin of it, or a line by name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// Designator or line name as typed, upper case (`U7`, `RESET_N`).
    pub name: String,
    /// The pin, when one was given (`U7.40`, `U7 pin 40`, `CN6.C`); of the keyboard, the key.
    pub pin: Option<String>,
}

impl Place {
    /// The name of the keyboard, whatever a board calls it.
    pub const KEYBOARD: &str = "KEYBOARD";

    /// One key of the keyboard, as in `cleaned key Q`.
    pub fn of_key(key: String) -> Self {
        Self {
            name: Self::KEYBOARD.into(),
            pin: Some(key),
        }
    }

    /// The key, where the place is one.
    pub fn key(&self) -> Option<&str> {
        self.pin.as_deref().filter(|_| self.name == Self::KEYBOARD)
    }
}

/// A result: what was looked at and how it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What was looked at.
    pub subject: Subject,
    /// How it was.
    pub state: State,
    /// `3 of 20 loops`: failing loops and loops run.
    pub loops: Option<(u32, u32)>,
    /// `cold` or `warm`, when said.
    pub warmth: Option<Warmth>,
}

/// Whether a result was seen on a cold or a warm machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Warmth {
    /// Just switched on.
    Cold,
    /// After running for a while.
    Warm,
}

impl Statement {
    /// Whether `undo` passes over it: the number of the ticket, the time stamps, and what was struck. The board is struck like any
    /// other answer, for it may be the wrong one.
    pub fn lasts(&self) -> bool {
        matches!(self, Self::Ticket(_) | Self::At(_) | Self::Undo)
    }
}

/// What [`State::Seen`] says where a board was added between a chip and its socket.
pub const ADDED_BOARD: &str = "added board";

/// Name of the first bank in [`Subject::OtherMemory`].
pub const LOWER: &str = "lower";

/// What a finding is about.
#[derive(Debug, Clone, PartialEq)]
pub enum Subject {
    /// The whole test.
    Test,
    /// Main memory as a whole.
    Memory,
    /// One data bit of main memory, 0 = least significant.
    MemoryBit(u8),
    /// The memory chip in this position.
    MemorySocket(Place),
    /// One failing cell: `4000 wrote 55 read 5D`.
    MemoryCell {
        /// Address.
        address: u32,
        /// Byte written.
        wrote: u8,
        /// Byte read back.
        read: u8,
    },
    /// A range of addresses, both ends included.
    MemoryRange(u32, u32),
    /// A ROM by its word (`os`, `language`, `character`), by its position, or `all` for every ROM.
    Rom(String),
    /// Colour memory as a whole.
    ColourMemory,
    /// One data bit of the colour memory.
    ColourBit(u8),
    /// One memory among several: `upper` (a second bank of main memory) or `video`, as a whole or one data bit; [`LOWER`], the first
    /// bank, only as a whole (`memory` is all banks).
    OtherMemory(String, Option<u8>),
    /// A check that no other word is for, by its name in the map: `lamp.power`, `click`, or one of an own board.
    Own(String),
    /// A timer: adapter (1-based; `None` when not said), timer letter (`a`, `b`; `None` for both).
    Timer(Option<u8>, Option<char>),
    /// A time-of-day clock: adapter (1-based); `None` for all of them.
    Clock(Option<u8>),
    /// Interrupts of an adapter (1-based), `None` for all.
    Interrupt(Option<u8>),
    /// One key by its name.
    Key(String),
    /// All keys.
    AllKeys,
    /// A whole row or column of the matrix as the board map numbers them.
    KeyRow(u8),
    /// See [`Subject::KeyRow`].
    KeyColumn(u8),
    /// A port: `control 1`, `control 2`, `control` (both), `serial`, `user`, `cassette`, `cartridge`, or `all`.
    Port(String),
    /// One line of a control port (1 or 2): a direction or the button of the stick.
    Stick(u8, Direction),
    /// Sound as a whole.
    Sound,
    /// One voice, 1-based.
    Voice(u8),
    /// The filter of the sound chip.
    Filter,
    /// The paddle inputs of a control port.
    Paddles(Option<u8>),
    /// The picture.
    Picture,
    /// The start-up text: `ready prompt`, bytes free.
    StartText,
    /// Commands typed without seeing them: the machine runs behind a bad picture.
    BlindTyping,
    /// The part in a position, no more said (`U10 bad`): what it is only the board map knows.
    Part(Place),
    /// A supply rail by its name in the map (`+5V`, `+12V`, `9VAC`), or `all` for every rail.
    Rail(String),
    /// Ripple on a rail.
    Ripple(String),
    /// Resistance of a rail to ground, power off.
    Resistance(String),
    /// Ohms across the legs of a part, power off.
    Across(Place),
    /// Ohms from one leg to another, power off; boxed, for a sheet holds many statements and few of these.
    Along(Box<[Place; 2]>),
    /// Millivolts of a rail that is pulled down, at the supply pin of a part, held against those of others on the rail.
    Drop(Place),
    /// The supply by itself, unplugged from the board; rail named if said.
    Supply(Option<String>),
    /// A fuse by position.
    Fuse(Place),
    /// A level or signal at a pin or on a line.
    Level(Place),
    /// How warm a part runs.
    Heat(Place),
    /// What was seen on inspection at a place.
    Looks(Place),
    /// All keys that the run does not name.
    OtherKeys,
    /// Supply current, of a rail when one was named.
    Current(Option<String>),
    /// The value of a capacitor, measured.
    Capacitance(Place),
    /// The series resistance of a capacitor, measured.
    SeriesResistance(Place),
    /// A capacitor with all that was measured of it: `cap C88 100uF/16V: 71 uF, esr 2.1`.
    Capacitor(Place),
    /// The waveform of a voice, 1-based.
    Waveform(u8),
    /// The envelope of a voice, 1-based.
    Envelope(u8),
    /// The noise generator of the sound chip.
    NoiseSource,
    /// How loud all sound is.
    Loudness,
}

/// How the subject of a finding was.
#[derive(Debug, Clone, PartialEq)]
pub enum State {
    /// As it should be.
    Ok,
    /// Failed, no more said.
    Bad,
    /// Always low / too low.
    Low,
    /// Always high / too high.
    High,
    /// No signal, nothing there, no sound, no key, missing rail, open, blown. Of the picture: black or no signal,
    /// not said which.
    Dead,
    /// A key reported without being pressed.
    Stuck,
    /// A key that appears when the named other keys are pressed.
    Ghost(Vec<String>),
    /// A key that also presses these.
    Also(Vec<String>),
    /// A key that gives these instead of itself.
    Gives(Vec<String>),
    /// Keys that do nothing until the named ones are held.
    DeadUntil(Vec<String>),
    /// Keys that are stuck until the named ones are held.
    StuckUntil(Vec<String>),
    /// Keys that stop the machine when they are pressed.
    Upsets(Upset),
    /// A clock that does not advance.
    Stopped,
    /// Too slow.
    Slow,
    /// Too fast.
    Fast,
    /// `10.0 s in 12.0 s`: shown, real, in seconds.
    Rate {
        /// Seconds that the machine's clock showed.
        shown: f64,
        /// Seconds by the watch.
        real: f64,
    },
    /// `3.8 % fast`: how much a timer or clock is too fast, per cent; below 0 too slow.
    OffBy(f64),
    /// A clock that skips or repeats.
    Jumps,
    /// A clock that is now too slow, now too fast.
    Drifts,
    /// Wrong contents: checksum, garbage, wrong sound.
    Wrong,
    /// Noisy, distorted, humming, flickering; of a key: only when pressed hard, or now and then.
    Noisy,
    /// A signal that moves (logic probe: pulsing).
    Pulsing,
    /// Neither high nor low.
    Floating,
    /// Picture states.
    Picture(PictureState),
    /// A voltage in volts.
    Volts(f64),
    /// A resistance in ohms; `f64::INFINITY` for open.
    Ohms(f64),
    /// A frequency in hertz.
    Hertz(f64),
    /// A checksum or count in hex or decimal, as typed.
    Value(String),
    /// `38911 bytes free`.
    BytesFree(u32),
    /// `wrong characters: ! for space` as the two character codes (expected, seen).
    WrongCharacter(u8, u8),
    /// Colder than such a part runs.
    Cold,
    /// Hand-warm.
    Warm,
    /// Hot.
    Hot,
    /// Too hot to touch.
    TooHot,
    /// Shorted: no resistance between its ends, or to ground.
    Shorted,
    /// Visible damage or trace: bulged, leaking, burnt, corroded, cracked, reworked, modified, missing ...
    Seen(String),
    /// `17 more`: so many more of the same that were not typed.
    More(u32),
    /// A current in amperes.
    Amperes(f64),
    /// A temperature in degrees Celsius.
    Celsius(f64),
    /// A capacitance in farads, and what is printed on the part if that was typed.
    Farads(f64, Option<f64>),
    /// What was measured of a capacitor, with its print.
    Capacitor(Box<CapReading>),
    /// A tone in hertz, and the one that was asked for.
    Pitch {
        /// Hertz heard or counted.
        heard: f64,
        /// Hertz that it should be.
        expected: f64,
    },
    /// So many cents (hundredths of a semitone) too high, below 0 too low.
    Cents(f64),
    /// A tone that is too low, not said by how much.
    Flat,
    /// A tone that is too high, not said by how much.
    Sharp,
}

/// What becomes of a machine that ran until a key was pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Upset {
    /// It starts anew.
    Resets,
    /// It goes astray.
    Crashes,
    /// It stands still.
    Hangs,
}

impl Upset {
    /// As it is said of a key.
    pub fn words(self) -> &'static str {
        match self {
            Upset::Resets => "resets the machine",
            Upset::Crashes => "crashes the machine",
            Upset::Hangs => "hangs the machine",
        }
    }
}

/// A class of capacitors with limits of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CapClass {
    /// General purpose, 105 °C: the usual one.
    A,
    /// General purpose, 85 °C, low profile.
    B,
    /// Non-polar, 105 °C.
    C,
    /// Low leakage, 85 °C, case below 10 x 12.5 mm.
    D,
    /// No electrolytic: film or ceramic. No loss limits are known here.
    Film,
}

/// What is printed on a capacitor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marking {
    /// Farads.
    pub farads: f64,
    /// Rated volts.
    pub volts: Option<f64>,
    /// Letter of its tolerance.
    pub letter: Option<char>,
    /// Its class of limits, when it was told.
    pub class: Option<CapClass>,
}

/// What a line says of a capacitor.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CapReading {
    /// What is printed on it.
    pub marking: Option<Marking>,
    /// Farads measured.
    pub farads: Option<f64>,
    /// Series resistance measured, ohms.
    pub esr: Option<f64>,
    /// Voltage lost after a test pulse, per cent.
    pub loss: Option<f64>,
    /// Leakage current, amperes.
    pub leakage: Option<f64>,
    /// `bulged` or `leaking`.
    pub looks: Option<String>,
    /// It was called old.
    pub old: bool,
}

/// A line of a control port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Stick forward.
    Up,
    /// Stick back.
    Down,
    /// Stick to the left.
    Left,
    /// Stick to the right.
    Right,
    /// The button.
    Fire,
}

impl Direction {
    /// All of them.
    pub const ALL: [Direction; 5] = [
        Direction::Up,
        Direction::Down,
        Direction::Left,
        Direction::Right,
        Direction::Fire,
    ];

    /// The word on a sheet.
    pub fn word(self) -> &'static str {
        match self {
            Direction::Up => "up",
            Direction::Down => "down",
            Direction::Left => "left",
            Direction::Right => "right",
            Direction::Fire => "fire",
        }
    }
}

/// What the screen shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PictureState {
    /// The normal start screen or test screen.
    Normal,
    /// No signal: the monitor finds no sync.
    NoSignal,
    /// Black with sync present.
    Black,
    /// One colour, nothing else.
    OneColour,
    /// Garbage: random or regular pattern.
    Garbage,
    /// A picture with wrong or damaged characters.
    WrongCharacters,
    /// Rolls, tears, flickers.
    Unstable,
    /// No or wrong colours.
    WrongColours,
    /// Border and background but no text.
    NoText,
}

/// A test by hand that changes something on the board.
#[derive(Debug, Clone, PartialEq)]
pub struct HandsOn {
    /// What was done.
    pub action: Action,
    /// To which positions; empty for all of them. Units outside the board are `KEYBOARD`, `SUPPLY`, `CARTRIDGE`, `CABLE`.
    pub places: Vec<Place>,
    /// What it did.
    pub result: Effect,
}

/// The hands-on tests of the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// Swapped with a part known to be good.
    Swap,
    /// Replaced by a new or untested part.
    Replace,
    /// A good part pressed on top of the suspect's pins.
    Piggyback,
    /// A good part of two legs held across the suspect.
    Bridge,
    /// One leg soldered out of its hole, and in again after the look.
    Lift,
    /// Taken out of its socket.
    Pull,
    /// Pressed down, wiggled.
    Press,
    /// Taken out and put back.
    Reseat,
    /// Cooled with spray.
    Cool,
    /// Warmed.
    WarmUp,
    /// Contacts cleaned.
    Clean,
    /// Joints resoldered.
    Resolder,
    /// Tried in a tester or in another machine.
    TestedElsewhere,
    /// The part that was there before put in again.
    PutBack,
    /// A board that had been added between a chip and its socket taken out, and the chip put straight into the socket.
    Direct,
}

/// What a hands-on test did to the fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Effect {
    /// The fault is gone.
    Cured,
    /// Nothing changed.
    NoChange,
    /// The fault is different now, not gone.
    Changed,
    /// The fault went with the part to another position or machine.
    Moved,
    /// Worse.
    Worse,
    /// Tested elsewhere: good.
    TestedGood,
    /// Tested elsewhere: bad.
    TestedBad,
    /// Not said.
    Unknown,
}
