//! The `plinthside` command.

fn main() {
    println!("plinthside {}", env!("CARGO_PKG_VERSION"));
}
