//! The concepts that words of the bench stand for, and sets of them.

macro_rules! concepts {
    ($($variant:ident = $name:literal),* $(,)?) => {
        /// What a word or phrase stands for. The names in the words file are the kebab-case forms.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[allow(missing_docs)] // every variant is described by its line in the words file
        pub enum Concept { $($variant),* }

        impl Concept {
            /// All concepts, in the order of the words file.
            pub const ALL: &[Concept] = &[$(Concept::$variant),*];

            /// The name in the words file.
            pub fn name(self) -> &'static str {
                match self { $(Concept::$variant => $name),* }
            }

            /// The concept with that name.
            pub fn from_name(name: &str) -> Option<Self> {
                match name { $($name => Some(Concept::$variant),)* _ => None }
            }
        }
    };
}

concepts! {
    Ticket = "ticket", Board = "board", Mains = "mains", Cartridge = "cartridge", From = "from", Photo = "photo",
    Typed = "typed", Fitted = "fitted", Empty = "empty", Missing = "missing", Socket = "socket", CameIn = "came-in",
    Faulty = "faulty", WorksCheck = "works-check", Untested = "untested", Complaint = "complaint", Note = "note",
    Run = "run", NewRun = "new-run", Test = "test", Rest = "rest", Memory = "memory", Bit = "bit", Address = "address",
    Rom = "rom", RomOs = "rom-os", RomLanguage = "rom-language", RomCharacter = "rom-character", Checksum = "checksum",
    ColourMemory = "colour-memory", ColourBit = "colour-bit", UpperMemory = "upper-memory", LowerMemory = "lower-memory",
    PowerLamp = "power-lamp", CapsLamp = "caps-lamp", KeyClick = "key-click",
    VideoMemory = "video-memory", Timer = "timer", Adapter = "adapter", Clock = "clock",
    Interrupt = "interrupt", Key = "key", Keyboard = "keyboard", Row = "row", Column = "column", Port = "port",
    AllPorts = "all-ports", ControlPort = "control-port", SerialPort = "serial-port", UserPort = "user-port",
    CassettePort = "cassette-port", CartridgePort = "cartridge-port", Sound = "sound", Voice = "voice",
    Filter = "filter", Paddle = "paddle", Picture = "picture", StartText = "start-text", BlindTyping = "blind-typing",
    BytesFree = "bytes-free", More = "more", Rail = "rail", Supply = "supply", OffBoard = "off-board", Fuse = "fuse",
    Ripple = "ripple", Resistance = "resistance", Unregulated = "unregulated", Pin = "pin", Line = "line",
    Joint = "joint", PinsOf = "pins-of", Good = "ok", Bad = "bad", Low = "low", High = "high", Dead = "dead",
    Stuck = "stuck", Ghost = "ghost", NoKeys = "no-keys", Stopped = "stopped", Slow = "slow", Fast = "fast",
    Wrong = "wrong", Noisy = "noisy", Pulsing = "pulsing", Floating = "floating", Shorted = "shorted", Open = "open",
    Blown = "blown", Hot = "hot", TooHot = "too-hot", Cold = "cold", Warm = "warm", WhenCold = "when-cold",
    WhenWarm = "when-warm", Loop = "loop", Of = "of", NoPicture = "no-picture", NoSignal = "no-signal",
    Black = "black", ColourWord = "colour-word", Blue = "blue", OneColour = "one-colour", Garbage = "garbage",
    WrongCharacters = "wrong-characters", Unstable = "unstable", NoColour = "no-colour", NoText = "no-text",
    Shows = "shows", InsteadOf = "instead-of", SpaceWord = "space-word", QuoteWord = "quote-word", Swap = "swap", Replace = "replace",
    Piggyback = "piggyback", Pull = "pull", Press = "press", Reseat = "reseat", Cool = "cool", HeatUp = "heat-up",
    Clean = "clean", Resolder = "resolder", Tester = "tester", Tested = "tested", KnownGood = "known-good",
    WithNew = "with-new", AllSocketed = "all-socketed", Cured = "cured", NoChange = "no-change", Changed = "changed",
    Moved = "moved", Worse = "worse", By = "by", NotReached = "not-reached", LookBulged = "look-bulged",
    LookLeaking = "look-leaking", LookBurnt = "look-burnt", LookCorroded = "look-corroded",
    LookCracked = "look-cracked", LookDry = "look-dry", LookReworked = "look-reworked",
    LookModified = "look-modified", LookBent = "look-bent", LookDirty = "look-dirty", LookLoose = "look-loose",
    LookReversed = "look-reversed", LookTorn = "look-torn", LookFine = "look-fine", KeyName = "key-name",
    Both = "both", Each = "each", First = "first", Second = "second", Third = "third", OneWord = "one-word",
    TwoWord = "two-word", ThreeWord = "three-word", Wrote = "wrote", ReadBack = "read-back", To = "to", And = "and",
    InTime = "in-time", SecondsShown = "seconds-shown", No = "no", Filler = "filler", Changer = "changer",
    Plain = "plain", LineName = "line-name", PartLetters = "part-letters", Cable = "cable", Arrow = "arrow", Plug = "plug",
    AsAbove = "as-above", InPlace = "in-place", Minutes = "minutes", Current = "current", Without = "without",
    PowerOff = "power-off", OrWord = "or-word", PerTest = "per-test", MemoryType = "memory-type", Upward = "upward",
    ZeroPage = "zero-page", StackPage = "stack-page", Forgets = "forgets", PictureTail = "picture-tail",
    Stripes = "stripes", BorderOnly = "border-only", FreeWord = "free-word", RestKeys = "rest-keys",
    PlainKey = "plain-key", Doubles = "doubles", OnlyHard = "only-hard", Gives = "gives", Silent = "silent",
    Pitch = "pitch", ToneStep = "tone-step", PlaysAs = "plays-as", Volume = "volume", NoiseOnly = "noise-only",
    ShouldBe = "should-be", AllOnes = "all-ones", StickPart = "stick-part", Loopback = "loopback",
    SerialLine = "serial-line", LevelTail = "level-tail", OthersSo = "others-so", Degrees = "degrees",
    MeasuredAs = "measured-as", Nominal = "nominal", SeriesResistance = "series-resistance", AfterThat = "after-that",
    Except = "except", SagsTo = "sags-to", PixelsApart = "pixels-apart",
    YesNo = "yes-no", RailPart = "rail-part",
    Percent = "percent", Jumps = "jumps", Drifts = "drifts", Comes = "comes", NeverComes = "never-comes",
    Cents = "cents", Flat = "flat", Sharp = "sharp", Waveform = "waveform", Envelope = "envelope",
    NoiseSource = "noise-source", Loudness = "loudness", Capacitor = "capacitor",
    AlsoPresses = "also-presses", ActTogether = "act-together",
    UntilHeld = "until-held", ContactOf = "contact-of",
    BoardName = "board-name", Neither = "neither", OthersWord = "others-word", Ran = "ran", NoFails = "no-fails",
    AtAll = "at-all", BelowThat = "below-that", AboveThat = "above-that", InIt = "in-it", ForAWhile = "for-a-while",
    DiesAgain = "dies-again", ComeAndGo = "come-and-go", Wave = "wave", FromSpeaker = "from-speaker",
    TapePart = "tape-part", GroundWord = "ground-word", NoVoltsOn = "no-volts-on", SupplyPin = "supply-pin",
    AlwaysOn = "always-on", Untouched = "untouched", ShouldHave = "should-have", WithAlcohol = "with-alcohol",
    AllThere = "all-there", AtLineEnd = "at-line-end",
    Moment = "moment", PhotoFile = "photo-file", Origin = "origin", FromShelf = "from-shelf", FromNew = "from-new",
    FromDonor = "from-donor", OldPart = "old-part", Undo = "undo", Skip = "skip", Closed = "closed",
    CuredProved = "cured-proved", CauseUnknown = "cause-unknown", UsedForParts = "used-for-parts",
    Reopened = "reopened", PutBack = "put-back", Proved = "proved", History = "history", AcrossPart = "across-part",
    Joined = "joined", Bridge = "bridge", LiftLeg = "lift-leg", DropAlong = "drop-along", Lowest = "lowest",
    NotLowest = "not-lowest", KeyResets = "key-resets", KeyCrashes = "key-crashes", KeyHangs = "key-hangs",
    TheMachine = "the-machine", AddedBoard = "added-board", StraightIn = "straight-in", StartsNow = "starts-now",
    TookAway = "took-away", Condition = "condition", Limiter = "limiter", Amount = "amount", Heading = "heading",
    ClauseEnd = "clause-end", Closing = "closing", ChangedPart = "changed-part",
}

