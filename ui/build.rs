//! Compiles the screens with their translations. Tests find elements by their ids, so these are
//! kept in the binary.

fn main() {
    let config = slint_build::CompilerConfiguration::new()
        .with_bundled_translations("lang")
        // One wording for one text, wherever it stands; where not, the text names its context.
        .with_default_translation_context(slint_build::DefaultTranslationContext::None)
        .with_debug_info(true);
    if let Err(error) = slint_build::compile_with_config("app.slint", config) {
        println!("cargo::error={error}");
        std::process::exit(1);
    }
}
