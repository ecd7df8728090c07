//! Counting the closed tickets of a folder.

use super::{LearnError, Learned};
use crate::bench::proof;
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::observe::observe;
use crate::rank::{Ranking, rank};
use crate::sheet::{self, Outcome, RunSheet, Statement, print_statement};
use crate::shipped::Library;
use crate::ticket::{Status, Ticket};
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// The unit that `proved U10 dead` names: the longest unit name at its start, or a position (its part).
pub fn unit_of(model: &BoardModel, proved: &str) -> Option<usize> {
    let starts = |name: &str| {
        let head = proved.get(..name.len());
        let behind = proved
            .get(name.len()..)
            .and_then(|rest| rest.chars().next());
        head.is_some_and(|h| h.eq_ignore_ascii_case(name))
            && behind.is_none_or(|c| !c.is_alphanumeric())
    };
    let named = model
        .units
        .iter()
        .enumerate()
        .filter(|(_, u)| starts(&u.name));
    let unit = named.max_by_key(|(_, u)| u.name.len()).map(|(i, _)| i);
    unit.or_else(|| {
        let position = model.positions.iter().position(|p| starts(&p.name))?;
        model
            .units_of(position)
            .find(|(_, u)| u.kind == UnitKind::Part)
            .map(|(i, _)| i)
    })
}

/// P(each unit at fault) by its instance as the machine came, in the order of the model.
pub fn by_unit(model: &BoardModel, ranking: &Ranking) -> Vec<f64> {
    let mut out = vec![0.0; model.units.len()];
    for (cause, instance) in ranking.assembled.instances.iter().enumerate() {
        if instance.fitted == 0 {
            out[instance.unit] = ranking.posterior.cause(cause);
        }
    }
    out
}

/// What a ticket says of how its machine came in, and nothing of what was read since.
fn as_it_came(ticket: &Ticket) -> Option<RunSheet> {
    let came = |s: &&Statement| {
        matches!(
            s,
            Statement::Board(_) | Statement::Intake(_) | Statement::Empty(_)
        )
    };
    let lines = ticket.statements().map(|(_, s)| s).filter(came);
    let text: Vec<String> = lines.map(print_statement).collect();
    sheet::parse("as it came", text.join("\n").as_bytes()).ok()
}

/// Why a ticket was not counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PassedOver {
    /// File.
    pub name: String,
    /// In words.
    pub why: String,
}

/// Counts tickets one after another.
pub struct Counter<'l> {
    library: &'l Library,
    boards: HashMap<String, BoardModel>,
    /// By board and header, what was to be expected of each unit.
    expected: HashMap<String, Vec<f64>>,
    /// Numbers of the tickets counted, each with its file.
    ids: HashMap<String, String>,
    /// Files counted.
    pub counted: Vec<String>,
    /// What was counted so far.
    pub learned: Learned,
    /// What was not.
    pub passed_over: Vec<PassedOver>,
}

impl<'l> Counter<'l> {
    /// Nothing counted yet.
    pub fn new(library: &'l Library) -> Self {
        Self {
            library,
            boards: HashMap::new(),
            expected: HashMap::new(),
            ids: HashMap::new(),
            counted: Vec::new(),
            learned: Learned::default(),
            passed_over: Vec::new(),
        }
    }

    /// Counts one ticket, or notes why it does not count.
    pub fn ticket(&mut self, name: &str, ticket: &Ticket) {
        let counted = match ticket.id().filter(|id| self.ids.contains_key(id)) {
            Some(id) => Err(format!(
                "a copy: ticket {id} was counted from {}",
                self.ids[&id]
            )),
            None => self.try_ticket(ticket),
        };
        if counted.is_ok() {
            self.counted.push(name.to_string());
            if let Some(id) = ticket.id() {
                self.ids.insert(id, name.to_string());
            }
        }
        if let Err(why) = counted {
            self.passed_over.push(PassedOver {
                name: name.to_string(),
                why,
            });
        }
    }

    fn try_ticket(&mut self, ticket: &Ticket) -> Result<(), String> {
        match ticket.status() {
            Status::Closed(Outcome::CuredProved) => {}
            Status::Open => return Err("not closed".into()),
            Status::Closed(_) => return Err("closed without a proof".into()),
        }
        let board = ticket.board().ok_or("it names no board")?;
        if !self.boards.contains_key(&board) {
            let model = self.library.board(&board).map_err(|e| e.to_string())?;
            self.boards.insert(board.clone(), model);
        }
        let model = &self.boards[&board];
        let (known, unknown): (Vec<_>, Vec<_>) = ticket
            .proved()
            .into_iter()
            .map(|p| (p, unit_of(model, p)))
            .partition(|(_, unit)| unit.is_some());
        if let Some((text, _)) = unknown.first() {
            return Err(format!("'proved {text}' names no unit of {board}"));
        }
        let failed: Vec<usize> = known.into_iter().filter_map(|(_, unit)| unit).collect();
        if failed.is_empty() {
            return Err("no 'proved …' line".into());
        }
        let observed = observe(model, std::slice::from_ref(&ticket.sheet));
        if let Some(missing) = proof::missing(&proof::standing(ticket, &observed)) {
            return Err(format!(
                "closed as cured, but loops do not prove it: {missing}"
            ));
        }
        let came = as_it_came(ticket).ok_or("it says nothing of how it came in")?;
        let key = came.text.clone();
        if !self.expected.contains_key(&key) {
            let ranking = rank(model, std::slice::from_ref(&came)).map_err(|e| e.to_string())?;
            self.expected.insert(key.clone(), by_unit(model, &ranking));
        }
        self.learned.count(model, &self.expected[&key], &failed);
        Ok(())
    }

    /// Counts every `.ticket` file of a folder, in order of name.
    ///
    /// # Errors
    /// A folder that cannot be read.
    pub fn folder(&mut self, dir: &Path) -> Result<(), LearnError> {
        let unreadable = |e: std::io::Error| LearnError::Read(format!("{}: {e}", dir.display()));
        let mut files: Vec<PathBuf> = std::fs::read_dir(dir)
            .map_err(unreadable)?
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|p| p.extension().is_some_and(|e| e == "ticket"))
            .collect();
        files.sort();
        for path in files {
            let name = path.display().to_string();
            let read = std::fs::read(&path).map_err(|e| e.to_string());
            match read.and_then(|bytes| Ticket::parse(&name, &bytes).map_err(|e| e.to_string())) {
                Ok(ticket) => self.ticket(&name, &ticket),
                Err(why) => self.passed_over.push(PassedOver { name, why }),
            }
        }
        Ok(())
    }
}
