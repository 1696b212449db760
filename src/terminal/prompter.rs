//! The one kind of prompt: a line.
//!
//! In a terminal the line comes from `dialoguer`, after keys typed ahead were thrown away: a key meant for the screen
//! before must not answer this one. Without a terminal, or where a plain one was asked for, lines are read as they come
//! and nothing moves the cursor.

use std::io::{BufRead, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Why no line came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLine {
    /// Ctrl-C, hang-up or termination.
    Interrupted,
    /// The input has ended.
    End,
}

/// What the person is asked through.
pub trait Prompter {
    /// Shows text, as it is.
    fn show(&mut self, text: &str);
    /// Asks for a line. `prompt` is short: what to type.
    ///
    /// # Errors
    /// [`NoLine`] when the person or the system ended it.
    fn line(&mut self, prompt: &str) -> Result<String, NoLine>;
    /// Columns to write within.
    fn width(&self) -> usize;
    /// Whether colour may be used.
    fn colour(&self) -> bool;
    /// A long computation begins or ends, named for the person.
    fn busy(&mut self, with: Option<&str>);
}

/// Sets the flag that a signal leaves; the handler does nothing else, so the terminal is restored by whoever waits.
pub fn watch_signals() {
    // A second handler is refused by the library; the first one does the same.
    let _ = ctrlc::set_handler(|| INTERRUPTED.store(true, Ordering::SeqCst));
}

/// Whether a signal came since the last look.
#[must_use]
pub fn was_interrupted() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}

/// The prompter for what this process is connected to.
///
/// `plain` asks for no colour and no cursor movement, as do `NO_COLOR` (colour only) and `TERM=dumb`.
#[must_use]
pub fn for_this_process(plain: bool) -> Box<dyn Prompter> {
    let dumb = std::env::var("TERM").is_ok_and(|term| term == "dumb");
    let terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal() && std::io::stdout().is_terminal();
    let colour = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    if plain || dumb || !terminal {
        return Box::new(Plain { width: columns().unwrap_or(80).min(100) });
    }
    Box::new(Rich { colour, bar: None })
}

fn columns() -> Option<usize> {
    let from_variable = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok());
    console::Term::stdout().size_checked().map(|(_, columns)| usize::from(columns)).or(from_variable)
}

/// Lines in, lines out.
pub struct Plain {
    width: usize,
}

impl Plain {
    /// A plain prompter of this width.
    #[must_use]
    pub fn new(width: usize) -> Self {
        Self { width }
    }
}

impl Prompter for Plain {
    fn show(&mut self, text: &str) {
        put(text);
    }

    fn line(&mut self, prompt: &str) -> Result<String, NoLine> {
        if was_interrupted() {
            return Err(NoLine::Interrupted);
        }
        put(&format!("{prompt}: "));
        let mut line = String::new();
        match std::io::stdin().lock().read_line(&mut line) {
            _ if was_interrupted() => Err(NoLine::Interrupted),
            Ok(0) => Err(NoLine::End),
            Ok(_) => {
                if !std::io::stdin().is_terminal() {
                    put("\n");
                }
                Ok(line.trim_end_matches(['\n', '\r']).to_owned())
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => Err(NoLine::Interrupted),
            Err(_) => Err(NoLine::End),
        }
    }

    fn width(&self) -> usize {
        self.width
    }

    fn colour(&self) -> bool {
        false
    }

    fn busy(&mut self, with: Option<&str>) {
        if let Some(with) = with {
            put(&format!("{with} …\n"));
        }
    }
}

/// A terminal.
pub struct Rich {
    colour: bool,
    bar: Option<indicatif::ProgressBar>,
}

impl Prompter for Rich {
    fn show(&mut self, text: &str) {
        put(text);
    }

    fn line(&mut self, prompt: &str) -> Result<String, NoLine> {
        if was_interrupted() {
            return Err(NoLine::Interrupted);
        }
        // Keys typed ahead were meant for another screen.
        let _ = rustix::termios::tcflush(std::io::stdin(), rustix::termios::QueueSelector::IFlush);
        let plain = dialoguer::theme::SimpleTheme;
        let colourful = dialoguer::theme::ColorfulTheme::default();
        let theme: &dyn dialoguer::theme::Theme = if self.colour { &colourful } else { &plain };
        let result = dialoguer::Input::<String>::with_theme(theme)
            .with_prompt(prompt)
            .allow_empty(true)
            .report(true)
            .interact_text();
        let _ = console::Term::stderr().show_cursor();
        match result {
            _ if was_interrupted() => Err(NoLine::Interrupted),
            Ok(line) => Ok(line),
            Err(dialoguer::Error::IO(error)) if error.kind() == std::io::ErrorKind::Interrupted => {
                Err(NoLine::Interrupted)
            }
            Err(_) => Err(NoLine::End),
        }
    }

    fn width(&self) -> usize {
        columns().unwrap_or(80).clamp(30, 100)
    }

    fn colour(&self) -> bool {
        self.colour
    }

    fn busy(&mut self, with: Option<&str>) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
        if let Some(with) = with {
            let bar = indicatif::ProgressBar::new_spinner().with_message(with.to_owned());
            bar.enable_steady_tick(std::time::Duration::from_millis(120));
            self.bar = Some(bar);
        }
    }
}

/// Writes to standard output; a closed pipe ends the program quietly elsewhere, at the next read.
pub fn put(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}
