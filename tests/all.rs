//! All integration tests, in one binary.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "faults/ledger.rs"]
mod faults_ledger;
mod rehearsals;
mod support;
mod tidy;
mod worked_example;
