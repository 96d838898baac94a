//! Migrations are embedded at compile time, so a new file alone has to rebuild the crate.
fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
