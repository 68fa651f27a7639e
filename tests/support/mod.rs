//! The program as a process, without a display and with nobody to ask.
#![allow(clippy::expect_used)]

use std::process::{Command, Output};

/// Runs the program.
pub fn plinthside<S: AsRef<std::ffi::OsStr>>(args: impl IntoIterator<Item = S>) -> Output {
    Command::new(env!("CARGO_BIN_EXE_plinthside"))
        .args(args)
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("PLINTHSIDE_STORE")
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program starts")
}

/// What a command that succeeded printed.
pub fn done(output: &Output) -> String {
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{stderr}");
    String::from_utf8(output.stdout.clone()).expect("UTF-8")
}

/// The sentence of a refusal: exit status 1, no panic.
pub fn refusal(output: &Output) -> String {
    let stderr = String::from_utf8(output.stderr.clone()).expect("UTF-8");
    assert_eq!(output.status.code(), Some(1), "{stderr}");
    assert!(!stderr.contains("panicked"), "{stderr}");
    stderr
}
