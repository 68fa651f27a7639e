//! The `plinthside` command.
slint::include_modules!();
fn main() { let _ = App::new(); }
