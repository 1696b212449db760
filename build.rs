//! Builds the program anew when a procedure, a module or a fact that is embedded in it has changed.

fn main() {
    println!("cargo:rerun-if-changed=procedures");
    println!("cargo:rerun-if-changed=shared");
}
