//! Compiles the screens in `ui/` and names the element ids that tests find.

fn main() {
    let config = slint_build::CompilerConfiguration::new();
    if let Err(error) = slint_build::compile_with_config("ui/app.slint", config) {
        println!("cargo::error={error}");
        std::process::exit(1);
    }
}
