//! Units that can be at fault, and what each of their modes does at its own place.

use super::*;

impl Compiler<'_> {
    /// Every unit of the board, by position; keys last.
    pub(super) fn units(&mut self) -> Vec<DraftUnit> {
        let mut out = Vec::new();
        for position in 0..self.wiring.wired.len() {
            let wired = self.wiring.wired[position].clone();
            let part = &self.board.parts[&wired.name];
            let family = &self.families[&part.family];
            out.push(self.part_unit(position, &wired, part, family));
            self.contact_units(position, &wired, part, family, &mut out);
        }
        self.join_modes(&mut out);
        self.key_units(&mut out);
        out
    }

    fn part_unit(
        &mut self,
        position: usize,
        wired: &Wired,
        part: &PartRaw,
        family: &FamilyRaw,
    ) -> DraftUnit {
        let path = format!("parts.{}", wired.name);
        let used = wired.signals.iter().filter(|s| *s != "-").count();
        let legs = wired
            .signals
            .iter()
            .filter(|s| !["-", "case"].contains(&&***s))
            .count();
        let base = self.rates.part(&family.rate, used).unwrap_or_else(|e| {
            self.error(&path, e);
            0.0
        });
        let factor = [&family.field, &part.field]
            .into_iter()
            .flatten()
            .map(|f| f.factor)
            .product::<f64>();
        let total: f64 = family.modes.values().map(|m| m.share).sum();
        let mut modes = Vec::new();
        for (key, raw) in &family.modes {
            let by_legs = matches!(family.class, Class::Semiconductor | Class::Switch);
            if raw.across.is_some() && legs != 2 && !by_legs {
                self.error(&format!("{path} mode {key}"), NO_ACROSS.into());
            }
            let expanded = expand::key(key);
            if expanded.len() > 1 && !raw.what.contains('#') {
                self.error(&format!("{path} mode {key}"), UNNUMBERED.into());
            }
            let share = raw.share / total / expanded.len() as f64;
            for (_, number) in expanded {
                modes.push(DraftMode {
                    what: raw.what.replace('#', &number),
                    rate: base * factor * share,
                    notice: raw.notice.unwrap_or(NOTICE),
                    flaky: raw.flaky,
                    missing: false,
                    joins: None,
                    of_type: raw.of_type.clone(),
                    opens: Vec::new(),
                    across: raw.across,
                    refit: raw.refit,
                    gives_way: self.gives_way(
                        position,
                        &format!("{path} mode {key}"),
                        raw,
                        &number,
                    ),
                    start: self.conditions(position, &format!("{path} mode {key}"), raw, &number),
                });
            }
        }
        let start = self
            .wiring
            .part_functions
            .iter()
            .filter(|((p, _), _)| *p == position);
        let start: Vec<_> = start.map(|(_, &node)| (node, Kind::Lost)).collect();
        if !start.is_empty() {
            let what = "not fitted".to_string();
            modes.push(DraftMode {
                what,
                rate: 0.0,
                notice: 1.0,
                flaky: None,
                missing: true,
                joins: None,
                of_type: None,
                opens: Vec::new(),
                across: None,
                refit: None,
                gives_way: Vec::new(),
                start,
            });
        }
        let (name, class) = (wired.name.clone(), family.class);
        DraftUnit {
            name,
            kind: UnitKind::Part,
            position,
            class,
            modes,
            merge: false,
        }
    }

    /// What a mode does at its own part.
    fn conditions(
        &mut self,
        position: usize,
        path: &str,
        raw: &ModeRaw,
        number: &str,
    ) -> Vec<(usize, Kind)> {
        let mut start = Vec::new();
        let lists = [
            (&raw.loses, Kind::Lost),
            (&raw.low, Kind::Low),
            (&raw.high, Kind::High),
            (&raw.wrong, Kind::Wrong),
            (&raw.slow, Kind::Slow),
            (&raw.fast, Kind::Fast),
            (&raw.noisy, Kind::Noisy),
        ];
        for (text, kind) in lists {
            for name in expand::list(&text.replace('#', number)) {
                if let Some(&node) = self.wiring.part_functions.get(&(position, name.clone())) {
                    start.push((node, kind));
                    continue;
                }
                for node in self.wiring.in_part(position, path, &name) {
                    let pin = self.pin_index(position, node);
                    match (kind, pin) {
                        (Kind::Lost, Some(pin)) => self.open(position, pin, &mut start),
                        // A pin that pulls or shakes does so to its line, and so to everything on it.
                        (_, Some(pin)) => match &self.wiring.wired[position].lines[pin] {
                            Some(line) => start.push((self.wiring.lines[line], kind)),
                            None => start.push((node, kind)),
                        },
                        (_, None) => start.push((node, kind)),
                    }
                }
            }
        }
        if start.is_empty() && raw.gives_way.is_empty() {
            self.error(
                path,
                "a mode loses, pulls low or high, or makes wrong, slow, fast or noisy something, or gives way"
                    .into(),
            );
        }
        start
    }

    /// Pins whose output gives way under a load.
    fn gives_way(&mut self, position: usize, path: &str, raw: &ModeRaw, number: &str) -> Vec<u16> {
        let mut pins = Vec::new();
        for name in expand::list(&raw.gives_way.replace('#', number)) {
            for node in self.wiring.in_part(position, path, &name) {
                match self.pin_index(position, node) {
                    Some(pin) => pins.push(pin as u16),
                    None => self.error(path, format!("'{name}' is no pin, and only pins give way")),
                }
            }
        }
        pins
    }

    fn pin_index(&self, position: usize, node: usize) -> Option<usize> {
        (0..self.wiring.wired[position].signals.len())
            .find(|&i| self.wiring.pins[&(position, i)] == node)
    }

    /// An open pin: the part does not see its line, nor the line the part, if this was its only driver's only pin there.
    fn open(&self, position: usize, pin: usize, start: &mut Vec<(usize, Kind)>) {
        start.push((self.wiring.pins[&(position, pin)], Kind::Lost));
        let wired = &self.wiring.wired[position];
        let Some(line) = &wired.lines[pin] else {
            return;
        };
        let driven_here = wired.functions.iter().any(|(name, f)| {
            let node = self.wiring.part_functions[&(position, name.clone())];
            let drives = expand::list(&f.drives);
            let on_line = |i: &usize| {
                wired.lines[*i].as_ref() == Some(line) && drives.contains(&wired.signals[*i])
            };
            // Two pins of one driver on one line (the two 5 V contacts of a plug, say) stand in for each other.
            self.wiring.sole_driver.get(line) == Some(&node)
                && drives.contains(&wired.signals[pin])
                && (0..wired.lines.len()).filter(on_line).count() == 1
        });
        if driven_here {
            start.push((self.wiring.lines[line], Kind::Lost));
        }
    }

    fn contact_units(
        &mut self,
        position: usize,
        wired: &Wired,
        part: &PartRaw,
        family: &FamilyRaw,
        out: &mut Vec<DraftUnit>,
    ) {
        let used: Vec<usize> = (0..wired.signals.len())
            .filter(|&i| wired.lines[i].is_some())
            .collect();
        let open = |pin: usize| {
            let mut start = Vec::new();
            self.open(position, pin, &mut start);
            start
        };
        let mode = |pin: usize, rate: f64| DraftMode {
            what: format!("pin {} open", wired.labels[pin]),
            rate,
            notice: NOTICE,
            flaky: None,
            missing: false,
            joins: None,
            of_type: None,
            opens: vec![pin as u16],
            across: None,
            refit: None,
            gives_way: Vec::new(),
            start: open(pin),
        };
        if family.separate_contacts {
            for &pin in &used {
                out.push(DraftUnit {
                    name: format!("{} pin {}", wired.name, wired.labels[pin]),
                    kind: UnitKind::Contact {
                        pin: wired.labels[pin].clone(),
                    },
                    position,
                    class: Class::Contact,
                    modes: vec![mode(pin, self.rates.contact())],
                    merge: false,
                });
            }
            return;
        }
        // Two-pin parts: an open joint shows as the open part does, and is put right by the same work.
        if part.outside || wired.signals.len() < 3 || used.is_empty() {
            return;
        }
        let (kind, word, total) = match part.socket {
            true => (
                UnitKind::Contacts,
                "contacts",
                self.rates.socket(used.len()),
            ),
            false => (UnitKind::Joints, "joints", self.rates.joints(used.len())),
        };
        let modes = used
            .iter()
            .map(|&pin| mode(pin, total / used.len() as f64))
            .collect();
        let name = format!("{} {word}", wired.name);
        out.push(DraftUnit {
            name,
            kind,
            position,
            class: Class::Contact,
            modes,
            merge: true,
        });
    }

    fn key_units(&mut self, out: &mut Vec<DraftUnit>) {
        let Some(kb) = &self.board.keyboard else {
            return;
        };
        let Some(position) = self.wiring.position(&kb.unit) else {
            return self.error("keyboard.unit", format!("no position '{}'", kb.unit));
        };
        let rate = self.rates.key();
        for (name, &node) in self
            .wiring
            .functions
            .iter()
            .filter(|(n, _)| n.starts_with("key."))
        {
            let key = name[4..].to_string();
            let modes = KEY_MODES.map(|(what, share, kind)| DraftMode {
                what: what.into(),
                rate: rate * share,
                notice: NOTICE,
                flaky: None,
                missing: false,
                joins: None,
                of_type: None,
                opens: Vec::new(),
                across: None,
                refit: None,
                gives_way: Vec::new(),
                start: vec![(node, kind)],
            });
            let (name, kind) = (format!("key {key}"), UnitKind::Key { key });
            out.push(DraftUnit {
                name,
                kind,
                position,
                class: Class::Keyboard,
                modes: modes.into(),
                merge: false,
            });
        }
    }
}
