//! Imports: modules come from the bundle by literal name, and a script is checked before it runs.

use std::cell::RefCell;
use std::collections::BTreeMap;

use rhai::{AST, ASTNode, Engine, EvalAltResult, Expr, Module, ModuleResolver, Position, Scope, Shared, Stmt};

use super::{from_parse, place, run, text};
use crate::engine::bundle::Bundle;
use crate::engine::scripterror::ScriptError;

/// Words whose first argument is a key or name that must stand in the script as it is.
const WITH_LITERAL_KEY: &[&str] = &[
    "step",
    "read",
    "choose",
    "pause",
    "hand_over",
    "wait_for",
    "stop",
    "length",
    "count",
    "amount",
    "one_of",
    "yes_no",
];

/// The modules of a bundle, compiled when first imported.
pub struct Modules {
    sources: BTreeMap<String, String>,
    loaded: RefCell<BTreeMap<String, Shared<Module>>>,
    loading: RefCell<Vec<String>>,
}

impl Modules {
    /// The modules of this bundle.
    pub fn new(bundle: &Bundle) -> Self {
        let own = bundle
            .scripts
            .iter()
            .filter_map(|(name, text)| Some((name.strip_suffix(".rhai")?.to_owned(), text.clone())));
        let sources = own.chain(bundle.modules.iter().map(|(name, text)| (name.clone(), text.clone()))).collect();
        Self { sources, loaded: RefCell::default(), loading: RefCell::default() }
    }

    fn load(&self, engine: &Engine, path: &str, position: Position) -> Result<Shared<Module>, Box<EvalAltResult>> {
        let refuse =
            |message: String| -> Box<EvalAltResult> { EvalAltResult::ErrorRuntime(message.into(), position).into() };
        let source = self.sources.get(path).ok_or_else(|| {
            let near: Vec<_> = self.sources.keys().filter(|name| name.starts_with("lib/")).cloned().collect();
            refuse(format!("there is no module `{path}`; shared modules are: {}", near.join(", ")))
        })?;
        if self.loading.borrow().iter().any(|name| name == path) {
            let chain = self.loading.borrow().join(" → ");
            return Err(refuse(format!("modules import each other in a circle: {chain} → {path}")));
        }
        self.loading.borrow_mut().push(path.to_owned());
        let result = (|| {
            let mut ast = engine.compile(source).map_err(|error| {
                let error = from_parse(path, &error);
                refuse(error.to_string())
            })?;
            ast.set_source(text(path));
            check(&ast, path).map_err(|error| refuse(error.to_string()))?;
            run::loading(|| Module::eval_ast_as_new(Scope::new(), &ast, engine))
        })();
        self.loading.borrow_mut().pop();
        let mut module = result?;
        module.build_index();
        Ok(module.into())
    }
}

impl ModuleResolver for Modules {
    fn resolve(
        &self,
        engine: &Engine,
        _source: Option<&str>,
        path: &str,
        position: Position,
    ) -> Result<Shared<Module>, Box<EvalAltResult>> {
        if let Some(module) = self.loaded.borrow().get(path) {
            return Ok(module.clone());
        }
        let module = self.load(engine, path, position)?;
        self.loaded.borrow_mut().insert(path.to_owned(), module.clone());
        Ok(module)
    }
}

/// Checks a compiled script: imports by literal name only, keys literal.
///
/// # Errors
/// [`ScriptError`] at the first offence.
pub fn check(ast: &AST, file: &str) -> Result<(), ScriptError> {
    let mut offence = None;
    ast.walk(&mut |path: &[ASTNode]| {
        offence = match path.last() {
            Some(ASTNode::Stmt(Stmt::Import(import, position))) if !is_literal(&import.0) => Some(ScriptError::new(
                place(file, *position),
                "a module is imported by its literal name",
                "write import \"lib/isolation\" as isolation;",
            )),
            Some(ASTNode::Stmt(Stmt::FnCall(call, position))) => key_offence(call, file, *position),
            Some(ASTNode::Expr(Expr::FnCall(call, position))) => key_offence(call, file, *position),
            _ => None,
        };
        offence.is_none()
    });
    offence.map_or(Ok(()), Err)
}

fn is_literal(expression: &Expr) -> bool {
    matches!(expression, Expr::StringConstant(..))
}

fn key_offence(call: &rhai::FnCallExpr, file: &str, position: Position) -> Option<ScriptError> {
    let asks = WITH_LITERAL_KEY.contains(&call.name.as_str()) && call.args.len() == 2;
    let literal = call.args.first().is_some_and(is_literal);
    (asks && !literal).then(|| {
        ScriptError::new(
            place(file, position),
            format!("the key of `{}` is not written out", call.name),
            "keys are literal and permanent; what differs from thing to thing goes into `of:`",
        )
    })
}
