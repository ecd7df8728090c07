//! Run sheets and a board model to readings with likelihoods: what each line says about which fault.
//!
//! A reading about the board becomes a check of the network with its causes; one about a single unit (a chip tried in a
//! tester, a bulged capacitor) a likelihood of that unit; a swap tells which causes were absent when the fault was still
//! (or no longer) there.

mod again;
pub mod aspect;
pub mod board;
pub mod caps;
pub mod clocks;
pub mod exchange;
pub mod facts;
mod hands;
pub mod keys;
mod leg;
mod levels;
mod measured;
pub mod memory;
pub mod odds;
pub mod ohms;
pub mod photo;
mod profile;
mod provisional;
mod rerun;
mod results;
pub mod sense;
pub mod shorts;
mod shown;
pub mod sound;
pub mod spread;
pub mod startup;
mod still;
mod unpowered;
pub mod valued;

use crate::diag::{Diag, Severity, code};
use crate::faultmap::model::{BoardModel, CheckDef, KINDS, ModeId, Read};
use crate::infer::network::Outcome;
use crate::sheet::{Finding, Line, Place, RunSheet, State, Statement};
use crate::source::Span;
pub use aspect::Aspect;
pub use facts::Facts;
use foldhash::{HashSet, HashSetExt};
pub use hands::holds;
pub use levels::{level_effects, stops_all};
pub use results::SHOWS_NOTHING;
pub use shown::{Effects, noticed};
use std::collections::BTreeMap;

/// One reading with its place.
#[derive(Debug, Clone)]
pub struct Reading {
    /// Which sheet (0-based).
    pub sheet: usize,
    /// Which line of it (from 1); 0 for what follows from the sheet as a whole.
    pub line: usize,
    /// What it says, in our words.
    pub text: String,
    /// What it says to the ranking.
    pub evidence: Evidence,
}

/// What a reading says to the ranking.
#[derive(Debug, Clone)]
pub enum Evidence {
    /// A check of the board.
    Check(CheckReading),
    /// About one unit alone: likelihoods given that it is fine, and given that it is at fault.
    Unit {
        /// Index of the unit.
        unit: usize,
        /// P(reading | fine).
        fine: f64,
        /// P(reading | at fault).
        faulty: f64,
    },
    /// About some modes of one unit: more is known than that it is at fault. Only a part that takes the current gets hot on a rail
    /// that reads low; only one that is open is made up for by a good one held across it.
    Modes {
        /// Index of the unit.
        unit: usize,
        /// The modes.
        modes: Vec<ModeId>,
        /// P(reading | none of them), whatever else may be wrong with it.
        without: f64,
        /// P(reading | one of them).
        with: f64,
    },
    /// After these units were renewed or refitted, all that had failed before failed still, or no longer.
    Remedy {
        /// What was done to which.
        units: Vec<Redone>,
        /// Whether the failing checks pass now; `None` when that is not said, and the next run tells.
        cured: Option<bool>,
    },
    /// The parts that were there before are in again.
    PutBack {
        /// Units that are parts.
        parts: Vec<usize>,
        /// Contacts and joints refitted on the way, with the probability that the fault of one is still there.
        refitted: Vec<(usize, f64)>,
    },
    /// Parts were taken to other places, and the fault went along: one of them has it.
    Moved {
        /// That it went along: a reading in which each of these parts shows.
        went: CheckReading,
        /// Two parts that sit in each other's places from now on.
        exchanged: Option<(usize, usize)>,
        /// Contacts refitted on the way, with the probability that the fault of one is still there.
        refitted: Vec<(usize, f64)>,
    },
}

/// A unit that a remedy dealt with.
#[derive(Debug, Clone, PartialEq)]
pub struct Redone {
    /// Index of the unit.
    pub unit: usize,
    /// What became of it.
    pub became: Became,
}

