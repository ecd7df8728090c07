//! S-expressions as KiCad writes them: lists in brackets, words, texts in quotes. Depth and size are bounded.

use nom::branch::alt;
use nom::bytes::complete::{escaped_transform, is_not, take_while1};
use nom::character::complete::{char, multispace0};
use nom::combinator::{map, value};
use nom::sequence::delimited;
use nom::{IResult, Parser};

/// The largest file that is read, bytes.
pub const LARGEST: usize = 32_000_000;

/// Lists nested deeper than this are refused; the formats need about ten.
pub const DEEPEST: usize = 64;

/// More words and lists than this are refused.
pub const MOST: usize = 4_000_000;

/// An expression.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sexp {
    /// A word or a text.
    Atom(String),
    /// A list.
    List(Vec<Sexp>),
}

/// Why a text is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {message}")]
pub struct SexpError {
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// What is wrong.
    pub message: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Token {
    Open,
    Close,
    Atom(String),
}

/// text = '"' { character | '\' character } '"'
fn quoted(input: &str) -> IResult<&str, String> {
    let plain = is_not("\\\"");
    let after_slash = alt((
        value('\n', char('n')),
        value('\t', char('t')),
        value('\r', char('r')),
        nom::character::complete::anychar,
    ));
    let filled = escaped_transform(plain, '\\', after_slash);
    alt((
        delimited(char('"'), filled, char('"')),
        map((char('"'), char('"')), |_| String::new()),
    ))
    .parse(input)
}

/// word = one or more characters that are no blank, bracket or quote
fn word(input: &str) -> IResult<&str, String> {
    let inside = |c: char| !c.is_whitespace() && !matches!(c, '(' | ')' | '"');
    map(take_while1(inside), str::to_string).parse(input)
}

fn token(input: &str) -> IResult<&str, Token> {
    alt((
        value(Token::Open, char('(')),
        value(Token::Close, char(')')),
        map(quoted, Token::Atom),
        map(word, Token::Atom),
    ))
    .parse(input)
}

fn skip(input: &str) -> &str {
    let blank: IResult<&str, &str> = multispace0(input);
    blank.map_or(input, |(rest, _)| rest)
}

/// Reads one list that is the whole text.
///
/// # Errors
/// The first place where it is no such list, or where it is too large or too deep.
pub fn parse(text: &str) -> Result<Sexp, SexpError> {
    let error = |rest: &str, message: String| {
        let before = &text[..text.len() - rest.len()];
        let start = before.rfind('\n').map_or(0, |n| n + 1);
        SexpError {
            line: before.matches('\n').count() + 1,
            column: before[start..].chars().count() + 1,
            message,
        }
    };
    if text.len() > LARGEST {
        return Err(error(text, format!("larger than {LARGEST} bytes")));
    }
    let mut open: Vec<Vec<Sexp>> = Vec::new();
    let mut rest = skip(text);
    let mut count = 0;
    while !rest.is_empty() {
        let (after, token) =
            token(rest).map_err(|_| error(rest, "this text has no end: '\"' is missing".into()))?;
        count += 1;
        if count > MOST {
            return Err(error(rest, format!("more than {MOST} words")));
        }
        match token {
            Token::Open if open.len() >= DEEPEST => {
                return Err(error(rest, format!("lists nested deeper than {DEEPEST}")));
            }
            Token::Open => open.push(Vec::new()),
            Token::Atom(text) => match open.last_mut() {
                Some(list) => list.push(Sexp::Atom(text)),
                None => return Err(error(rest, "a file of this kind begins with '('".into())),
            },
            Token::Close => {
                let Some(list) = open.pop() else {
                    return Err(error(rest, "')' without '('".into()));
                };
                match open.last_mut() {
                    Some(outer) => outer.push(Sexp::List(list)),
                    None if skip(after).is_empty() => return Ok(Sexp::List(list)),
                    None => return Err(error(after, "something follows the last ')'".into())),
                }
            }
        }
        rest = skip(after);
    }
    let message = match open.len() {
        0 => "the file is empty".to_string(),
        n => format!("the file ends inside {n} open lists: it is cut off"),
    };
    Err(error(rest, message))
}

impl Sexp {
    /// The first word of a list.
    pub fn head(&self) -> Option<&str> {
        self.list().first().and_then(Sexp::atom)
    }

    /// The members of a list; none for a word.
    pub fn list(&self) -> &[Sexp] {
        match self {
            Sexp::List(list) => list,
            Sexp::Atom(_) => &[],
        }
    }

    /// The text of a word.
    pub fn atom(&self) -> Option<&str> {
        match self {
            Sexp::Atom(text) => Some(text),
            Sexp::List(_) => None,
        }
    }

    /// Lists inside this one that begin with `head`.
    pub fn all<'a>(&'a self, head: &'a str) -> impl Iterator<Item = &'a Sexp> {
        self.list().iter().filter(move |s| s.head() == Some(head))
    }

    /// The second word of the first list inside this one that begins with `head`.
    pub fn value(&self, head: &str) -> Option<&str> {
        let found = self.list().iter().find(|s| s.head() == Some(head));
        found?.list().get(1)?.atom()
    }

    /// Numbers after the head.
    pub fn numbers(&self) -> Vec<f64> {
        let tail = self.list().iter().skip(1);
        tail.filter_map(|s| s.atom()?.parse::<f64>().ok())
            .filter(|x| x.is_finite())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_texts_and_lists() {
        let s = parse(" (a \"b \\\"c\\\"\" (d 1.5 -2) \"\" )\n").unwrap();
        assert_eq!(s.head(), Some("a"));
        assert_eq!(s.list()[1].atom(), Some("b \"c\""));
        assert_eq!(s.all("d").next().unwrap().numbers(), [1.5, -2.0]);
        assert_eq!(s.list()[3].atom(), Some(""));
    }

    #[test]
    fn broken_files_say_where() {
        let said = |text: &str| parse(text).unwrap_err().to_string();
        assert_eq!(
            said("(a\n (b"),
            "line 2, column 4: the file ends inside 2 open lists: it is cut off"
        );
        assert_eq!(
            said("(a\n \"b"),
            "line 2, column 2: this text has no end: '\"' is missing"
        );
        assert_eq!(said(")"), "line 1, column 1: ')' without '('");
        assert_eq!(
            said("word"),
            "line 1, column 1: a file of this kind begins with '('"
        );
        assert_eq!(
            said("(a) (b)"),
            "line 1, column 4: something follows the last ')'"
        );
        assert_eq!(said(""), "line 1, column 1: the file is empty");
        assert!(said(&"(".repeat(1_000_000)).contains("nested deeper than 64"));
    }
}
