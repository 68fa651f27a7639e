//! Reading what the user names and writing results whole or not at all.

use crate::error::AppError;
use serde::de::DeserializeOwned;
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// A text file longer than this is not one of ours.
const TEXT_LIMIT_BYTES: u64 = 64 << 20;
/// The largest photograph that is read into memory.
const PHOTO_LIMIT_BYTES: u64 = 256 << 20;

/// The bytes of a file.
///
/// # Errors
/// When it cannot be read or is larger than any of its kind.
pub fn read_limited(path: &Path, limit_bytes: u64) -> Result<Vec<u8>, AppError> {
    let fail = |source| AppError::Read {
        path: path.to_owned(),
        source,
    };
    let file = File::open(path).map_err(fail)?;
    let mut bytes = Vec::new();
    file.take(limit_bytes + 1)
        .read_to_end(&mut bytes)
        .map_err(fail)?;
    if bytes.len() as u64 > limit_bytes {
        return Err(AppError::TooLarge {
            path: path.to_owned(),
            limit_mib: limit_bytes >> 20,
        });
    }
    Ok(bytes)
}

/// The bytes of a photograph.
///
/// # Errors
/// When the file cannot be read or is absurdly large.
pub fn read_photo(path: &Path) -> Result<Vec<u8>, AppError> {
    read_limited(path, PHOTO_LIMIT_BYTES)
}

/// A text file.
///
/// # Errors
/// When the file cannot be read, is too large or is no UTF-8 text.
pub fn read_text(path: &Path) -> Result<String, AppError> {
    String::from_utf8(read_limited(path, TEXT_LIMIT_BYTES)?).map_err(|_| AppError::NotText {
        path: path.to_owned(),
    })
}

/// A JSON file as `T`.
///
/// # Errors
/// When the file cannot be read or is no JSON of that form; the sentence names line and column.
pub fn read_json<T: DeserializeOwned>(path: &Path) -> Result<T, AppError> {
    serde_json::from_str(&read_text(path)?).map_err(|source| AppError::Json {
        path: path.to_owned(),
        source,
    })
}

/// Writes `bytes` to `path` whole or not at all: a temporary file beside it, synced, then renamed.
///
/// # Errors
/// When the folder cannot be written to; a file already at `path` is then still as it was.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), AppError> {
    let fail = |source| AppError::Write {
        path: path.to_owned(),
        source,
    };
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut file = tempfile::Builder::new()
        .prefix(".plinthside-")
        .tempfile_in(folder)
        .map_err(fail)?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(fail)?;
    // A temporary file is private; a result is as readable as any other file the user makes.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::Permissions::from_mode(0o644);
        file.as_file().set_permissions(mode).map_err(fail)?;
    }
    file.persist(path).map_err(|error| fail(error.error))?;
    Ok(())
}

/// A value as pretty JSON with a final newline.
///
/// # Errors
/// When the value holds what JSON can't.
pub fn json_text<T: serde::Serialize>(value: &T) -> Result<String, AppError> {
    let mut text = serde_json::to_string_pretty(value).map_err(AppError::Encode)?;
    text.push('\n');
    Ok(text)
}

/// The name by which marks refer to a photograph: its file name.
#[must_use]
pub fn photo_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}

/// Makes a folder and its parents.
///
/// # Errors
/// When it cannot be made.
pub fn make_folder(path: &Path) -> Result<PathBuf, AppError> {
    std::fs::create_dir_all(path).map_err(|source| AppError::Write {
        path: path.to_owned(),
        source,
    })?;
    Ok(path.to_owned())
}
