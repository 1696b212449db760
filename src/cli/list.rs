//! `lampwright list`.

use super::{Exit, Failure};
use crate::engine::bundle::Bundle;
use crate::terminal::prompter::put;

/// Lists the procedures, one line each.
pub fn list() -> Result<Exit, Failure> {
    let procedures = Bundle::shipped();
    let widest = procedures.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    for (name, title) in procedures {
        put(&format!("{name:<widest$}  {title}\n"));
    }
    Ok(Exit::Good)
}
