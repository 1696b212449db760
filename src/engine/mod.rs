//! The engine: what is to be done next is a pure function of bundle, ledger and moment.
//!
//! [`Engine::advance`] gives the [`turn::Turn`]; [`Engine::accept`] checks a reply and makes the record. The ledger has
//! two readings: [`fold`] says how the world is and runs no script, the replay says what the plan wants. Terminal,
//! rehearsal, drill and audit are callers of these two and hold no state of their own.

mod accept;
mod advance;
mod amend;
pub mod answers;
pub mod assume;
pub mod bundle;
pub mod cards;
pub mod explore;
pub mod fold;
pub mod host;
pub mod interaction;
pub mod rehearsal;
pub mod rehearse;
pub mod replay;
pub mod said;
pub mod scripterror;
#[cfg(test)]
mod tests;
pub mod turn;
pub mod typed;

pub use accept::Reply;
pub use advance::{Engine, point_of, risks_of, scene_from};
pub use amend::{Consequences, Reviewed};
