//! All integration tests, in one binary.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "faults/ledger.rs"]
mod faults_ledger;
mod commands;
mod developers;
mod published;
mod rehearsals;
mod script_errors;
mod support;
mod tidy;
mod worked_example;
