//! The map format as typed in YAML, before any checking.
//!
//! Lists of names are one string, blank-separated, in which `d0..7` (or `d7..0`) stands for `d0 d1 … d7`.
//! A key such as `port-a.0..7` stands for eight entries; `#` in its values is the running number.
//! A name may carry a weight: `U14.switch@0.3` (probability that losing it shows here, 1 when not given).

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// `faultmaps/parts/*.yaml`: one part family.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FamilyRaw {
    /// Identifier, kebab-case, type number in it where there is one: `adapter-6526`.
    pub family: String,
    /// One line: what it is.
    pub what: String,
    /// Class for common causes, field factors and reports: `memory`, `processor`, `interface-adapter` …
    pub class: Class,
    /// Types that belong to the family, with their conditions.
    #[serde(default)]
    pub types: BTreeMap<String, TypeRaw>,
    /// Signal names in pin order, `-` for a pin without function. Connectors: one name a pin.
    pub pins: String,
    /// Labels of the pins in the same order when they are not 1, 2, 3 … (edge connectors: `1..22 A B C …`).
    #[serde(default)]
    pub labels: Option<String>,
    /// What the part does.
    #[serde(default)]
    pub functions: BTreeMap<String, FunctionRaw>,
    /// How it fails. Shares are relative to each other.
    pub modes: BTreeMap<String, ModeRaw>,
    /// Failure-rate inputs.
    pub rate: RateRaw,
    /// Factor on the handbook rate where counted repairs disagree with it.
    #[serde(default)]
    pub field: Option<FieldRaw>,
    /// Normal warmth: `cold`, `warm` or `hot`.
    #[serde(default)]
    pub warmth: Option<Warmth>,
    /// Contacts of this connector fail singly: each pin is a suspect of its own.
    #[serde(default)]
    pub separate_contacts: bool,
    /// Cautions to print when this part is handled or measured.
    #[serde(default)]
    pub caution: Option<String>,
}

/// What kind of thing a part is.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Deserialize,
    Serialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Class {
    Processor,
    Video,
    Sound,
    InterfaceAdapter,
    Memory,
    StaticMemory,
    Rom,
    LogicArray,
    Logic,
    Driver,
    Timer,
    Clock,
    Regulator,
    Semiconductor,
    Fuse,
    Switch,
    Capacitor,
    Passive,
    Connector,
    Contact,
    Keyboard,
    Cable,
    Supply,
    Cartridge,
    Setting,
}

/// Normal warmth of a part in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Warmth {
    Cold,
    Warm,
    Hot,
}

/// One type number of a family.
#[derive(Debug, Clone, Default, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TypeRaw {
    /// Condition or difference, for a person.
    #[serde(default)]
    pub note: Option<String>,
    /// Supply pins that need another voltage than the board's: `vdd: 9.0`.
    #[serde(default)]
    pub supply: BTreeMap<String, f64>,
    /// Volts that a regulator makes; a place wants those of its own type.
    #[serde(default)]
    pub makes: Option<f64>,
    /// Capacitors that go with it: `filter capacitors 22 nF`.
    #[serde(default)]
    pub capacitors: Option<String>,
    /// Speed it must have, or has.
    #[serde(default)]
    pub speed: Option<String>,
    /// Heights that add up above the board, millimetres: `{low socket: 4.2, adapter board: 8}`.
    #[serde(default)]
    pub stack: BTreeMap<String, f64>,
    /// Where that is known from; `memory` when nowhere.
    #[serde(default)]
    pub source: Option<String>,
}

