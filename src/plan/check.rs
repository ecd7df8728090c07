//! Is a problem well formed? Everything that is wrong is collected.

use super::problem::{
    Condition, Goal, Kind, MOST_CONDITIONS, MOST_STEPS, MOST_UNITS_AT_FAULT, Problem, ProblemError,
    SUM_TOLERANCE, StepId,
};

impl Problem {
    /// Checks the whole problem.
    ///
    /// # Errors
    /// Everything that is wrong, in the order of the fields.
    pub fn check(&self) -> Result<(), Vec<ProblemError>> {
        let mut errors = Vec::new();
        self.check_hypotheses(&mut errors);
        self.check_goal(&mut errors);
        count(
            &mut errors,
            "steps",
            self.steps.len(),
            self.steps.len() <= MOST_STEPS,
            &format!("at most {MOST_STEPS}"),
        );
        for step in 0..self.steps.len() {
            self.check_costs(step, &mut errors);
            self.check_kind(step, &mut errors);
            self.check_rule(step, &mut errors);
        }
        let n = self.conditions().len();
        count(
            &mut errors,
            "different conditions",
            n,
            n <= MOST_CONDITIONS,
            &format!("at most {MOST_CONDITIONS}"),
        );
        if errors.is_empty() {
            Ok(())
        } else {
            Err(errors)
        }
    }

    /// The different conditions of all rules, in the order in which they first occur.
    pub(super) fn conditions(&self) -> Vec<&Condition> {
        let mut found: Vec<&Condition> = Vec::new();
        for step in &self.steps {
            for condition in step
                .rule
                .after
                .iter()
                .flatten()
                .chain(&step.rule.never_after)
            {
                if !found.contains(&condition) {
                    found.push(condition);
                }
            }
        }
        found
    }

    fn check_hypotheses(&self, errors: &mut Vec<ProblemError>) {
        let repair = matches!(self.goal, Goal::Repair { .. });
        let mut sum = self.unexplored;
        probability(errors, "the unexplored probability", self.unexplored);
        for (h, hypothesis) in self.hypotheses.iter().enumerate() {
            probability(
                errors,
                &format!("the probability of hypothesis {h}"),
                hypothesis.probability,
            );
            sum += hypothesis.probability;
            let n = hypothesis.faulty.len();
            let fits = n <= MOST_UNITS_AT_FAULT && (n > 0 || !repair);
            let expected = format!("1 to {MOST_UNITS_AT_FAULT}");
            count(
                errors,
                &format!("units at fault in hypothesis {h}"),
                n,
                fits,
                &expected,
            );
            for (i, &unit) in hypothesis.faulty.iter().enumerate() {
                if hypothesis.faulty[..i].contains(&unit) {
                    errors.push(ProblemError::UnitTwice {
                        hypothesis: h,
                        unit,
                    });
                }
            }
        }
        let n = self.hypotheses.len();
        count(
            errors,
            "hypotheses",
            n,
            n < usize::from(u16::MAX),
            "fewer than 65535",
        );
        adds_up(errors, "the probabilities of the hypotheses", sum);
    }

    fn check_goal(&self, errors: &mut Vec<ProblemError>) {
        match self.goal {
            Goal::Repair { stop } => number(errors, "the price of stopping", stop),
            Goal::Identify { certainty } => {
                let what = "the certainty that ends an identification (0 excluded)";
                probability(
                    errors,
                    what,
                    if certainty > 0.0 { certainty } else { f64::NAN },
                );
            }
        }
        number(
            errors,
            "the minutes to switch the supply",
            self.power_change,
        );
    }

    fn check_costs(&self, step: StepId, errors: &mut Vec<ProblemError>) {
        let cost = self.steps[step].cost;
        for (name, value) in [
            ("minutes", cost.minutes),
            ("hazard", cost.hazard),
            ("money", cost.money),
        ] {
            number(errors, &format!("{name} of step {step}"), value);
        }
    }

    fn check_kind(&self, step: StepId, errors: &mut Vec<ProblemError>) {
        match &self.steps[step].kind {
            Kind::Observe { rows, unexplored } => {
                let outcomes = self.steps[step].outcomes();
                let expected = format!("one a hypothesis, {}", self.hypotheses.len());
                let fits = rows.len() == self.hypotheses.len();
                count(
                    errors,
                    &format!("rows of step {step}"),
                    rows.len(),
                    fits,
                    &expected,
                );
                for (h, row) in rows.iter().chain(unexplored).enumerate() {
                    let what = format!("the outcomes of step {step} in row {h}");
                    let fits = row.len() == outcomes && outcomes > 0;
                    count(
                        errors,
                        &what,
                        row.len(),
                        fits,
                        &format!("{}", outcomes.max(1)),
                    );
                    row.iter().for_each(|&p| probability(errors, &what, p));
                    adds_up(errors, &what, row.iter().sum());
                }
            }
            Kind::Remedy {
                cures,
                verify,
                when_cured,
                reopens,
            } => {
                number(errors, &format!("the test after step {step}"), *verify);
                number(errors, &format!("the repair of step {step}"), *when_cured);
                for cure in cures {
                    probability(
                        errors,
                        &format!("the cure of unit {} by step {step}", cure.unit),
                        cure.probability,
                    );
                }
                for &other in reopens {
                    let there = self.steps.get(other).is_some_and(|s| !s.is_remedy());
                    no_such(errors, step, there, || format!("observation {other}"));
                }
            }
        }
    }

    fn check_rule(&self, step: StepId, errors: &mut Vec<ProblemError>) {
        let rule = &self.steps[step].rule;
        for condition in rule.after.iter().flatten().chain(&rule.never_after) {
            let Condition {
                step: other,
                outcomes,
            } = condition;
            let Some(found) = self.steps.get(*other) else {
                no_such(errors, step, false, || format!("step {other}"));
                continue;
            };
            for outcome in outcomes {
                no_such(errors, step, *outcome < found.outcomes(), || {
                    format!("outcome {outcome} of step {other}")
                });
            }
        }
    }
}

fn number(errors: &mut Vec<ProblemError>, what: &str, value: f64) {
    if !(value.is_finite() && value >= 0.0) {
        errors.push(ProblemError::Number {
            what: what.to_owned(),
            value,
        });
    }
}

fn probability(errors: &mut Vec<ProblemError>, what: &str, value: f64) {
    if !(0.0..=1.0).contains(&value) {
        errors.push(ProblemError::Probability {
            what: what.to_owned(),
            value,
        });
    }
}

fn adds_up(errors: &mut Vec<ProblemError>, what: &str, sum: f64) {
    if sum.is_nan() || (sum - 1.0).abs() > SUM_TOLERANCE {
        errors.push(ProblemError::Sum {
            what: what.to_owned(),
            sum,
        });
    }
}

fn count(errors: &mut Vec<ProblemError>, what: &str, found: usize, fits: bool, expected: &str) {
    if !fits {
        errors.push(ProblemError::Count {
            what: what.to_owned(),
            found,
            expected: expected.to_owned(),
        });
    }
}

fn no_such(
    errors: &mut Vec<ProblemError>,
    step: StepId,
    there: bool,
    what: impl FnOnce() -> String,
) {
    if !there {
        errors.push(ProblemError::NoSuch { step, what: what() });
    }
}
