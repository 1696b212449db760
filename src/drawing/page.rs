//! Text laid out for a width: paragraphs, indents, emphasis, kept apart from what it says.

use console::Style;

/// How a run of text stands out. Never the only carrier of a meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// As it is.
    Plain,
    /// The thing to do.
    Strong,
    /// Background: sources, counts.
    Faint,
    /// Danger.
    Alarm,
    /// A pass.
    Good,
}

/// A page under construction.
pub struct Page {
    width: usize,
    colour: bool,
    text: String,
}

impl Page {
    /// An empty page of this width.
    #[must_use]
    pub fn new(width: usize, colour: bool) -> Self {
        Self { width: width.max(20), colour, text: String::new() }
    }

    /// Columns of the page.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// An empty line, unless the page ends with one already.
    pub fn gap(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    /// A paragraph, wrapped.
    pub fn paragraph(&mut self, tone: Tone, text: &str) {
        self.hanging(tone, "", text);
    }

    /// A paragraph whose first line begins with a mark, and whose later lines stand under its text.
    pub fn hanging(&mut self, tone: Tone, mark: &str, text: &str) {
        let indent = " ".repeat(console::measure_text_width(mark));
        for (number, paragraph) in text.split('\n').enumerate() {
            let first = if number == 0 { mark } else { indent.as_str() };
            let options = textwrap::Options::new(self.width)
                .initial_indent(first)
                .subsequent_indent(&indent)
                .word_separator(textwrap::WordSeparator::AsciiSpace)
                .word_splitter(textwrap::WordSplitter::NoHyphenation);
            for line in textwrap::wrap(paragraph, options) {
                self.line(tone, &line);
            }
        }
    }

    /// A line as it is, cut at the width.
    pub fn line(&mut self, tone: Tone, text: &str) {
        let cut = console::truncate_str(text.trim_end(), self.width, "…");
        let styled = if self.colour { style_of(tone).apply_to(&*cut).to_string() } else { cut.into_owned() };
        self.text.push_str(&styled);
        self.text.push('\n');
    }

    /// A rule across the page.
    pub fn rule(&mut self) {
        let rule = "─".repeat(self.width);
        self.line(Tone::Faint, &rule);
    }

    /// A table: columns as wide as their cells, the last one wrapped.
    pub fn table(&mut self, columns: &[String], rows: &[Vec<String>]) {
        let count = columns.len();
        let widest = |column: usize| {
            let cells = rows.iter().filter_map(|row| row.get(column)).chain(columns.get(column));
            cells.map(|cell| console::measure_text_width(cell)).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..count).map(widest).collect();
        let needed: usize = widths.iter().sum::<usize>() + 2 * count.saturating_sub(1);
        if needed > self.width {
            // Too narrow for columns: each row becomes a small list.
            for row in rows {
                for (head, cell) in columns.iter().zip(row) {
                    let mark = if head.is_empty() { String::new() } else { format!("{head}: ") };
                    self.hanging(Tone::Plain, &mark, cell);
                }
                self.gap();
            }
            return;
        }
        let joined = |cells: &[String]| {
            let padded = cells.iter().zip(&widths).map(|(cell, width)| {
                format!("{cell}{}", " ".repeat(width.saturating_sub(console::measure_text_width(cell))))
            });
            padded.collect::<Vec<_>>().join("  ")
        };
        self.line(Tone::Faint, &joined(columns));
        for row in rows {
            self.line(Tone::Plain, &joined(row));
        }
    }

    /// The page.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
}

fn style_of(tone: Tone) -> Style {
    let style = Style::new().force_styling(true);
    match tone {
        Tone::Plain => style,
        Tone::Strong => style.bold(),
        Tone::Faint => style.dim(),
        Tone::Alarm => style.red().bold(),
        Tone::Good => style.green(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_wider_than_the_page() {
        let mut page = Page::new(40, false);
        page.hanging(Tone::Plain, "  1  ", "Measure from the rose's earth terminal to the main earth, leads nulled.");
        page.table(&["what".into(), "value".into()], &[vec!["a".repeat(30), "b".repeat(30)]]);
        let text = page.finish();
        assert!(text.lines().all(|line| console::measure_text_width(line) <= 40), "{text}");
        assert!(text.lines().nth(1).is_some_and(|line| line.starts_with("     ")), "{text}");
    }
}
