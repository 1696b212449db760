//! What an author sees when a script is refused: file, line, the word underlined, and what to write instead.

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

use super::interaction::Site;

/// The longest message shown, in characters; a script can make them as long as it likes.
const LONGEST_MESSAGE: usize = 1_000;

/// A script that was refused, or that failed while it ran.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}:{}:{}: {message}", site.file, site.line, site.column)]
pub struct ScriptError {
    /// Where it went wrong.
    pub site: Site,
    /// What is wrong.
    pub message: String,
    /// What to write instead; empty where the message says it all.
    pub advice: String,
    /// The calls that led there, innermost first.
    pub through: Vec<Site>,
}

impl ScriptError {
    /// An error at a place, with advice.
    #[must_use]
    pub fn new(site: Site, message: impl Into<String>, advice: impl Into<String>) -> Self {
        let cut = |text: String| text.chars().take(LONGEST_MESSAGE).collect();
        Self { site, message: cut(message.into()), advice: cut(advice.into()), through: Vec::new() }
    }

    /// The error with the script's line underlined, for people. `text_of` gives the text of a file.
    #[must_use]
    pub fn render<'a>(&self, text_of: impl Fn(&str) -> Option<&'a str>, colour: bool) -> String {
        let text = text_of(&self.site.file).unwrap_or("");
        let (start, end) = span(text, &self.site);
        let mut group = Level::ERROR.primary_title(self.message.as_str()).element(
            Snippet::source(text).path(self.site.file.as_str()).annotation(AnnotationKind::Primary.span(start..end)),
        );
        for site in &self.through {
            group = group.element(Level::NOTE.message(format!("called from {}:{}", site.file, site.line)));
        }
        if !self.advice.is_empty() {
            group = group.element(Level::HELP.message(self.advice.as_str()));
        }
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        renderer.render(&[group])
    }
}

/// The bytes of the word at a place: identifier characters from there, at least one character.
fn span(text: &str, site: &Site) -> (usize, usize) {
    let line_start = match site.line {
        0 => 0,
        line => text.split_inclusive('\n').take(line - 1).map(str::len).sum(),
    };
    let line = text[line_start.min(text.len())..].lines().next().unwrap_or("");
    let within: usize = line.chars().take(site.column.saturating_sub(1)).map(char::len_utf8).sum();
    let start = (line_start + within).min(text.len());
    let word: usize = text[start..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').map(char::len_utf8).sum();
    let least = text[start..].chars().next().map_or(0, char::len_utf8);
    (start, start + word.max(least))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_word_is_underlined_also_after_other_alphabets() {
        let text = "let é = 1;\n  stp(\"a\");\n";
        let site = Site { file: "a.rhai".into(), line: 2, column: 3 };
        let error = ScriptError::new(site, "there is no word `stp`", "did you mean `step`?");
        let shown = error.render(|_| Some(text), false);
        assert!(
            shown.contains("^^^") && shown.contains("did you mean `step`?") && shown.contains("a.rhai:2:3"),
            "{shown}"
        );
    }

    #[test]
    fn a_place_outside_the_text_is_no_fault() {
        let site = Site { file: "a.rhai".into(), line: 99, column: 9 };
        let shown = ScriptError::new(site, "odd", "").render(|_| Some("x"), false);
        assert!(shown.contains("odd"));
    }
}
