//! A new migration is embedded without a change to any Rust file.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
