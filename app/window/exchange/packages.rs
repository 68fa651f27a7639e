//! A sealed package opened from the window: chosen in a folder, typed, or dropped.

use super::words::remark;
use crate::error::AppError;
use crate::files;
use crate::window::session::Session;
use crate::window::text::{models, said};
use chrono::{DateTime, Local};
use plinthside_exchange::SecretKey;
use plinthside_ui::{self as ui, Tone};
use plinthside_visit::{Lang, Text};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// The largest package that is read into memory.
const LIMIT_BYTES: u64 = 1 << 30;
/// So many packages of a folder are offered.
const OFFERED: usize = 8;
/// The key file used last, kept on this device only.
const KEY: &str = "package-key";

/// The screen of packages.
#[derive(Default)]
pub struct Packages {
    path: PathBuf,
    key: String,
    offered: Vec<(PathBuf, SystemTime)>,
    opening: bool,
    problem: String,
    opened: Option<Unpacked>,
}

/// A package to be opened, for the worker.
pub struct Opening {
    package: PathBuf,
    key: PathBuf,
    folder: PathBuf,
}

/// An opened package: everything in it was verified.
pub struct Unpacked {
    /// What it is, in words.
    lines: Vec<String>,
    /// What changed since the revision it replaces.
    changes: Vec<String>,
    /// What the lab has to know before it relies on it.
    told: Vec<String>,
    place: PathBuf,
}

impl Opening {
    /// Opens and verifies the package and writes its files.
    ///
    /// # Errors
    /// In words: no such file, the wrong key, a package that is not whole.
    pub fn open(&self) -> Result<Unpacked, String> {
        let open = || -> Result<Unpacked, AppError> {
            let key = SecretKey::read(&files::read_text(&self.key)?)?;
            let bytes = files::read_limited(&self.package, LIMIT_BYTES)?;
            let opened = plinthside_exchange::open(&bytes, &key)?;
            let (place, told) = opened.write(&self.folder)?;
            let is_change = |line: &String| line.starts_with("  ");
            let (changes, lines) = opened.words().into_iter().partition(is_change);
            Ok(Unpacked {
                lines,
                changes,
                told,
                place,
            })
        };
        open().map_err(|problem| problem.to_string())
    }
}

fn is_package(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.ends_with(".age") && !name.ends_with(".receipt.age")
}

impl Packages {
    /// Looks at a path: a folder's packages are offered, a file is taken.
    fn look(&mut self, path: &Path) {
        let folder = match path.is_dir() {
            true => path,
            false => path.parent().unwrap_or(Path::new(".")),
        };
        self.path = path.to_owned();
        let found = std::fs::read_dir(folder).into_iter().flatten().flatten();
        self.offered = found
            .filter(|entry| is_package(&entry.path()))
            .filter_map(|entry| Some((entry.path(), entry.metadata().ok()?.modified().ok()?)))
            .collect();
        self.offered.sort_by(|a, b| (b.1, &a.0).cmp(&(a.1, &b.0)));
        self.offered.truncate(OFFERED);
    }

    fn hush(&mut self) {
        self.problem.clear();
        self.opened = None;
    }
}

impl Session {
    /// Goes to the screen of packages.
    pub fn package_enter(&mut self) {
        self.packages.hush();
        if self.packages.path.as_os_str().is_empty() {
            let folders = directories::UserDirs::new();
            let downloads = folders
                .as_ref()
                .and_then(directories::UserDirs::download_dir);
            let folder = downloads.map_or(self.folder.clone(), Path::to_owned);
            self.packages.look(&folder);
        }
        if self.packages.key.is_empty()
            && let Some(records) = self.records()
            && let Ok(Some(kept)) = records.store().local(KEY)
        {
            self.packages.key = String::from_utf8(kept).unwrap_or_default();
        }
    }

    /// Looks at a folder or a file that was typed.
    pub fn package_look(&mut self, path: &str) {
        self.packages.hush();
        self.packages.look(Path::new(path.trim()));
    }

