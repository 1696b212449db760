//! Results of calculators, kept by the digest of their input, so that a replay never repeats a layout.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::case::CaseError;
use crate::engine::interaction::{canonical, hex};

/// What a calculator gave for an input.
pub type Outcome = Result<Value, CaseError>;

/// A shared store of results; clones share one store.
#[derive(Debug, Clone, Default)]
pub struct Memo {
    results: Arc<Mutex<BTreeMap<String, (Value, Outcome)>>>,
}

impl Memo {
    /// The result for an input, computed at most once. Gives the key under which the input can be had again.
    pub fn of(&self, calculator: &str, input: &Value, compute: impl FnOnce() -> Outcome) -> (String, Outcome) {
        let digest = hex(&Sha256::digest(canonical(input).as_bytes()));
        let key = format!("{calculator}:{}", &digest[..24]);
        if let Some((_, outcome)) = self.lock().get(&key) {
            return (key, outcome.clone());
        }
        let outcome = compute();
        self.lock().insert(key.clone(), (input.clone(), outcome.clone()));
        (key, outcome)
    }

    /// The input that once gave a result.
    #[must_use]
    pub fn input(&self, key: &str) -> Option<Value> {
        self.lock().get(key).map(|(input, _)| input.clone())
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, (Value, Outcome)>> {
        // A poisoned store still holds only whole results.
        self.results.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}