impl Concept {
    /// Words that only say something in a rule of their own: a slip is never read as one of them.
    pub fn is_protected(self) -> bool {
        use Concept::*;
        matches!(
            self,
            Filler | Changer | Plain | Note | Complaint | LineName | PartLetters | KeyName | No
        ) || self as usize >= AsAbove as usize
    }
}

/// A set of concepts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Concepts([u64; 5]);

impl Concepts {
    /// The set of all in `list`.
    pub const fn of(list: &[Concept]) -> Self {
        let mut set = [0; 5];
        let mut i = 0;
        while i < list.len() {
            let bit = list[i] as usize;
            set[bit / 64] |= 1 << (bit % 64);
            i += 1;
        }
        Self(set)
    }

    /// Adds a concept.
    pub fn insert(&mut self, concept: Concept) {
        let bit = concept as usize;
        self.0[bit / 64] |= 1 << (bit % 64);
    }

    /// Adds all of another set.
    pub fn join(&mut self, other: &Concepts) {
        self.0
            .iter_mut()
            .zip(other.0)
            .for_each(|(mine, theirs)| *mine |= theirs);
    }

    /// Whether the sets share a concept.
    pub fn meets(&self, other: &Concepts) -> bool {
        self.0
            .iter()
            .zip(other.0)
            .any(|(mine, theirs)| mine & theirs != 0)
    }
}
