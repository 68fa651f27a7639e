//! The invariants of DEVELOPERS.md that can be read off the tree itself.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests, not only #[test] functions

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Files below a folder with one of these endings, build output left out.
fn files_below(folder: &Path, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap().map(Result::unwrap) {
            let path = entry.path();
            let name = entry.file_name().to_string_lossy().into_owned();
            if path.is_dir() {
                // Cargo marks its build folders; a module may well be called target.
                let built = path.join("CACHEDIR.TAG").exists();
                if !built && !["build-output", ".git"].contains(&name.as_str()) {
                    folders.push(path);
                }
            } else if endings.iter().any(|ending| name.ends_with(ending)) {
                found.push(path);
            }
        }
    }
    assert!(!found.is_empty(), "nothing below {}", folder.display());
    found
}

/// Lines of code (comments left out) below `folder` that contain one of `words`.
fn lines_with(folder: &str, endings: &[&str], words: &[&str]) -> Vec<String> {
    let mut hits = Vec::new();
    for path in files_below(&root().join(folder), endings) {
        for (i, line) in fs::read_to_string(&path).unwrap().lines().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            if words.iter().any(|word| code.contains(word)) {
                hits.push(format!("{}:{}: {}", path.display(), i + 1, line.trim()));
            }
        }
    }
    hits
}

#[test]
fn core_never_names_the_screen_library() {
    let hits = lines_with("core", &[".rs", "Cargo.toml"], &["slint"]);
    assert!(hits.is_empty(), "{}", hits.join("\n"));
}

#[test]
fn measure_and_visit_touch_no_disk_clock_or_network() {
    let reaches = [
        "std::fs",
        "std::net",
        "std::env",
        "SystemTime",
        "Instant::now",
        "Utc::now",
        "Local::now",
    ];
    for folder in ["core/measure/src", "core/visit/src"] {
        let hits = lines_with(folder, &[".rs"], &reaches);
        assert!(hits.is_empty(), "{}", hits.join("\n"));
    }
}

#[test]
fn dependencies_point_one_way() {
    let forbidden = [
        ("core/measure", &["plinthside-"][..]),
        (
            "core/visit",
            &["plinthside-paper", "plinthside-store", "plinthside-ui"][..],
        ),
        ("core/paper", &["plinthside-store", "plinthside-ui"][..]),
        ("core/store", &["plinthside-paper", "plinthside-ui"][..]),
        (
            "ui",
            &[
                "plinthside-measure",
                "plinthside-visit",
                "plinthside-paper",
                "plinthside-store",
            ][..],
        ),
    ];
    for (krate, names) in forbidden {
        let manifest = fs::read_to_string(root().join(krate).join("Cargo.toml")).unwrap();
        let section = manifest.split("[dependencies]").nth(1).unwrap();
        let section = section.split("\n[").next().unwrap();
        for name in names {
            assert!(!section.contains(name), "{krate} must not depend on {name}");
        }
    }
}

#[test]
fn every_crate_forbids_unsafe_through_the_workspace_lints() {
    for manifest in files_below(root(), &["Cargo.toml"]) {
        let text = fs::read_to_string(&manifest).unwrap();
        // The generated screen code needs Slint's own unsafe blocks; Android finds its entry by an
        // unmangled name. The fuzz targets are no part of the workspace.
        let excused = ["plinthside-ui", "plinthside-android", "plinthside-fuzz"]
            .iter()
            .any(|name| text.contains(&format!("name = \"{name}\"")));
        if excused || !text.contains("[package]") {
            continue;
        }
        assert!(
            text.contains("[lints]\nworkspace = true"),
            "{}",
            manifest.display()
        );
    }
}

#[test]
fn no_file_is_too_long_to_read_in_one_sitting() {
    for path in files_below(root(), &[".rs", ".slint", ".py", ".typ"]) {
        let lines = fs::read_to_string(&path).unwrap().lines().count();
        // A test file may tell a longer story than the code it protects.
        let is_test = path.components().any(|part| part.as_os_str() == "tests");
        let most = if is_test { 750 } else { 500 };
        assert!(
            lines <= most,
            "{} has {lines} lines; split it by what it does",
            path.display()
        );
    }
}