/// What a remedy makes of a unit.
#[derive(Debug, Clone, PartialEq)]
pub enum Became {
    /// Another part, which is bad itself with this probability.
    Renewed(f64),
    /// The same, cleaned, pushed home or made anew: a fault that it had is still there with this probability.
    Refitted {
        /// P(the fault is still there).
        left: f64,
        /// The modes of which that holds, where it does not hold of all: cleaning mends no cracked track.
        only: Option<Vec<ModeId>>,
    },
}

/// A check with an outcome.
#[derive(Debug, Clone)]
pub struct CheckReading {
    /// Identifier of the check: `memory.bit.3`, `line.RESET_N`.
    pub check: String,
    /// What was seen.
    pub outcome: Outcome,
    /// The run it belongs to.
    pub run: usize,
    /// It tells how many loops failed; a single result is good or bad.
    pub looped: bool,
    /// Probability that it reads as a failure though nothing acts on it.
    pub leak: f64,
    /// How surely each mode shows in it.
    pub effects: Effects,
}

/// All that the sheets of one machine say.
#[derive(Debug, Clone)]
pub struct Observed {
    /// Readings in order.
    pub readings: Vec<Reading>,
    /// What is fitted, empty, how it came in.
    pub facts: Facts,
    /// What could not be used, or is doubtful, with the sheet it is about.
    pub diags: Vec<(usize, Diag)>,
    /// Number of runs.
    pub runs: usize,
    /// Set when the board must not stay powered.
    pub stop: Option<Stop>,
    /// Why it had to be switched off, each time; what stood on that rail saw it, whatever became of the rail.
    pub stops: Vec<String>,
    /// What the supply gave by itself since it was last changed, by rail: whether that was good.
    pub supply: BTreeMap<String, bool>,
    /// A test evidently ran: the supply is good enough for that.
    pub test_ran: bool,
    /// Checks that have an outcome in some run, by identifier.
    pub read: HashSet<String>,
    /// Where each line was probed, in the last run in which it was.
    pub probed: BTreeMap<String, (usize, Vec<Place>)>,
    /// What the readings look like, and what would tell more.
    pub hints: Vec<Hint>,
    /// The largest share of result lines that were not understood in a run that says 'rest fine': it counts so much less.
    pub rest_fine_lost: f64,
}

/// A remark on readings: what they look like, or which further test would tell apart what could be behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct Hint {
    /// Which sheet.
    pub sheet: usize,
    /// Which line of it.
    pub line: usize,
    /// What to say.
    pub text: String,
    /// Test pattern that would tell more: `address-low`, `address-high`, `march`, `constant-00`, `constant-FF`,
    /// `checkerboard`, `pause`.
    pub pattern: Option<String>,
}

/// Why the board must not stay powered.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// What was read.
    pub reason: String,
    /// What to do.
    pub remedy: String,
    /// The rail; a later reading of it within its limits ends the stop.
    pub rail: String,
    /// Another supply is there since: what it gives by itself ends the stop as well.
    pub other_supply: bool,
}

/// The false-fail rate of a reading by how it reached us.
#[derive(Debug, Clone, Copy)]
pub struct Trust {
    /// P(reads as failed | nothing wrong).
    pub false_fail: f64,
    /// P(reads as good | the fault shows).
    pub missed: f64,
}

/// Typed from a screen by a person. A failure typed where there was none is a rare slip, and a failing part that the map
/// does not know is as rare (guess: one in ten thousand results); a failure overlooked is commoner.
pub const TYPED: Trust = Trust {
    false_fail: 0.0001,
    missed: 0.01,
};
/// Transcribed from a photograph (guess: several times as many).
pub const PHOTO: Trust = Trust {
    false_fail: 0.001,
    missed: 0.02,
};
/// Measured by hand with a probe on a pin among many (guess: wrong pin, slipped probe, polarity).
pub const MEASURED: Trust = Trust {
    false_fail: 0.005,
    missed: 0.03,
};

