#![allow(clippy::unwrap_used)]

use super::characters::{self, Glyphs};
use super::svg::{self, Style};
use super::*;

mod demo;
mod hostile;
mod scene;
mod snapshots;
