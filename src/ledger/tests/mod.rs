//! Tests of the parts that are not public, and of the written form.
#![allow(clippy::unwrap_used)]

mod codec;
mod files;