/// Collects readings while walking through the lines.
pub(crate) struct Observer<'m> {
    pub(crate) model: &'m BoardModel,
    pub(crate) out: Observed,
    pub(crate) run: usize,
    pub(crate) sheet: usize,
    pub(crate) line: usize,
    pub(crate) span: Span,
    pub(crate) trust: Trust,
    rest_fine: Vec<(usize, usize, usize)>,
    /// Lines of this run with results, and lines that were not understood.
    lines_read: f64,
    lines_unread: f64,
    not_reached: HashSet<String>,
    /// Checks that have an outcome in this run, by identifier.
    here: HashSet<String>,
    /// An earlier run mentioned some.
    mentioned: bool,
    /// Cells and ranges of memory that this run lists.
    pub(crate) memory: memory::Typed,
    /// The finding being read tells how many loops failed.
    pub(crate) looped: bool,
    /// What this run says of single keys: check, what, and place.
    keys_said: Vec<(String, keys::Said, (usize, usize))>,
    /// The key matrix of the board, and what follows from it.
    known: std::sync::Arc<keys::Known>,
    /// The profile of the cartridge that the sheet names.
    profile: Option<std::sync::Arc<crate::faultmap::raw::CartridgeRaw>>,
    /// P(the finding being read is a misreading of another), off a photograph.
    misread: f64,
    /// The sheet is off a photograph; whether several recognitions of it agreed.
    photo: Option<bool>,
    /// Off a photograph: the line being read may say something else.
    doubtful: bool,
    /// 'other keys ok' of this run: sheet, line and whether they work.
    other_keys: Vec<(usize, usize, State)>,
    /// A sound chip of a type that the map does not know is fitted: it may be a substitute that starts slowly.
    pub(crate) substitute: bool,
    /// Wrong characters of this run's start-up text.
    characters: Vec<startup::Wrong>,
    scratch: Vec<f64>,
    shown: std::sync::Arc<shown::Shown>,
    /// What counts provisionally.
    doubts: provisional::Doubts,
    /// Where it was first said in this run that nothing came at all: no sound, no key.
    nothing_came: Option<(usize, usize)>,
    /// Parts of this run that were felt for heat.
    felt: Vec<shorts::Felt>,
    /// Positions at which something was done, with sheet and line.
    handled: Vec<((usize, usize), usize)>,
    /// How each line was last seen that is not as it should be, with the run.
    stands: BTreeMap<String, (usize, Aspect)>,
    /// Rails that are as good as missing or too low in this run, and where that was typed.
    gone: BTreeMap<String, (unpowered::Gone, (usize, Span))>,
}

/// Turns the sheets of one machine, its runs in order, into readings.
pub fn observe(model: &BoardModel, sheets: &[RunSheet]) -> Observed {
    let mut o = Observer {
        model,
        out: Observed {
            readings: Vec::new(),
            facts: facts::gather(model, sheets),
            diags: Vec::new(),
            runs: 0,
            stop: None,
            stops: Vec::new(),
            supply: BTreeMap::new(),
            test_ran: false,
            read: HashSet::new(),
            probed: BTreeMap::new(),
            rest_fine_lost: 0.0,
            hints: Vec::new(),
        },
        run: 0,
        sheet: 0,
        line: 0,
        span: Span::default(),
        trust: TYPED,
        rest_fine: Vec::new(),
        lines_read: 0.0,
        lines_unread: 0.0,
        not_reached: HashSet::new(),
        here: HashSet::new(),
        mentioned: false,
        memory: memory::Typed::default(),
        looped: false,
        keys_said: Vec::new(),
        known: keys::Known::of(model),
        profile: None,
        photo: None,
        doubtful: false,
        misread: 0.0,
        other_keys: Vec::new(),
        substitute: false,
        characters: Vec::new(),
        scratch: Vec::new(),
        shown: model.memo.of(),
        doubts: provisional::Doubts::default(),
        felt: Vec::new(),
        gone: BTreeMap::new(),
        handled: Vec::new(),
        stands: BTreeMap::new(),
        nothing_came: None,
    };
    o.out.diags = std::mem::take(&mut o.out.facts.diags);
    for (i, sheet) in sheets.iter().enumerate() {
        if i > 0 {
            o.next_run();
        }
        o.sheet = i;
        // Where recognitions agree, only what each value may be misread for is left to doubt.
        let agreed = photo::agreed(sheet);
        o.trust = if facts::from_photo(sheet) && !agreed {
            PHOTO
        } else {
            TYPED
        };
        o.photo = facts::from_photo(sheet).then_some(agreed);
        o.profile = sheet
            .profile
            .clone()
            .filter(|p| p.boards.contains(&model.board));
        for line in &sheet.lines {
            o.read_line(line);
        }
    }
    o.next_run();
    o.out.runs = o.run;
    // Dead keys and lists of cells are summed up when their run ends; a remedy must find them where they were typed.
    o.out.readings.sort_by_key(|r| (r.sheet, r.line));
    o.runs_hang_together();
    o.doubts.weaken(&mut o.out.readings);
    exchange::settle(model, sheets, &mut o.out);
    o.out
}