/// DEVELOPERS.md's code map names every crate folder, and names no folder that is gone.
#[test]
fn the_code_map_matches_the_tree() {
    let map = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let map = map
        .split("## Code map")
        .nth(1)
        .expect("a section \"Code map\"");
    let map = map.split("\n## ").next().unwrap();
    for manifest in files_below(root(), &["Cargo.toml"]) {
        let folder = manifest.parent().unwrap().strip_prefix(root()).unwrap();
        let name = folder.display().to_string();
        assert!(
            name.is_empty() || map.contains(&format!("`{name}/`")),
            "{name} is not on the map"
        );
    }
    for word in map
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| word.ends_with('/'))
    {
        assert!(
            root().join(word).is_dir(),
            "the map names {word}, which is not there"
        );
    }
}

/// Every dependency of a crate is named in its code.
#[test]
fn no_dependency_is_unused() {
    // What a crate calls itself in code, where that differs from its name.
    let names = BTreeMap::from([("kamadak-exif", "exif")]);
    // Asked for only to choose a feature of what others bring along.
    let for_features = ["fontique"];
    for manifest in files_below(root(), &["Cargo.toml"]) {
        let folder = manifest.parent().unwrap();
        let own = if folder == root() {
            vec![root().join("app"), root().join("tests")]
        } else {
            vec![folder.to_owned()]
        };
        let code: String = own
            .iter()
            .flat_map(|folder| files_below(folder, &[".rs"]))
            .map(|path| fs::read_to_string(path).unwrap())
            .collect();
        let mut asked = false;
        for line in fs::read_to_string(&manifest).unwrap().lines() {
            if line.starts_with('[') {
                asked = line.ends_with("dependencies]") && !line.contains("workspace");
                continue;
            }
            let name = line.split(['=', '.', ' ']).next().unwrap_or_default();
            if !asked || name.is_empty() || name.starts_with('#') || for_features.contains(&name) {
                continue;
            }
            let called = names.get(name).copied().unwrap_or(name).replace('-', "_");
            assert!(
                code.contains(&format!("{called}::")) || code.contains(&format!("use {called}")),
                "{} asks for {name} and does not use it",
                manifest.display()
            );
        }
    }
}

/// A package of Cargo.lock: its name and version, and what it depends on, by name, or by name and
/// version where there are several.
fn locked() -> Vec<(String, Vec<String>)> {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let value = |block: &str, key: &str| {
        let line = block.lines().find_map(|line| line.strip_prefix(key));
        line.map(|value| value.trim_matches('"').to_owned())
    };
    let package = |block: &str| {
        let name = value(block, "name = ")?;
        let version = value(block, "version = ")?;
        let needs = block.split("dependencies = [").nth(1).unwrap_or_default();
        let needs = needs
            .lines()
            .map(|line| line.trim().trim_matches([',', '"']).to_owned());
        Some((format!("{name} {version}"), needs.collect()))
    };
    lock.split("[[package]]").filter_map(package).collect()
}

#[test]
fn no_library_is_there_in_two_versions_for_our_sake() {
    let packages = locked();
    let ours = |name: &str| name.starts_with("plinthside");
    let (by_us, by_others): (Vec<_>, Vec<_>) = packages.iter().partition(|(name, _)| ours(name));
    let mut alone = Vec::new();
    for (us, needs) in by_us {
        // Cargo names a version only where the lock file holds several.
        for need in needs.iter().filter(|need| need.contains(' ')) {
            if !by_others.iter().any(|(_, theirs)| theirs.contains(need)) {
                alone.push(format!("{us} alone needs {need}"));
            }
        }
    }
    assert!(packages.len() > 100, "Cargo.lock was not understood");
    assert!(alone.is_empty(), "{}", alone.join("\n"));
}
