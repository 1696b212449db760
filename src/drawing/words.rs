//! Text as drawings need it: inert, measured in columns, cut to a length that is said.

use textwrap::core::display_width;

/// Longest name or remark taken from outside, characters. Longer ones are cut, with a mark.
const LONGEST: usize = 200;

/// The text with everything that could steer a terminal, a reader's eye or a parser replaced by a visible mark.
pub(super) fn inert(text: &str) -> String {
    let mut kept: String = text.chars().take(LONGEST).map(|c| if steers(c) { '\u{FFFD}' } else { c }).collect();
    if text.chars().nth(LONGEST).is_some() {
        kept.push('…');
    }
    kept
}

/// Control characters, marks that turn the direction of writing, invisible characters, and what XML can't hold.
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00AD}' | '\u{061C}' | '\u{180E}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}'
            | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{FFFE}' | '\u{FFFF}' | '\u{E0000}'..='\u{E0FFF}')
}

/// How many columns of a terminal the text takes.
pub(super) fn columns(text: &str) -> usize {
    display_width(text)
}

/// The text, or as much of it as fits into some columns with a mark that it was cut.
pub(super) fn cut(text: &str, most: usize) -> String {
    if columns(text) <= most {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if columns(&kept) + 1 > most {
            kept.pop();
            break;
        }
    }
    if most > 0 {
        kept.push('…');
    }
    kept
}

/// A length in whole millimetres.
pub(super) fn mm(value: f64) -> String {
    let whole = value.round();
    format!("{}", if whole == 0.0 { 0.0 } else { whole })
}

/// `1 core`, `3 cores`.
pub(super) fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}
