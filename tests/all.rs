//! All integration tests, in one binary.

#![allow(clippy::unwrap_used, clippy::expect_used)]

mod commands;
mod developers;
mod every_way;
#[path = "faults/ledger.rs"]
mod faults_ledger;
mod published;
mod rehearsals;
mod script_errors;
mod support;
mod tidy;
mod worked_example;
