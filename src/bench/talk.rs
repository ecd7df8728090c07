//! Saying and asking, so that a session runs at a terminal, from a script, and in a test alike.

use std::io::{BufRead, Result, Write};

/// Whoever sits at the bench.
pub trait Talk {
    /// Says a text; it ends with a line end.
    ///
    /// # Errors
    /// Of writing.
    fn say(&mut self, text: &str) -> Result<()>;

    /// Asks, and waits for one line. `None`: no more will come.
    ///
    /// # Errors
    /// Of reading or writing.
    fn ask(&mut self, prompt: &str) -> Result<Option<String>>;
}

/// Plain text in and out: no cursor is moved, nothing is drawn over, so that a script, an 80 × 24 terminal and a screen
/// reader get the same.
pub struct Plain<'a> {
    input: &'a mut dyn BufRead,
    out: &'a mut dyn Write,
    /// Whether answers are repeated behind their prompts: the input shows none when it is no terminal.
    echo: bool,
}

/// Longer answers are cut: a line of a sheet is far shorter.
const LONGEST: u64 = 100_000;

impl<'a> Plain<'a> {
    /// Asks on `out` and listens to `input`.
    pub fn new(input: &'a mut dyn BufRead, out: &'a mut dyn Write, echo: bool) -> Self {
        Self { input, out, echo }
    }
}

impl Talk for Plain<'_> {
    fn say(&mut self, text: &str) -> Result<()> {
        self.out.write_all(text.as_bytes())
    }

    fn ask(&mut self, prompt: &str) -> Result<Option<String>> {
        write!(self.out, "{prompt} ")?;
        self.out.flush()?;
        let mut bytes = Vec::new();
        let n = std::io::Read::take(&mut *self.input, LONGEST).read_until(b'\n', &mut bytes)?;
        if n == 0 {
            writeln!(self.out)?;
            return Ok(None);
        }
        let line = String::from_utf8_lossy(&bytes).trim().to_string();
        if self.echo {
            writeln!(self.out, "{line}")?;
        }
        Ok(Some(line))
    }
}
