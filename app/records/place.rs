//! Where the store lies and how its passphrase reaches the program.

use crate::error::AppError;
use crate::files;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use zeroize::Zeroizing;

use super::Records;
use plinthside_store::{Options, Store};
use plinthside_visit::Clinic;

/// A store by path, with the file its passphrase is in if it is not to be asked for.
#[derive(Debug, Clone)]
pub struct Place {
    /// The store.
    pub path: PathBuf,
    /// File whose first line is the passphrase.
    pub passphrase_file: Option<PathBuf>,
}

impl Place {
    /// The store that was named, else the user's own.
    ///
    /// # Errors
    /// The system names no folder for a program's data.
    pub fn new(path: Option<PathBuf>, passphrase_file: Option<PathBuf>) -> Result<Self, AppError> {
        Ok(Self {
            path: match path {
                Some(path) => path,
                None => default_store()?,
            },
            passphrase_file,
        })
    }

    fn passphrase(&self, question: &str) -> Result<Zeroizing<String>, AppError> {
        let file = self.passphrase_file.as_deref();
        ask(file, question, "--passphrase-file")
    }

    /// Opens the store alone, also one whose settings can't be read any more; with its passphrase.
    ///
    /// # Errors
    /// No store there, another passphrase, open elsewhere, or damaged beyond reading.
    pub fn open_store(&self) -> Result<(Store, Zeroizing<String>), AppError> {
        self.must_exist()?;
        let passphrase = self.passphrase("Passphrase of the store: ")?;
        let store = Store::open(&self.path, &passphrase, Options::new(device_name()))?;
        Ok((store, passphrase))
    }

    fn must_exist(&self) -> Result<(), AppError> {
        if self.path.exists() {
            return Ok(());
        }
        Err(AppError::Request(format!(
            "there is no store at {}; start `plinthside` to set one up, or make one with `plinthside import`",
            self.path.display()
        )))
    }

    /// Opens the store.
    ///
    /// # Errors
    /// No store there, another passphrase, open elsewhere, or damaged.
    pub fn open(&self) -> Result<Records, AppError> {
        self.must_exist()?;
        Records::open(&self.path, &self.passphrase("Passphrase of the store: ")?)
    }

    /// Opens the store, or makes a new one where there is none; `true` if it is new.
    ///
    /// # Errors
    /// As [`Place::open`]; a new passphrase that was not typed alike twice.
    pub fn open_or_create(&self, by: &str) -> Result<(Records, bool), AppError> {
        if self.path.exists() {
            return Ok((self.open()?, false));
        }
        let passphrase = self.new_passphrase()?;
        make_private_folder(&self.path)?;
        let records = Records::create(&self.path, &passphrase, &Clinic::default(), by, None)?;
        Ok((records, true))
    }

    /// The passphrase of a backup that is to be restored here.
    ///
    /// # Errors
    /// Nobody to ask.
    pub fn passphrase_of_backup(&self) -> Result<Zeroizing<String>, AppError> {
        make_private_folder(&self.path)?;
        self.passphrase("Passphrase of the backup: ")
    }

    fn new_passphrase(&self) -> Result<Zeroizing<String>, AppError> {
        let file = self.passphrase_file.as_deref();
        new_passphrase(&self.path, file, "--passphrase-file")
    }
}

/// A new passphrase for a store, typed alike twice or out of a file that an option names.
///
/// # Errors
/// Nobody to ask, or not typed alike.
pub fn new_passphrase(
    store: &Path,
    file: Option<&Path>,
    option: &str,
) -> Result<Zeroizing<String>, AppError> {
    let question = format!("New passphrase for the store at {}: ", store.display());
    let first = ask(file, &question, option)?;
    if file.is_none() && first != ask(None, "Once more: ", option)? {
        return Err(AppError::Request(
            "the two passphrases are not alike; nothing was made, try again".into(),
        ));
    }
    Ok(first)
}

/// A passphrase out of a file that an option names, else asked for.
fn ask(file: Option<&Path>, question: &str, option: &str) -> Result<Zeroizing<String>, AppError> {
    if let Some(file) = file {
        let text = Zeroizing::new(files::read_text(file)?);
        return Ok(Zeroizing::new(text.lines().next().unwrap_or("").to_owned()));
    }
    if !std::io::stdin().is_terminal() {
        return Err(AppError::Request(format!(
            "the store needs its passphrase, and there is nobody to ask here; name a file that holds it with {option}"
        )));
    }
    rpassword::prompt_password(question)
        .map(Zeroizing::new)
        .map_err(|source| AppError::Request(format!("the passphrase could not be read: {source}")))
}

/// The user's own store, in the folder the system has for a program's data.
///
/// # Errors
/// The system names none.
fn default_store() -> Result<PathBuf, AppError> {
    let folders = directories::ProjectDirs::from("", "", "plinthside").ok_or_else(|| {
        AppError::Request(
            "the system names no folder for this program's data; name a store with --store".into(),
        )
    })?;
    Ok(folders.data_dir().join("clinic.store"))
}

/// Makes the folder of a store, readable by its owner alone.
///
/// # Errors
/// It can't be made.
pub fn make_private_folder(store: &Path) -> Result<(), AppError> {
    let Some(folder) = store.parent().filter(|f| !f.as_os_str().is_empty()) else {
        return Ok(());
    };
    if folder.is_dir() {
        return Ok(());
    }
    files::make_folder(folder)?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::Permissions::from_mode(0o700);
        std::fs::set_permissions(folder, mode).map_err(|source| AppError::Write {
            path: folder.to_owned(),
            source,
        })?;
    }
    Ok(())
}

/// The device as people call it.
#[must_use]
pub fn device_name() -> String {
    let name = gethostname::gethostname().to_string_lossy().into_owned();
    if name.is_empty() {
        "this device".into()
    } else {
        name
    }
}
