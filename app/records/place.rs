//! Where the store lies and how its passphrase reaches the program.

use crate::error::AppError;
use crate::files;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use zeroize::Zeroizing;

use super::Records;
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
        if let Some(file) = &self.passphrase_file {
            let text = Zeroizing::new(files::read_text(file)?);
            return Ok(Zeroizing::new(text.lines().next().unwrap_or("").to_owned()));
        }
        if !std::io::stdin().is_terminal() {
            return Err(AppError::Request(
                "the store needs its passphrase, and there is nobody to ask here; name a file that holds it with --passphrase-file".into(),
            ));
        }
        rpassword::prompt_password(question)
            .map(Zeroizing::new)
            .map_err(|source| {
                AppError::Request(format!("the passphrase could not be read: {source}"))
            })
    }

    /// Opens the store.
    ///
    /// # Errors
    /// No store there, another passphrase, open elsewhere, or damaged.
    pub fn open(&self) -> Result<Records, AppError> {
        if !self.path.exists() {
            return Err(AppError::Request(format!(
                "there is no store at {}; start `plinthside` to set one up, or make one with `plinthside import`",
                self.path.display()
            )));
        }
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
        let question = format!("New passphrase for the store at {}: ", self.path.display());
        let first = self.passphrase(&question)?;
        if self.passphrase_file.is_none() && first != self.passphrase("Once more: ")? {
            return Err(AppError::Request(
                "the two passphrases are not alike; nothing was made, try again".into(),
            ));
        }
        Ok(first)
    }
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
