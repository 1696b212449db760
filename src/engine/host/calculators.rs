//! The calculators as scripts see them: a map of a case in, a map of the answer out. Nothing is computed here.

use rhai::{Engine, EvalAltResult, FuncRegistration, Map, Module, NativeCallContext};

use super::run::{self, broken, word};
use super::values::{map_to_json, rounded, to_dynamic};
use crate::calc;

/// Registers every calculator under its namespace: `set_out::figure(#{…})`.
pub fn register(engine: &mut Engine) {
    for (namespace, functions) in calc::DOORS {
        let mut module = Module::new();
        for (name, door) in *functions {
            let full = format!("{namespace}::{name}");
            let door = *door;
            FuncRegistration::new(*name).set_into_module(
                &mut module,
                move |context: NativeCallContext, case: Map| -> Result<rhai::Dynamic, Box<EvalAltResult>> {
                    word(&context, |site| {
                        let case = map_to_json(&case).map_err(|message| broken(site, message, ""))?;
                        let (memo, facts) = run::with(|run| (run.memo.clone(), run.facts.clone()));
                        let (key, outcome) = memo.of(&full, &case, || door(&case, &facts));
                        let answer = outcome.map_err(|error| {
                            broken(site, format!("{full}: {error}"), "`lampwright words` shows the fields of each case")
                        })?;
                        Ok(to_dynamic(&calc::offered(rounded(&answer), &key)))
                    })
                },
            );
        }
        engine.register_static_module(*namespace, module.into());
    }
}
