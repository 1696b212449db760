//! A map for keys that are small numbers, looked up in the innermost loop of the search.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// A map from numbers; its keys are numbers that this program counted up itself, so that nobody can choose them to clash.
pub(super) type QuickMap<K, V> = HashMap<K, V, BuildHasherDefault<Mixer>>;

/// Spreads a number over 64 bits with one multiplication (by 2⁶⁴ over the golden ratio) and a fold.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Mixer(u64);

impl Hasher for Mixer {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u64(u64::from(*byte));
        }
    }

    fn write_u64(&mut self, number: u64) {
        let mixed = (self.0 ^ number).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.0 = mixed ^ (mixed >> 32);
    }
}
