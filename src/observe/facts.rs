//! What a sheet states about the machine rather than reads off it: what is fitted, what is empty, how it came in.

use crate::diag::{Diag, Severity, code};
use crate::faultmap::model::BoardModel;
use crate::sheet::{
    ADDED_BOARD, Action, Finding, Intake, Line, Obtained, Place, RunSheet, State, Statement,
    Subject,
};
use std::collections::BTreeMap;

/// Facts of one machine.
#[derive(Debug, Clone, Default)]
pub struct Facts {
    /// Ticket, when given.
    pub ticket: Option<String>,
    /// Why it is on the bench; `None` when not said.
    pub intake: Option<Intake>,
    /// Mains frequency, hertz.
    pub mains: Option<f64>,
    /// Positions that are empty (indices), with the line that says so.
    pub empty: BTreeMap<usize, usize>,
    /// Positions that were empty and were filled later, with the sheet and line that fills them.
    pub filled: BTreeMap<usize, (usize, usize)>,
    /// Positions that an uncertain line of a photograph says are empty, with the doubt of that line.
    pub perhaps_empty: BTreeMap<usize, f64>,
    /// Boards added between chip and socket, by position.
    pub added: BTreeMap<usize, Added>,
    /// Types fitted, by position.
    pub fitted: BTreeMap<usize, String>,
    /// The cartridge profile.
    pub cartridge: Option<String>,
    /// Doubts about the above, with the sheet they are about.
    pub diags: Vec<(usize, Diag)>,
}

/// A board added between a chip and its socket.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Added {
    /// Sheet and line that first tell of it.
    pub since: (usize, usize),
    /// Whether it was taken out.
    pub out: bool,
}

impl Facts {
    /// Whether an added board sits between the chip in a position and its socket, for all that is said last.
    pub fn on_added_board(&self, position: usize) -> bool {
        self.added.get(&position).is_some_and(|a| !a.out)
    }

    fn add(&mut self, model: &BoardModel, place: &Place, since: (usize, usize), out: bool) {
        // A position that is not there is told where the line is read.
        if let Some((i, _)) = super::board::position(model, &place.name) {
            self.added.entry(i).or_insert(Added { since, out }).out = out;
        }
    }

    /// Whether something was in every position when the machine came in, for all that is said.
    pub fn came_whole(&self) -> bool {
        self.empty.is_empty() && self.filled.is_empty() && self.perhaps_empty.is_empty()
    }

    /// Whether nothing was in a position when the machine came in.
    pub fn came_empty(&self, position: usize) -> bool {
        self.empty.contains_key(&position) || self.filled.contains_key(&position)
    }

    /// Whether nothing was in a position when a line was typed.
    pub fn empty_at(&self, position: usize, sheet: usize, line: usize) -> bool {
        let filled = self.filled.get(&position);
        self.empty.contains_key(&position) || filled.is_some_and(|at| (sheet, line) < *at)
    }
}

/// Whether a sheet was transcribed from a photograph.
pub fn from_photo(sheet: &RunSheet) -> bool {
    let mut all = sheet.lines.iter().flat_map(|l| &l.statements);
    sheet.photo || all.any(|s| s.value == Statement::Obtained(Obtained::Photo))
}

