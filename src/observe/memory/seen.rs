//! A list of cells as theories see it: cells that a theory cannot tell apart are found once, since many theories look at the same
//! bits of an address.

use super::effect::{Sight, all_alike};
use super::layout::Bank;
use super::pattern::Pattern;
use super::signature::{FEWEST, Line, Theory};
use super::walk::{SAMPLE, Starts, stretch};
use foldhash::{HashMap, HashMapExt};
use std::rc::Rc;

/// Lines of a list of one kind: the first of them, and how many there are.
pub type Kind<'a> = (&'a Line, f64);

/// Cells of one kind.
#[derive(Debug, Clone, Copy)]
pub struct Cells {
    /// The same for all of them, see [`alike`].
    pub code: u64,
    /// The address of one.
    pub one: u32,
    /// How many there are.
    pub count: f64,
}

/// A cell that is looked at, and the number of cells that it stands for.
type Sample = (u32, f64);

/// The lines that fail in some data bits, and the cells that they pass over.
pub struct Route {
    /// Addresses of the lines, in their order.
    pub at: Vec<u32>,
    /// The same the other way round.
    pub reversed: Vec<u32>,
    /// In rising order.
    pub rises: bool,
    /// What is looked at of the cells between the lines.
    between: Vec<Sample>,
    /// The same from the last place before the first line where a test may begin.
    head: Vec<Sample>,
}

/// What a theory passes over on a route.
pub struct Passed {
    /// Between the lines.
    pub between: Vec<Cells>,
    /// From the last place before the first line where a test may begin.
    pub head: Vec<Cells>,
}

/// What was worked out of a list so far.
pub struct Seen<'a> {
    /// The bank that it is about.
    pub bank: &'a Bank,
    lines: &'a [Line],
    kinds: HashMap<(Sight, Pattern), Rc<Vec<Kind<'a>>>>,
    /// By the set of the lines that fail.
    routes: Vec<(u64, Rc<Route>)>,
    passed: HashMap<(u64, Sight, Pattern), Rc<Passed>>,
    /// The most that 'any lines at all' may add to what the bytes of the list say: all that is still to come is negative, but for a
    /// bank so small that hardly a cell fails.
    pub more: f64,
    /// Room for what cells are [alike](super::effect::alike) by.
    codes: Vec<u64>,
}

impl<'a> Seen<'a> {
    /// Of these lines, at most 64.
    pub fn new(bank: &'a Bank, lines: &'a [Line]) -> Self {
        Self {
            bank,
            lines,
            kinds: HashMap::new(),
            routes: Vec::new(),
            passed: HashMap::new(),
            more: -(f64::from(bank.cells()) * FEWEST).ln().min(0.0) * lines.len() as f64,
            codes: Vec::new(),
        }
    }

    /// The kinds of lines that a theory tells apart, in the order in which they come first.
    pub fn kinds(&mut self, theory: Theory, pattern: Pattern) -> Rc<Vec<Kind<'a>>> {
        let (lines, bank, effect) = (self.lines, self.bank, theory.effect);
        let key = (effect.sight(), pattern);
        let codes = &mut self.codes;
        let kinds = self.kinds.entry(key).or_insert_with(|| {
            all_alike(
                effect,
                pattern,
                bank,
                lines.iter().map(|l| l.address),
                codes,
            );
            let mut kinds: Vec<Kind> = Vec::new();
            for (at, line) in lines.iter().enumerate() {
                let same = |&(earlier, l): &(usize, &Line)| {
                    codes[earlier] == codes[at] && (l.wrote, l.read) == (line.wrote, line.read)
                };
                // Kinds come in the order of their first lines.
                match lines[..at].iter().enumerate().find(same) {
                    Some((_, first)) => {
                        let kind = kinds.iter_mut().find(|k| std::ptr::eq(k.0, first));
                        kind.expect("its first line began it").1 += 1.0;
                    }
                    None => kinds.push((line, 1.0)),
                }
            }
            Rc::new(kinds)
        });
        Rc::clone(kinds)
    }

    /// The lines that fail in these data bits.
    pub fn route(&mut self, lanes: u8) -> (u64, Rc<Route>) {
        let fails = |l: &Line| (l.read ^ l.wrote) & lanes != 0;
        let lines = self.lines.iter().enumerate();
        let set = lines.fold(0, |set, (i, l)| set | u64::from(fails(l)) << i);
        if let Some((set, route)) = self.routes.iter().find(|r| r.0 == set) {
            return (*set, Rc::clone(route));
        }
        let at = self.lines.iter().filter(|l| fails(l)).map(|l| l.address);
        let route = Rc::new(Route::of(self.bank, at.collect()));
        self.routes.push((set, Rc::clone(&route)));
        (set, route)
    }

    /// What a theory passes over on a route.
    pub fn passed(
        &mut self,
        (set, route): &(u64, Rc<Route>),
        theory: Theory,
        pattern: Pattern,
    ) -> Rc<Passed> {
        let (bank, effect) = (self.bank, theory.effect);
        let key = (*set, effect.sight(), pattern);
        let codes = &mut self.codes;
        let passed = self.passed.entry(key).or_insert_with(|| {
            let mut by_kind = |cells: &[Sample]| {
                all_alike(effect, pattern, bank, cells.iter().map(|c| c.0), codes);
                by_kind(cells, codes)
            };
            Rc::new(Passed {
                between: by_kind(&route.between),
                head: by_kind(&route.head),
            })
        });
        Rc::clone(passed)
    }
}

impl Route {
    fn of(bank: &Bank, at: Vec<u32>) -> Self {
        let (mut between, mut head) = (Vec::new(), Vec::new());
        let rises = at.is_sorted_by(|a, b| a < b);
        if let (true, Some(&first)) = (rises, at.first()) {
            for w in at.windows(2) {
                look_at(w[0] + 1, w[1] - 1, &mut between);
            }
            let starts = Starts::of(bank);
            let before = starts.all().iter().rfind(|s| **s < first);
            if let Some(&start) = before.filter(|_| !starts.all().contains(&first)) {
                look_at(start, first - 1, &mut head);
            }
        }
        Self {
            reversed: at.iter().rev().copied().collect(),
            at,
            rises,
            between,
            head,
        }
    }
}

/// What is looked at of a stretch of cells: all of a short one, else an even sample.
fn look_at(from: u32, to: u32, cells: &mut Vec<Sample>) {
    if from > to {
        return;
    }
    let n = to - from + 1;
    if n <= 2 * SAMPLE {
        cells.extend((from..=to).map(|a| (a, 1.0)));
    } else {
        let (step, sample) = stretch(from, to);
        cells.extend(sample.map(|a| (a, step)));
    }
}

/// Cells of which the same is to be said become one.
fn by_kind(cells: &[Sample], codes: &[u64]) -> Vec<Cells> {
    let mut kinds: Vec<Cells> = Vec::new();
    let mut last = 0;
    for (&(one, count), &code) in cells.iter().zip(codes) {
        // Neighbours are mostly alike.
        if kinds.get(last).is_none_or(|k| k.code != code) {
            let known = kinds.iter().position(|k| k.code == code);
            last = known.unwrap_or(kinds.len());
        }
        match kinds.get_mut(last) {
            Some(kind) => kind.count += count,
            None => kinds.push(Cells { code, one, count }),
        }
    }
    kinds
}