/// What a part or the board does, and what that takes. A function is lost when anything it needs is.
#[derive(Debug, Clone, Default, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FunctionRaw {
    /// One line for a learner.
    #[serde(default)]
    pub what: Option<String>,
    /// Pins, lines and functions without which this one is lost. Slow, fast, wrong and noisy pass on.
    #[serde(default)]
    pub needs: String,
    /// Pins or functions whose condition this one takes over as it is (stuck low stays stuck low).
    #[serde(default)]
    pub carries: String,
    /// Inputs of an inverter: as `carries`, with low and high exchanged.
    #[serde(default)]
    pub inverts: String,
    /// The unsteady input of a regulator: as `carries`, but what is too much of it does not pass, and of its ripple little.
    #[serde(default)]
    pub steadies: String,
    /// Supply pins or rails: a missing rail loses the function, a low or high one does so more rarely.
    #[serde(default)]
    pub power: String,
    /// Lines that nothing may hold: one that is stuck loses the function, one that nobody drives does not.
    #[serde(default)]
    pub free: String,
    /// Pins that this function drives. A line with just one driver is lost with it, a line with several when none of them moves it.
    #[serde(default)]
    pub drives: String,
}

/// One failure mode. At least one of the condition lists is given.
#[derive(Debug, Clone, Default, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ModeRaw {
    /// One line: what is wrong (`#` as in the key).
    pub what: String,
    /// Share of this mode among the failures of the family, in any unit; split evenly over a range key.
    pub share: f64,
    /// Functions that stop, pins that are open inside the part.
    #[serde(default)]
    pub loses: String,
    /// Pins that pull their line low; functions that read low.
    #[serde(default)]
    pub low: String,
    /// The same for high.
    #[serde(default)]
    pub high: String,
    /// Functions that work but give wrong results or contents.
    #[serde(default)]
    pub wrong: String,
    /// Functions or lines that run too slow.
    #[serde(default)]
    pub slow: String,
    /// Functions or lines that run too fast.
    #[serde(default)]
    pub fast: String,
    /// Functions that are noisy, weak or distorted; rails with ripple.
    #[serde(default)]
    pub noisy: String,
    /// Pins whose output holds its level until something more hangs on its line, such as a key that is pressed: nothing else shows it.
    #[serde(default)]
    pub gives_way: String,
    /// Probability that the mode shows in a run at all when it comes and goes.
    #[serde(default)]
    pub flaky: Option<f64>,
    /// Probability that an owner notices it (for 'came in faulty'); 0.8 when not given.
    #[serde(default)]
    pub notice: Option<f64>,
    /// How a part of two legs is from one to the other with this mode, or a transistor or a pole of a switch from leg to leg: a
    /// meter, or a good part held across it, tells.
    #[serde(default)]
    pub across: Option<Across>,
    /// What puts the mode right with the same part left in: cleaning, pushing it home, either.
    #[serde(default)]
    pub refit: Option<Refit>,
    /// The part is sound, but of this type of [`FamilyRaw::types`], which does not suit the place.
    #[serde(default)]
    pub of_type: Option<String>,
    /// Where the share is known from.
    #[serde(default)]
    pub source: Option<String>,
}

/// How a part that is not sound is from leg to leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Across {
    /// As if it were not there, or nearly so: broken, dried out.
    Open,
    /// As if the legs touched.
    Shorted,
}

/// What puts a part right that stays in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Refit {
    /// Cleaning: dull or dirty faces.
    Clean,
    /// Pushing it home, or bending its holder tighter: it was loose.
    Seat,
    /// Soldering: a joint or wire of the part.
    Solder,
    /// Cleaning or pushing home: who cleans it takes it out and puts it back.
    Either,
}

/// Failure-rate inputs: a handbook class with what its formula needs. Failures per million hours.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub enum RateRaw {
    /// MIL-HDBK-217F 5.1/5.2 microcircuit.
    Micro {
        /// Technology, which gives C1 (with size) and the activation energy.
        technology: Technology,
        /// Gates, transistors or bits.
        size: u32,
        /// Junction temperature, degrees Celsius (an assumption).
        tj: f64,
        /// Pins, when not those of the pin list.
        #[serde(default)]
        pins: Option<u32>,
    },
    /// MIL-HDBK-217F N2 10.1 aluminium electrolytic.
    Electrolytic {
        /// Microfarads.
        uf: f64,
        /// Voltage stress, 0..1.
        stress: f64,
        /// Ambient temperature, degrees Celsius.
        t: f64,
    },
    /// MIL-HDBK-217F 19.1 crystal.
    Crystal {
        /// Megahertz.
        mhz: f64,
    },
    /// A stated figure.
    Fixed {
        /// Failures per million hours.
        per_million_hours: f64,
        /// Handbook section and edition, or `guess`.
        source: String,
    },
}