/// Gathers the facts of all sheets; a later sheet overrides an earlier one.
pub fn gather(model: &BoardModel, sheets: &[RunSheet]) -> Facts {
    let mut f = Facts::default();
    for (sheet, line) in sheets
        .iter()
        .enumerate()
        .flat_map(|(i, s)| s.lines.iter().map(move |l| (i, l)))
    {
        for (place, doubt) in perhaps_missing(line) {
            if let Some((i, _)) = super::board::position(model, &place.name) {
                f.perhaps_empty.insert(i, doubt);
            }
        }
        for statement in &line.statements {
            let mut unknown = |place: &Place| {
                let diag = Diag {
                    code: code::UNKNOWN_POSITION,
                    severity: Severity::Warning,
                    message: format!("board {} has no position {}", model.board, place.name),
                    label: Some((statement.span, "not on this board".into())),
                    help: Some(
                        "write the designator as printed on the board; 'board show' lists them"
                            .into(),
                    ),
                };
                f.diags.push((sheet, diag));
            };
            match &statement.value {
                Statement::Ticket(t) => f.ticket = Some(t.clone()),
                Statement::Mains(hz) => f.mains = Some(*hz),
                Statement::Cartridge(c) => {
                    f.cartridge = Some(c.clone());
                    f.diags.extend(
                        cartridge_doubt(model, &sheets[sheet], c, statement.span)
                            .map(|d| (sheet, d)),
                    );
                }
                Statement::Intake(i) => f.intake = Some(*i),
                Statement::Fitted { place, part } => match model.position(&place.name) {
                    Some((i, _)) => {
                        f.fitted.insert(i, part.clone());
                        if f.empty.remove(&i).is_some() {
                            f.filled.insert(i, (sheet, line.number));
                        }
                    }
                    None => unknown(place),
                },
                Statement::Empty(places) => {
                    for place in places {
                        match super::board::position(model, &place.name) {
                            Some((i, _)) => {
                                f.empty.insert(i, line.number);
                                f.filled.remove(&i);
                            }
                            None => unknown(place),
                        }
                    }
                }
                Statement::HandsOn(h) if h.action == Action::Direct => {
                    for place in &h.places {
                        f.add(model, place, (sheet, line.number), true);
                    }
                }
                Statement::Finding(Finding {
                    subject: Subject::Looks(place),
                    state: State::Seen(what),
                    ..
                }) if what == ADDED_BOARD => f.add(model, place, (sheet, line.number), false),
                Statement::Finding(finding) => {
                    // A fuse that is not there is a position that is empty.
                    let Subject::Fuse(place) = &finding.subject else {
                        continue;
                    };
                    let missing = is_missing(finding);
                    match super::board::position(model, &place.name) {
                        Some((i, _)) if missing => {
                            f.empty.insert(i, line.number);
                            f.perhaps_empty.remove(&i);
                        }
                        Some((i, _)) => {
                            f.empty.remove(&i);
                            f.perhaps_empty.remove(&i);
                        }
                        None if missing => unknown(place),
                        None => {}
                    }
                }
                _ => {}
            }
        }
    }
    f
}

fn is_missing(finding: &Finding) -> bool {
    matches!(&finding.state, State::Seen(w) if w == "missing")
}

/// Fuses that are missing if an uncertain line is what it most probably is, with its doubt.
fn perhaps_missing(line: &Line) -> impl Iterator<Item = (&Place, f64)> {
    let first = line.provisional.iter();
    first.flat_map(|first| {
        let fuses = first.findings.iter().filter(|f| is_missing(f));
        fuses.filter_map(|f| match &f.subject {
            Subject::Fuse(place) => Some((place, first.doubt)),
            _ => None,
        })
    })
}

/// What is wrong with the cartridge that a sheet names: no profile of that name, or none for this board.
fn cartridge_doubt(
    model: &BoardModel,
    sheet: &RunSheet,
    name: &str,
    span: crate::source::Span,
) -> Option<Diag> {
    let (message, help) = match &sheet.profile {
        Some(p) if p.boards.contains(&model.board) => return None,
        Some(p) => (
            format!(
                "the profile of cartridge '{name}' is not for board {}",
                model.board
            ),
            format!(
                "its words are used, its order is not; add the board to the list in the profile ({})",
                p.boards.join(", ")
            ),
        ),
        None => (
            format!("there is no profile of a cartridge '{name}'"),
            "its own words are not known; a profile goes into the folder `cartridges` of --maps"
                .to_string(),
        ),
    };
    Some(Diag {
        code: code::UNKNOWN_CARTRIDGE,
        severity: Severity::Warning,
        message,
        label: Some((span, String::new())),
        help: Some(help),
    })
}
