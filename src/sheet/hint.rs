//! What to say about a part that was not understood: where it stopped, what was expected, what to type.

use super::correct::Reading;
use super::say::short;
use super::statement::{Statement, Subject};
use super::token::Kind;
use super::toks::{E, Toks};
use crate::diag::{code, did_you_mean};
use crate::source::Span;

/// What is said about a part.
pub struct Said {
    /// The place to point at.
    pub place: Span,
    /// Code of the diagnostic.
    pub code: &'static str,
    /// One line: what is wrong.
    pub message: String,
    /// What to write at the place.
    pub label: String,
    /// What to type.
    pub help: String,
}

/// Explains why `input` was not read: the error that got furthest tells where and what was expected.
pub fn explain(input: Toks, error: &E) -> Said {
    let text = short(input.rest_text());
    let at = error.at.clamp(input.from, input.to);
    let place = if at < input.to {
        input.lexed.atoms[at].span
    } else {
        behind(input)
    };
    if let Some((from, to)) = unknown_name(input) {
        return named(input, from, to);
    }
    if let Some((i, words)) = unclear(input) {
        let typed = input.lexed.typed(i);
        return Said {
            place: input.lexed.atoms[i].span,
            code: code::UNCLEAR_WORD,
            message: format!("`{typed}` can be several words"),
            label: format!(
                "{} can be meant",
                words
                    .iter()
                    .map(|w| format!("`{w}`"))
                    .collect::<Vec<_>>()
                    .join(" or ")
            ),
            help: "type the word that is meant; nothing was guessed".into(),
        };
    }
    if error.wants.is_empty() || (at == input.from && !error.told) {
        return unknown(input, text);
    }
    let expected = error.wants.join("; or ");
    let help = match error.example {
        Some(example) => format!("expected {expected}; type it like `{example}`"),
        None => format!("expected {expected}"),
    };
    if at >= input.to {
        let message = format!("`{text}` is not complete");
        return Said {
            place,
            code: code::INCOMPLETE,
            message,
            label: "something must follow".into(),
            help,
        };
    }
    let message = format!("not understood: `{text}`");
    Said {
        place,
        code: code::NOT_UNDERSTOOD,
        message,
        label: "not expected here".into(),
        help,
    }
}

/// Words that no one knows before what is said of a part (`noise box hot`): a name that the bench could add.
fn unknown_name(input: Toks) -> Option<(usize, usize)> {
    const LONGEST: usize = 3;
    let stranger = |i: usize| {
        let atom = &input.lexed.atoms[i];
        let letters =
            atom.lower.chars().count() >= 3 && atom.lower.chars().all(char::is_alphabetic);
        atom.kind == Kind::Word && letters && input.lexed.found(i).is_empty()
    };
    let any_word = |i: usize| input.lexed.atoms[i].kind == Kind::Word;
    let count = (input.from..input.to)
        .take_while(|i| any_word(*i))
        .count()
        .min(LONGEST);
    (1..=count).map(|n| input.from + n).find_map(|to| {
        let any = (input.from..to).any(stranger);
        if !any || to >= input.to {
            return None;
        }
        let rest = input.lexed.span(to, input.to);
        let said = format!("U1 {}", &input.lexed.text[rest.start..rest.end]);
        let one = super::recover::read_text(&said, input.lexed.words)?;
        let plain = |s: &Statement| matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Heat(_) | Subject::Part(_) | Subject::Level(_) | Subject::Looks(_)));
        (one.len() == 1 && plain(&one[0])).then_some((input.from, to))
    })
}

fn named(input: Toks, from: usize, to: usize) -> Said {
    let place = input.lexed.span(from, to);
    let name = &input.lexed.text[place.start..place.end];
    let line = format!("name u17: {}", name.to_lowercase());
    Said {
        place,
        code: code::UNKNOWN_NAME,
        message: format!("`{}` is no name that is known here", short(name)),
        label: "a part of the board?".into(),
        help: format!(
            "type its position; or add `{line}`, with its position, to a file of your own and give that with --words (--ask does it)"
        ),
    }
}

fn behind(input: Toks) -> Span {
    let whole = input.lexed.span(input.from, input.to);
    let last = input.to.saturating_sub(1);
    input.lexed.atoms.get(last).map_or(whole, |a| a.span)
}

/// Nothing of the part was recognised.
fn unknown(input: Toks, text: String) -> Said {
    const EXAMPLES: &str = "type what was looked at and how it was, as in `memory bit 3 bad`, `+5V 4.98`, `U17 hot`; or `note` before a remark";
    let stranger = (input.from..input.to).find(|&i| {
        let atom = &input.lexed.atoms[i];
        atom.kind == Kind::Word
            && input.lexed.found(i).is_empty()
            && !atom.lower.bytes().any(|b| b.is_ascii_digit())
    });
    let near = stranger.and_then(|i| {
        let words = input.lexed.words;
        let typed = &*input.lexed.atoms[i].lower;
        if words.knows(typed) || typed.chars().count() < 4 {
            return None;
        }
        let length = typed.chars().count();
        let near: Vec<&str> = (length.saturating_sub(2)..=length + 2)
            .flat_map(|n| words.targets(n))
            .map(|t| &*t.word)
            .collect();
        did_you_mean(typed, near.into_iter())
    });
    let place = stranger.map_or(input.lexed.span(input.from, input.to), |i| {
        input.lexed.atoms[i].span
    });
    let help = match near {
        _ if text.eq_ignore_ascii_case("faulty") => {
            "type `came in faulty`, or what is faulty, as in `memory bad`".to_string()
        }
        _ if text.to_lowercase().starts_with("rest ") => {
            "type `rest fine` for what passed, and `not reached: sound, ports` for what was not tested".to_string()
        }
        Some(word) => format!("did you mean `{word}`? {EXAMPLES}"),
        None => EXAMPLES.to_string(),
    };
    Said {
        place,
        code: code::NOT_UNDERSTOOD,
        message: format!("not understood: `{text}`"),
        label: "no result of its own".into(),
        help,
    }
}

/// The first word that could be several words of the bench.
fn unclear<'a>(input: Toks<'a>) -> Option<(usize, &'a [String])> {
    (input.from..input.to).find_map(|i| match &input.lexed.atoms[i].reading {
        Reading::OneOf(words) if words.len() > 1 => Some((i, words.as_slice())),
        _ => None,
    })
}