/// Technologies of the handbook's microcircuit model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Technology {
    Ttl,
    Lsttl,
    MosDigital,
    MosProcessor,
    Linear,
    BipolarPla,
    MosDram,
    MosSram,
    MosRom,
    MosProm,
}

/// Factor on the handbook rate from counted repairs.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FieldRaw {
    /// Multiplies the handbook rate.
    pub factor: f64,
    /// Counts, or `common practice, no source`.
    pub source: String,
}

/// `faultmaps/boards/*.yaml`: one board.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BoardRaw {
    /// Identifier.
    pub board: String,
    /// One line: what it is.
    pub what: String,
    /// Type numbers that tell it from others, as printed on the chips.
    #[serde(default)]
    pub known_by: String,
    /// Where the wiring is from, and what in this file is from memory.
    pub sources: Vec<String>,
    /// Mains frequencies it is made for.
    #[serde(default)]
    pub mains: Vec<f64>,
    /// Whether the places in `at` are those of the real board.
    #[serde(default)]
    pub layout: Option<LayoutRaw>,
    /// Positions.
    pub parts: BTreeMap<String, PartRaw>,
    /// Supply rails by the name a technician would use.
    pub rails: BTreeMap<String, RailRaw>,
    /// Lines worth measuring, with what to expect there.
    #[serde(default)]
    pub lines: BTreeMap<String, LineRaw>,
    /// What the board must do, beyond the functions of its parts.
    pub functions: BTreeMap<String, FunctionRaw>,
    /// What a test run or the eye can see.
    pub checks: BTreeMap<String, CheckRaw>,
    /// The key matrix.
    #[serde(default)]
    pub keyboard: Option<KeyboardRaw>,
    /// Main memory: what sits in which bit.
    #[serde(default)]
    pub memory: Option<MemoryRaw>,
    /// Free height where the keyboard lies over the board.
    #[serde(default)]
    pub clearance: Option<ClearanceRaw>,
    /// Words of the sheet for what this board has: `timer 1` → adapter position and so on.
    #[serde(default)]
    pub words: BTreeMap<String, String>,
    /// Lines, functions and positions that nothing uses, with the reason why that is right (`A8..10` for several).
    /// `board check` stays silent about them.
    #[serde(default)]
    pub unused_because: BTreeMap<String, String>,
}

/// What the places of a board's parts are worth.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LayoutRaw {
    /// As on the board, or arranged for the eye.
    pub kind: LayoutKind,
    /// Where the places are from; said under the drawing.
    pub remark: String,
}

/// Whether a drawing shows where things are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LayoutKind {
    /// Parts are where the drawing shows them.
    Real,
    /// Parts that work together stand together; the board looks otherwise.
    Schematic,
}

