//! The zip around the bag, and reading one that anybody may have made.

use crate::error::{ExchangeError, Result};
use std::collections::BTreeMap;
use std::io::{Cursor, Read, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// Largest package that is opened, bytes once unpacked.
const MOST_BYTES: u64 = 2 << 30;
/// Most files in one.
const MOST_FILES: usize = 2000;

/// Zips files under a folder. Pictures and PDFs are stored as they are: they are packed already.
pub(super) fn write(folder: &str, files: &BTreeMap<String, Vec<u8>>) -> Result<Vec<u8>> {
    let failed = |why: String| ExchangeError::Sealing { why };
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        let packed = [".jpg", ".png", ".pdf"]
            .iter()
            .any(|ending| name.ends_with(ending));
        let method = if packed {
            CompressionMethod::Stored
        } else {
            CompressionMethod::Deflated
        };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .unix_permissions(0o644);
        zip.start_file(format!("{folder}/{name}"), options)
            .map_err(|e| failed(e.to_string()))?;
        zip.write_all(bytes).map_err(|e| failed(e.to_string()))?;
    }
    Ok(zip
        .finish()
        .map_err(|e| failed(e.to_string()))?
        .into_inner())
}

/// Reads a zip that holds one folder: the folder's name and its files. Says what is wrong.
pub(super) fn read(bytes: &[u8]) -> Result<(String, BTreeMap<String, Vec<u8>>), String> {
    let mut zip =
        ZipArchive::new(Cursor::new(bytes)).map_err(|e| format!("it is not a zip file ({e})"))?;
    if zip.len() > MOST_FILES {
        return Err(format!("it holds more than {MOST_FILES} files"));
    }
    let mut folder: Option<String> = None;
    let mut files = BTreeMap::new();
    let mut room = MOST_BYTES;
    for i in 0..zip.len() {
        let file = zip.by_index(i).map_err(|e| e.to_string())?;
        let full = file.name().map_err(|e| e.to_string())?.into_owned();
        if file.is_dir() {
            continue;
        }
        let safe = !full.contains(['\\', '\0', ':'])
            && full.split('/').all(|part| !matches!(part, "" | "." | ".."));
        let (top, name) = full
            .split_once('/')
            .filter(|_| safe)
            .ok_or_else(|| format!("the name {full:?} in it leads elsewhere"))?;
        if folder.get_or_insert_with(|| top.to_owned()) != top {
            return Err("it holds more than one folder".into());
        }
        let mut content = Vec::new();
        // What the header says of the size is not believed.
        file.take(room + 1)
            .read_to_end(&mut content)
            .map_err(|e| format!("{name}: {e}"))?;
        room = room
            .checked_sub(content.len() as u64)
            .ok_or("it is larger than any package")?;
        if files.insert(name.to_owned(), content).is_some() {
            return Err(format!("{name} is in it twice"));
        }
    }
    Ok((folder.ok_or("it is empty")?, files))
}
