//! A changed migration is built in anew: the compiler does not watch that folder by itself.

fn main() {
    println!("cargo:rerun-if-changed=../../migrations");
}
