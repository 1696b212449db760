//! Transcripts: every screen of a rehearsal at one width, with what was typed.

use super::screen::{self, Frame};
use crate::engine::bundle::Procedure;
use crate::engine::rehearse::Watcher;
use crate::engine::turn::Turn;
use crate::ledger::{Kind, Record};

type Keep<'a> = Box<dyn FnMut(&Record) -> Result<(), String> + 'a>;

/// A watcher that writes the transcript, and hands each record on.
pub struct Transcript<'a> {
    procedure: &'a Procedure,
    width: usize,
    colour: bool,
    mark: &'a str,
    emit: Box<dyn FnMut(&str) + 'a>,
    keep: Keep<'a>,
}

impl<'a> Transcript<'a> {
    /// A transcript at a width. `emit` takes its text, `keep` each record.
    pub fn new(
        procedure: &'a Procedure,
        width: usize,
        colour: bool,
        mark: &'a str,
        emit: impl FnMut(&str) + 'a,
        keep: impl FnMut(&Record) -> Result<(), String> + 'a,
    ) -> Self {
        Self { procedure, width, colour, mark, emit: Box::new(emit), keep: Box::new(keep) }
    }
}

impl Watcher for Transcript<'_> {
    fn turn(&mut self, turn: &Turn) {
        let frame =
            Frame { procedure: self.procedure, width: self.width, colour: self.colour, about: 0, mark: self.mark };
        let text = screen::turn(turn, &frame);
        (self.emit)(&text);
    }

    fn typed(&mut self, typed: &str) {
        (self.emit)(&format!("> {typed}\n"));
    }

    fn happened(&mut self, what: &str) {
        (self.emit)(&format!("! {what}\n"));
    }

    fn record(&mut self, record: &Record) -> Result<(), String> {
        (self.keep)(record)?;
        if record.kind != Kind::Begun {
            (self.emit)(&format!("  saved {}\n", record.at.clock()));
        }
        Ok(())
    }
}