impl Observer<'_> {
    fn read_line(&mut self, line: &Line) {
        self.line = line.number;
        self.doubtful = !line.alternatives.is_empty();
        if let Some(first) = &line.provisional {
            self.provisional(first, line.span);
        }
        if line.not_understood.is_some() {
            let lost = self.lost(line);
            self.lines_unread += lost;
            self.lines_read += 1.0 - lost;
        } else if (line.statements.iter()).any(|s| matches!(s.value, Statement::Finding(_))) {
            self.lines_read += 1.0;
        }
        for statement in &line.statements {
            self.span = statement.span;
            match &statement.value {
                Statement::Finding(f) => self.trusted(f),
                Statement::HandsOn(h) => self.hands_on(h),
                Statement::RestFine => self.rest_fine.push((self.sheet, self.line, self.run)),
                Statement::NotReached(subjects) => {
                    for s in subjects {
                        let ids = self.checks_of(s);
                        self.not_reached.extend(ids);
                    }
                }
                // 'run 1' at the top opens nothing new.
                Statement::NewRun if self.nothing_read_yet() => {}
                Statement::NewRun => self.next_run(),
                Statement::Intake(intake) => self.intake(*intake),
                Statement::Fitted { place, part } => {
                    self.filled(place);
                    self.fitted(place, part);
                }
                _ => {}
            }
        }
    }

    /// A finding with the trust that it earns; one that cannot be is asked about instead.
    fn trusted(&mut self, finding: &Finding) {
        if let Some(what) = sense::question(self.model, finding) {
            // Asked about, but on the safe side all the same: if it is true the board must not stay powered.
            self.stop_if_past(finding);
            let help = "type it again if that was read right; a decimal point may be lost. Switch off if it is true";
            return self.warn(code::NO_SENSE, format!("can that be? {what}"), help.into());
        }
        let trust = self.trust;
        if let Some(agreed) = self.photo {
            let read = match (agreed, self.doubtful) {
                (false, _) => photo::Read::Alone,
                (true, true) => photo::Read::Most,
                (true, false) => photo::Read::Agreed,
            };
            self.misread = photo::misread(finding, read);
            self.trust = photo::trust(trust, finding, self.misread);
        }
        self.finding(finding);
        (self.trust, self.misread) = (trust, 0.0);
    }

    /// A remark on the line being read, unless it was made before.
    fn hint_once(&mut self, text: String) {
        if self.out.hints.iter().all(|h| h.text != text) {
            let (sheet, line) = (self.sheet, self.line);
            self.out.hints.push(Hint {
                sheet,
                line,
                text,
                pattern: None,
            });
        }
    }

    fn nothing_read_yet(&self) -> bool {
        !self.mentioned
            && self.here.is_empty()
            && self.out.read.is_empty()
            && self.memory.is_empty()
            && self.keys_said.is_empty()
            && self.characters.is_empty()
    }

    /// Closes a run: 'rest fine' speaks of every check of the test that the run did not mention.
    fn next_run(&mut self) {
        let keep = (self.sheet, self.line);
        self.nothing_came();
        self.memory_lists(self.run);
        self.wrong_characters();
        self.keys();
        self.rest_of_keys();
        self.felt_with_a_rail_low();
        self.levels_without_supply();
        self.standing_still();
        if let Some(profile) = self.profile.clone() {
            let fine = !self.rest_fine.is_empty();
            self.by_profile(&profile, self.run, fine);
        }
        let lost = self.lost_share();
        for (sheet, line, run) in std::mem::take(&mut self.rest_fine) {
            (self.sheet, self.line) = (sheet, line);
            let trust = self.trust;
            self.trust.missed = trust.missed.max(lost);
            self.out.rest_fine_lost = self.out.rest_fine_lost.max(lost);
            self.rest_is_fine();
            self.trust = trust;
            self.test_ran(run);
        }
        (self.sheet, self.line) = keep;
        self.not_reached.clear();
        self.mentioned |= !self.here.is_empty();
        self.here.clear();
        (self.lines_read, self.lines_unread) = (0.0, 0.0);
        self.run += 1;
    }

    /// Every check of the test that the run did not mention passed.
    fn rest_is_fine(&mut self) {
        let model = self.model;
        let kept = shown::Rest::of(model, self.trust.missed);
        let open: Vec<(usize, &CheckDef)> = (model.checks.iter().enumerate())
            .filter(|(_, c)| c.test && !self.here.contains(&c.id))
            .filter(|(_, c)| !self.not_reached.contains(&c.id))
            .filter(|(_, c)| !self.behind_bad_bits(&c.id))
            .collect();
        self.out.readings.reserve(open.len());
        for (at, check) in open {
            if self.ruled_out(&check.reads) {
                continue;
            }
            let (id, reads, aspect) = (&check.id, &check.reads, whole(&check.id));
            let effects = kept.get(at, || self.shown(id, reads, aspect, Outcome::Pass));
            self.reading(id, Outcome::Pass, "rest fine".into(), effects);
        }
    }

    /// Whether a check is of what all chips of a bank share, and all bits of that bank fail: what they share is then most probably
    /// what is wrong, and the lines of a bank other than the first have no name on a sheet, so nobody calls them fine.
    fn behind_bad_bits(&self, check: &str) -> bool {
        let address = check.split_once(".address.").map(|(bank, _)| bank);
        let strobe = || check.split_once('.').filter(|_| memory::shared(check));
        let Some(bank) = address.or_else(|| strobe().map(|(bank, _)| bank)) else {
            return false;
        };
        let bits = format!("{bank}.bit.");
        let failed = |id: &str| {
            self.out.readings.iter().any(|r| match &r.evidence {
                Evidence::Check(c) => {
                    c.run == self.run && c.outcome != Outcome::Pass && c.check == id
                }
                _ => false,
            })
        };
        let mut of_bank = self.model.checks.iter().filter(|c| c.id.starts_with(&bits));
        bank != "memory" && of_bank.all(|c| failed(&c.id))
    }

    /// P(what failed was typed on a line that was not understood): the share of such lines among those with results. 'Rest
    /// fine' then says that much less of everything: the rest that was meant is not the rest that was read.
    fn lost_share(&self) -> f64 {
        match self.lines_unread {
            0.0 => 0.0,
            lost => lost / (lost + self.lines_read),
        }
    }

    /// Whether an empty position makes a check fail for certain: 'rest fine' cannot mean it.
    fn ruled_out(&mut self, reads: &[Read]) -> bool {
        let facts = &self.out.facts;
        if facts.came_whole() {
            return false;
        }
        let (sheet, line) = (self.sheet, self.line);
        let touches = reads.iter().flat_map(|r| {
            let node = &self.model.nodes[r.node as usize];
            node.touches.iter().map(move |t| (t, r.weight))
        });
        touches
            .filter(|(t, w)| t.strength * w >= 0.99)
            .any(|(t, _)| {
                let mode = &self.model.modes[t.mode as usize];
                let position = self.model.units[mode.unit as usize].position;
                let empty = facts.empty_at(position, sheet, line)
                    || facts.perhaps_empty.contains_key(&position);
                mode.missing && empty
            })
    }

    /// A result of the test run means that the machine ran it and showed it.
    pub(crate) fn test_ran(&mut self, run: usize) {
        // That it is safe to power the board does not follow from what is uncertain.
        if self.doubts.is_of(self.sheet, self.line) {
            return;
        }
        self.out.test_ran = true;
        debug_assert_eq!(run, self.run, "results are of the run that is being read");
        if self.here.contains("report") {
            return;
        }
        if let Some(node) = self.model.node("report") {
            let reads = [Read { node, weight: 1.0 }];
            self.check(
                "report",
                &reads,
                Aspect::Trouble,
                Outcome::Pass,
                "the test ran and showed results".into(),
            );
        }
    }

    /// Adds a reading of a check that reads these nodes.
    pub(crate) fn check(
        &mut self,
        id: &str,
        reads: &[Read],
        aspect: Aspect,
        outcome: Outcome,
        text: String,
    ) {
        let effects = self.shown(id, reads, aspect, outcome);
        self.reading(id, outcome, text, effects);
    }

    /// How surely each mode shows in a reading of a check that reads these nodes.
    fn shown(&mut self, id: &str, reads: &[Read], aspect: Aspect, outcome: Outcome) -> Effects {
        let (pass, missed) = (outcome == Outcome::Pass, self.trust.missed);
        let typed = missed.to_bits() == TYPED.missed.to_bits();
        let shown = std::sync::Arc::clone(&self.shown);
        let mut work_out = || {
            // What is kept as typed is not kept a second time.
            let mut effects = match typed {
                true => {
                    let mut plain = effects(self.model, reads, aspect, &mut self.scratch);
                    shown::notice(self.model, &mut plain, missed);
                    plain
                }
                false => self.effects(reads, aspect),
            };
            if id.starts_with("clock.") {
                self.held_against_machine(aspect, &mut effects);
            }
            if pass {
                if id.starts_with("key.") {
                    self.key_works(id, &mut effects);
                }
                // Even 'sound fine' over an empty socket is only a slip of the pen, not an impossibility.
                effects
                    .iter_mut()
                    .for_each(|(_, s)| *s = s.min(1.0 - missed));
            }
            effects
        };
        // Nearly all is typed, and read with the same trust.
        match typed {
            true => shown.get(reads, aspect, pass, work_out),
            false => work_out().into(),
        }
    }

    /// Adds a reading with these effects.
    pub(crate) fn reading(&mut self, id: &str, outcome: Outcome, text: String, effects: Effects) {
        self.mark(id);
        let leak = self.trust.false_fail;
        let run = self.run;
        let reading = CheckReading {
            looped: self.looped,
            check: id.to_string(),
            outcome,
            run,
            leak,
            effects,
        };
        self.push(text, Evidence::Check(reading));
    }

    /// This check has an outcome in this run.
    pub(crate) fn mark(&mut self, id: &str) {
        if !self.out.read.contains(id) {
            self.out.read.insert(id.to_string());
        }
        self.here.insert(id.to_string());
    }

    /// The trust in what was measured by hand, off a photograph less.
    pub(crate) fn measured_trust(&self) -> Trust {
        photo::lowered(MEASURED, self.misread)
    }

    pub(crate) fn push(&mut self, text: String, evidence: Evidence) {
        self.out.readings.push(Reading {
            sheet: self.sheet,
            line: self.line,
            text,
            evidence,
        });
    }

    /// How surely each mode shows in a check that reads these nodes, when described by this aspect.
    fn effects(&mut self, reads: &[Read], aspect: Aspect) -> Vec<(ModeId, f64)> {
        let shown = std::sync::Arc::clone(&self.shown);
        let scratch = &mut self.scratch;
        let plain = shown.plain(reads, aspect, || {
            effects(self.model, reads, aspect, scratch)
        });
        shown::noticed(self.model, &plain, self.trust.missed)
    }

    /// Adds a reading of a level at a line.
    fn level_check(&mut self, line: &str, aspect: Aspect, outcome: Outcome, text: String) {
        let Some(plain) = level_effects(self.model, line, aspect, &mut self.scratch) else {
            return;
        };
        let mut effects = shown::noticed(self.model, &plain, self.trust.missed);
        if outcome == Outcome::Pass {
            // As with every other reading, a slip is never impossible.
            let most = 1.0 - self.trust.missed;
            effects.iter_mut().for_each(|(_, s)| *s = s.min(most));
        }
        self.reading(&format!("line.{line}"), outcome, text, effects.into());
    }

    /// A strength less what a reader misses. An empty position shows with certainty: nothing can be misread into a chip.
    fn noticed(&self, mode: ModeId, strength: f64) -> f64 {
        match self.model.modes[mode as usize].missing {
            true => strength,
            false => strength * (1.0 - self.trust.missed),
        }
    }

    pub(crate) fn warn(&mut self, code: &'static str, message: String, help: String) {
        let diag = Diag {
            code,
            severity: Severity::Warning,
            message,
            label: Some((self.span, String::new())),
            help: Some(help),
        };
        self.out.diags.push((self.sheet, diag));
    }
}