/// One position of the board (or a thing outside it that can be at fault: supply, cable, cartridge).
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartRaw {
    /// Part family.
    pub family: String,
    /// Type number normally fitted.
    #[serde(default, rename = "type")]
    pub part_type: Option<String>,
    /// What it does here, one line.
    pub role: String,
    /// In a socket (contacts are suspects, a swap is quick) or soldered (joints are).
    #[serde(default)]
    pub socket: bool,
    /// Whether the machine needs it.
    #[serde(default = "yes")]
    pub required: bool,
    /// Not on the board: supply, cable, cartridge, setting.
    #[serde(default)]
    pub outside: bool,
    /// Lines in pin order, `-` where nothing is connected.
    #[serde(default)]
    pub pins: String,
    /// Lines by pin label, instead of `pins`.
    #[serde(default)]
    pub wired: BTreeMap<String, String>,
    /// For two-terminal parts in a path: `1>2` or `2>1`, the way the signal or supply goes. `a` is the first.
    #[serde(default)]
    pub flow: Option<String>,
    /// Place of its middle on the drawing, x to the right and y down, in any unit (one for the whole board).
    #[serde(default)]
    pub at: Option<(f64, f64)>,
    /// Lies on its side in the drawing: pin 1 at the lower left instead of the upper left.
    #[serde(default)]
    pub turned: bool,
    /// Width and height in the drawing before turning, in the unit of `at`; worked out from the pins when not given.
    #[serde(default)]
    pub size: Option<(f64, f64)>,
    /// Value, for passives: `10uF/25V`.
    #[serde(default)]
    pub value: Option<String>,
    /// Factor on the prior in this position, with its source.
    #[serde(default)]
    pub field: Option<FieldRaw>,
}

fn yes() -> bool {
    true
}

/// A supply rail.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RailRaw {
    /// The line.
    pub line: String,
    /// Nominal volts (negative for a negative rail); RMS for an alternating one.
    pub nominal: f64,
    /// Lowest good value, loaded (by magnitude).
    pub low: f64,
    /// Highest good value, loaded.
    pub high: f64,
    /// Highest value unloaded or of an unregulated rail that is still no fault.
    #[serde(default)]
    pub unloaded: Option<f64>,
    /// At or above this the board must not stay powered.
    pub stop: f64,
    /// Alternating.
    #[serde(default)]
    pub ac: bool,
    /// Where to measure: pins, best first.
    pub measure: String,
    /// The pin for the meter's other lead where that is not ground: the other leg of an alternating supply, whose line
    /// counts as well (a loop open in either leg reads nothing).
    #[serde(default)]
    pub against: Option<String>,
    /// Order in which rails are measured, lowest first.
    pub order: u32,
    /// Memory needs this rail while others are present (missing = stop).
    #[serde(default)]
    pub guards_memory: bool,
    /// A rail that takes this one along when it is pulled down: one converter makes both.
    #[serde(default)]
    pub falls_with: Option<String>,
    /// The supply gives it at its own plug: it can be measured there, unplugged. The others are made on the board.
    #[serde(default)]
    pub at_plug: bool,
    /// Where the limits are from.
    pub source: String,
}

/// What to expect on a line.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineRaw {
    /// State that a logic probe shows when all is well.
    pub expect: Expect,
    /// Hertz, where a frequency is expected.
    #[serde(default)]
    pub hz: Option<f64>,
    /// One line for a person.
    pub what: String,
    /// Best pins to measure at, best first; any pin of the line when not given.
    #[serde(default)]
    pub at: String,
    /// Caution to print.
    #[serde(default)]
    pub caution: Option<String>,
    /// Functions without which the signal stands still although nothing is wrong with the line: key columns are
    /// scanned by a program that runs.
    #[serde(default)]
    pub r#while: String,
}

/// What a logic probe shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Expect {
    Low,
    High,
    Pulsing,
}

/// A check: what reads which functions.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckRaw {
    /// Functions, lines or pins whose trouble this check shows; weights as everywhere.
    pub reads: String,
    /// Part of the test run (counted in by 'rest fine'); otherwise seen by eye or hand.
    #[serde(default)]
    pub test: bool,
    /// How to say it: `data bit # of main memory`.
    pub what: String,
    /// Minutes to run or look, when it is proposed as a next step.
    #[serde(default)]
    pub minutes: Option<f64>,
}

