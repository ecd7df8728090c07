//! Pages of eighty columns.

use comfy_table::{ContentArrangement, Table, presets};
use std::fmt::Write as _;

/// Columns of a page.
pub const WIDTH: u16 = 80;

/// A page being written.
#[derive(Debug, Default)]
pub struct Page {
    /// The text so far.
    pub out: String,
}

impl Page {
    /// A heading, with an empty line before it.
    pub fn head(&mut self, text: &str) {
        let gap = if self.out.is_empty() { "" } else { "\n" };
        let _ = writeln!(self.out, "{gap}{text}");
    }

    /// A paragraph that begins with `first` and goes on indented as far.
    pub fn hang(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(textwrap::core::display_width(first));
        let options = textwrap::Options::new(usize::from(WIDTH))
            .initial_indent(first)
            .subsequent_indent(&indent);
        let _ = writeln!(self.out, "{}", textwrap::fill(text, options).trim_end());
    }

    /// A table, indented by two; the last column takes the room that is left.
    pub fn table(&mut self, head: &[&str], rows: Vec<Vec<String>>) {
        if rows.is_empty() {
            return;
        }
        let mut table = Table::new();
        table
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(WIDTH - 1);
        if !head.is_empty() {
            table.set_header(head.to_vec());
        }
        table.add_rows(rows);
        for line in table.to_string().lines() {
            let _ = writeln!(self.out, " {}", line.trim_end());
        }
    }
}