/// How surely each mode shows in a check that reads these nodes: the strongest way it reaches one of them, as described
/// by the aspect, before a reader misses anything ([`noticed`]). `scratch` holds zeros, if anything, and is left so.
pub fn effects(
    model: &BoardModel,
    reads: &[Read],
    aspect: Aspect,
    scratch: &mut Vec<f64>,
) -> Vec<(ModeId, f64)> {
    let absent = shown::absent(model);
    let described = KINDS.map(|kind| aspect.describes(kind));
    scratch.resize(model.modes.len(), 0.0);
    let mut touched = vec![0u64; scratch.len().div_ceil(64)];
    let mut count = 0;
    for read in reads {
        for touch in &model.nodes[read.node as usize].touches {
            let mode = touch.mode as usize;
            // Of an empty position there is nothing to describe badly: whatever hangs on it is not there.
            let gone = aspect.fits_absence() && absent[mode];
            let described = if gone {
                1.0
            } else {
                described[touch.kind as usize]
            };
            let s = f64::from(touch.strength) * f64::from(read.weight) * described;
            let slot = &mut scratch[mode];
            if s > *slot {
                count += usize::from(*slot == 0.0);
                touched[mode / 64] |= 1 << (mode % 64);
                *slot = s;
            }
        }
    }
    let mut all = Vec::with_capacity(count);
    for (at, mut word) in touched.into_iter().enumerate() {
        while word != 0 {
            let mode = 64 * at + word.trailing_zeros() as usize;
            word &= word - 1;
            all.push((mode as ModeId, stepped(std::mem::take(&mut scratch[mode]))));
        }
    }
    all
}

/// A strength to the nearest 32nd, or below that the nearest power of two: no map knows it better, and modes that differ by less than that then count
/// as alike, which keeps the sums of the ranking small.
pub(crate) fn stepped(strength: f64) -> f64 {
    if strength >= 1.0 / 32.0 {
        f64::from((strength * 32.0 + 0.5) as u32) / 32.0
    } else {
        2f64.powi(strength.log2().round() as i32)
    }
}

/// The aspect under which a passing check counts: everything it could show.
pub(crate) fn whole(check: &str) -> Aspect {
    let speed = ["clock.", "voice.", "sound", "line.", "timer."];
    if speed.iter().any(|p| check.starts_with(p)) {
        Aspect::TroubleOrSpeed
    } else {
        Aspect::Trouble
    }
}