/// The key matrix.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KeyboardRaw {
    /// The part that is the keyboard unit (outside the board).
    pub unit: String,
    /// The connector on the board, or several, the first that has a line counts.
    pub connector: String,
    /// Column lines in order.
    pub columns: String,
    /// Row lines in order.
    pub rows: String,
    /// Function that drives column `#`.
    pub drives: String,
    /// Function that reads row `#`.
    pub reads: String,
    /// Key names by column, then row; `-` where there is no key.
    pub matrix: Vec<Vec<String>>,
    /// Keys outside the matrix: name → function.
    #[serde(default)]
    pub outside: BTreeMap<String, String>,
    /// Other names of keys: `DEL: INST/DEL`.
    #[serde(default)]
    pub aliases: BTreeMap<String, String>,
}

/// Free height above the board under the keyboard.
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClearanceRaw {
    /// Millimetres between the board and the underside of the keyboard.
    pub mm: f64,
    /// Positions that lie under the keyboard.
    pub under: String,
    /// Where it is known from.
    pub source: String,
}

/// Main memory as it is wired: its first (mostly only) bank, and further ones.
///
/// The checks `memory.bit.N`, `memory.address.K`, `memory.strobe.ras`, `memory.strobe.cas`, `memory.write`, `memory.refresh`
/// belong to a bank without a name; those of a bank `upper` are `upper.bit.N`, `upper.address.K` and so on. Strobes, write and
/// refresh say what the chips share: no test names them, but lists of failing cells point at them (`observe::memory`).
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MemoryRaw {
    /// Positions in order of data bit 0 upwards (x1 chips), or of nibbles (x4).
    pub bits: String,
    /// Bits a chip gives: 1 or 4.
    #[serde(default = "one")]
    pub width: u8,
    /// First and last address tested.
    pub from: u32,
    /// See `from`.
    pub to: u32,
    /// Address line k of the chips carries A(k) and A(k + column); half of the address bits when left out. Address bits
    /// beyond twice that have a line each.
    #[serde(default)]
    pub column: Option<u32>,
    /// Where that rule does not hold: the address bits on each line, row/column, in order of the `address` checks:
    /// `A0/A8 A1/A9`; `-` for none.
    #[serde(default)]
    pub lines: String,
    /// Further banks by name.
    #[serde(default)]
    pub others: BTreeMap<String, BankRaw>,
}

/// A further bank of main memory; fields as in [`MemoryRaw`].
#[derive(Debug, Clone, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BankRaw {
    /// Positions in order of data bit 0 upwards.
    pub bits: String,
    /// Bits a chip gives.
    #[serde(default = "one")]
    pub width: u8,
    /// First address.
    pub from: u32,
    /// Last address.
    pub to: u32,
    /// Step from row to column address bits.
    #[serde(default)]
    pub column: Option<u32>,
    /// Address bits on each multiplexed line.
    #[serde(default)]
    pub lines: String,
}

fn one() -> u8 {
    1
}

/// `faultmaps/cartridges/*.yaml`: how one test cartridge words its results.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CartridgeRaw {
    /// Identifier.
    pub cartridge: String,
    /// One line.
    pub what: String,
    /// Boards it runs on.
    pub boards: Vec<String>,
    /// Every failure is printed: what is not mentioned passed.
    #[serde(default)]
    pub prints_all_failures: bool,
    /// Stages in order.
    #[serde(default)]
    pub stages: Vec<StageRaw>,
    /// Line of the cartridge → line of a run sheet (`{}` stands for what the cartridge prints there).
    #[serde(default)]
    pub lines: BTreeMap<String, String>,
}

/// A stage of a test cartridge.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StageRaw {
    /// Name of the stage.
    pub stage: String,
    /// Checks of the board map that it runs.
    pub checks: String,
    /// Stops the whole test at the first failure.
    #[serde(default)]
    pub stops_at_failure: bool,
}

/// Whether a line is ground, by its name: `GND`, `GND_AUDIO`, `AGND`.
pub fn is_ground(line: &str) -> bool {
    line.to_ascii_uppercase().contains("GND")
}