    /// Takes one of the packages offered.
    pub fn package_choose(&mut self, index: usize) {
        self.packages.hush();
        if let Some((path, _)) = self.packages.offered.get(index).cloned() {
            self.packages.look(&path);
        }
    }

    /// Takes a file that was dropped on the window, or that the program was started with; the open
    /// visit stays open behind it.
    pub fn package_given(&mut self, path: &Path) {
        if !is_package(path) && !path.is_dir() {
            let text = Text::new(
                "The window opens sealed packages, whose names end in .age. Photographs are dropped on the step Photographs of a visit.",
                "Das Fenster öffnet versiegelte Pakete; deren Namen enden auf .age. Fotos werden beim Schritt Fotos eines Besuchs fallen gelassen.",
            );
            self.trouble = text.get(self.look.lang).to_owned();
            return;
        }
        self.settings_come_from();
        self.package_enter();
        self.packages.look(path);
        self.screen = ui::Screen::Package;
    }

    /// What is to be opened; what stands in the way is said.
    pub fn package_wanted(&mut self, path: &str, key: &str) -> Option<Opening> {
        let lang = self.look.lang;
        let (path, key) = (PathBuf::from(path.trim()), key.trim().to_owned());
        self.packages.hush();
        self.packages.look(&path);
        self.packages.key.clone_from(&key);
        let missing = match (path.is_file(), key.is_empty()) {
            (false, _) => Some(Text::new(
                "Choose the package first: a file whose name ends in .age.",
                "Bitte zuerst das Paket wählen: eine Datei, deren Name auf .age endet.",
            )),
            (true, true) => Some(Text::new(
                "Name the lab's key file: without it nobody opens the package.",
                "Bitte die Schlüsseldatei der Werkstatt nennen: Ohne sie öffnet niemand das Paket.",
            )),
            (true, false) => None,
        };
        if let Some(missing) = missing {
            missing.get(lang).clone_into(&mut self.packages.problem);
            return None;
        }
        if self.records().is_some() {
            self.try_records(|records| Ok(records.store().set_local(KEY, Some(key.as_bytes()))?));
        }
        self.packages.opening = true;
        Some(Opening {
            package: path,
            key: key.into(),
            folder: self.folder.join("packages"),
        })
    }

    /// Takes an opened package, or why it stays closed.
    pub fn package_opened(&mut self, opened: Result<Unpacked, String>) {
        self.packages.opening = false;
        match opened {
            Ok(opened) => self.packages.opened = Some(opened),
            Err(problem) => self.packages.problem = problem,
        }
    }
}

/// The screen's state.
pub fn view(packages: &Packages, lang: Lang) -> ui::PackageView {
    let offered = packages.offered.iter().map(|(path, at)| ui::ChoiceItem {
        text: path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .as_ref()
            .into(),
        note: DateTime::<Local>::from(*at)
            .format(Text::new("%-d %b, %H:%M", "%d.%m., %H:%M").get(lang))
            .to_string()
            .into(),
        chosen: *path == packages.path,
    });
    let opened = packages.opened.as_ref();
    let lines = opened.map_or_else(Vec::new, |opened| {
        let told = opened
            .told
            .iter()
            .map(|line| match line.strip_prefix("  ") {
                Some(change) => remark(said(change, lang), Tone::Chosen),
                None => remark(said(line, lang), Tone::Caution),
            });
        let lines = opened.lines.iter();
        let lines = lines.map(|line| remark(said(line, lang), Tone::Plain));
        let changes = opened.changes.iter();
        let changes = changes.map(|line| remark(said(line.trim(), lang), Tone::Chosen));
        told.chain(lines).chain(changes).collect()
    });
    let place = opened.map_or_else(String::new, |o| o.place.display().to_string());
    ui::PackageView {
        path: packages.path.display().to_string().into(),
        key: packages.key.as_str().into(),
        offered: models(offered.collect()),
        opening: packages.opening,
        problem: said(&packages.problem, lang).into(),
        lines: models(lines),
        place: place.into(),
    }
}
