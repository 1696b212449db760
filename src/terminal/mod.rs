//! The terminal: prompts, screens, progress.
pub mod prompter;
pub mod screen;
pub mod session;
pub mod transcript;
