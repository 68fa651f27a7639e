//! The program as a process, without a display and with nobody to ask.
#![allow(clippy::expect_used)]
#![allow(dead_code)] // each test program uses its part

use serde_json::Value;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use tempfile::TempDir;

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

/// One demonstration for all tests of a program; each works on a copy of it.
pub fn demonstration() -> &'static Path {
    static DEMO: OnceLock<TempDir> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = TempDir::new().expect("folder");
        done(&plinthside([
            "demo".as_ref(),
            "--headless".as_ref(),
            folder.path().as_os_str(),
        ]));
        folder
    })
    .path()
}

/// The files of the demonstration, its photographs left out, in a folder of their own.
pub struct DemoCopy(pub TempDir);

impl DemoCopy {
    pub fn new() -> Self {
        let folder = TempDir::new().expect("folder");
        for file in fs::read_dir(demonstration()).expect("listed") {
            let file = file.expect("listed").path();
            if let (true, Some(name)) = (file.is_file(), file.file_name()) {
                fs::copy(&file, folder.path().join(name)).expect("copied");
            }
        }
        Self(folder)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs a command on one of the stores here.
    pub fn on<S: AsRef<OsStr>>(&self, store: &str, args: &[S]) -> Output {
        let (store, passphrase) = (self.path(store), self.path("passphrase.txt"));
        let mut all: Vec<&OsStr> = args.iter().map(AsRef::as_ref).collect();
        all.extend([
            "--store".as_ref(),
            store.as_os_str(),
            "--passphrase-file".as_ref(),
            passphrase.as_os_str(),
        ]);
        plinthside(all)
    }

    /// Runs a command on the demonstration's store.
    pub fn run<S: AsRef<OsStr>>(&self, args: &[S]) -> Output {
        self.on("demo.store", args)
    }

    /// What a command on it prints as JSON.
    pub fn json(&self, args: &[&str]) -> Value {
        let mut args = args.to_vec();
        args.push("--json");
        serde_json::from_str(&done(&self.run(&args))).expect("JSON")
    }
}
