//! `lampwright` guides a person through a lighting job in a dwelling, one step at a time, and holds a safety gate that
//! cannot be talked past.
//!
//! The layers, each of which imports downward only:
//!
//! | layer | modules |
//! |---|---|
//! | 0 | [`quantity`], [`case`], [`moment`]: what people type and read |
//! | 1 | [`facts`]: tables and limits, each with its source |
//! | 2 | [`calc`]: the calculators · [`gate`]: the isolation machine · [`ledger`]: the append-only file |
//! | 3 | [`engine`]: what is to be done next, as a pure function of bundle, ledger and moment |
//! | 4 | [`drawing`]: plans and junctions, to characters or to SVG |
//! | 5 | [`pack`]: a job's documents · [`terminal`]: prompts and screens |
//! | 6 | [`cli`]: the commands |

pub mod calc;
pub mod case;
pub mod cli;
pub mod drawing;
pub mod engine;
pub mod facts;
pub mod gate;
pub mod ledger;
pub mod moment;
pub mod pack;
pub mod quantity;
pub mod terminal;

pub use cli::run;
