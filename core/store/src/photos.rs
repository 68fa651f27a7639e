//! Photographs: kept byte for byte under their SHA-256, once each, read and written as streams.
//!
//! Small copies are made from the photograph when first asked for. They are turned upright as the EXIF orientation says; the photograph itself is never
//! touched.

use crate::error::{Result, StoreError};
use crate::files::{hex, unhex};
use crate::store::Store;
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageReader, Limits};
use rusqlite::blob::Blob;
use rusqlite::{MAIN_DB, OptionalExtension, params};
use sha2::{Digest, Sha256};
use std::io::{BufReader, Read, Seek, SeekFrom, Write};

/// Longer edge of a thumbnail, pixels.
pub const THUMBNAIL_EDGE_PX: u32 = 320;
/// Largest picture decoded: twice a 50-megapixel camera's, in bytes of RGB.
const MOST_DECODED_BYTES: u64 = 2 * 50_000_000 * 3;
const PIECE_BYTES: usize = 64 * 1024;

/// A photograph as the store has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// Its size, bytes.
    pub size: u64,
}

impl Store {
    /// Stores a photograph. One that is there already is not stored again. When this returns, it
    /// is on the disk.
    ///
    /// The source is read twice: once for its hash, once into the store, a piece at a time.
    pub fn add_photo(&mut self, source: &mut (impl Read + Seek)) -> Result<Photo> {
        let read = |e: std::io::Error| StoreError::Disk {
            what: format!("the photograph could not be read: {e}"),
        };
        let start = source.stream_position().map_err(read)?;
        let (sha256, size) = copy(source, &mut std::io::sink()).map_err(read)?;
        let photo = Photo {
            sha256: hex(&sha256),
            size,
        };
        if self.photo_number(&sha256)?.is_some() {
            return Ok(photo);
        }
        if size > i32::MAX as u64 {
            return Err(StoreError::Disk {
                what: "a photograph can have at most 2 GiB".into(),
            });
        }
        source.seek(SeekFrom::Start(start)).map_err(read)?;
        self.steps.at("photo", 1);
        let tx = self.conn.unchecked_transaction()?;
        tx.execute(
            "INSERT INTO photo(sha256, size, added_ms, unsent, bytes) VALUES(?, ?, ?, 0, zeroblob(?2))",
            params![&sha256[..], size as i64, self.clock.now_ms()],
        )?;
        let mut blob = tx.blob_open(MAIN_DB, "photo", "bytes", tx.last_insert_rowid(), false)?;
        let written = copy(source, &mut blob);
        blob.close()?;
        // A failure here is the disk's or the source's; the transaction is dropped either way.
        let same = written.map_err(|e| StoreError::Disk {
            what: e.to_string(),
        })? == (sha256, size);
        if !same {
            return Err(StoreError::SourceChanged);
        }
        self.steps.at("photo", 2);
        tx.commit()?;
        self.steps.at("photo", 3);
        Ok(photo)
    }

    /// Whether a photograph is here.
    pub fn has_photo(&self, sha256: &str) -> Result<bool> {
        Ok(match unhex(sha256) {
            Some(hash) => self.photo_number(&hash)?.is_some(),
            None => false,
        })
    }

    /// A photograph as a stream over the store.
    pub fn photo(&self, sha256: &str) -> Result<Blob<'_>> {
        let missing = || StoreError::NoPhoto {
            sha256: sha256.to_owned(),
        };
        let hash = unhex(sha256).ok_or_else(missing)?;
        let n = self.photo_number(&hash)?.ok_or_else(missing)?;
        Ok(self.conn.blob_open(MAIN_DB, "photo", "bytes", n, true)?)
    }

    /// Writes a photograph's bytes to `target` and compares their hash.
    pub fn export_photo(&self, sha256: &str, target: &mut impl Write) -> Result<u64> {
        let mut blob = self.photo(sha256)?;
        let failed = |e: std::io::Error| StoreError::Disk {
            what: e.to_string(),
        };
        let (found, size) = copy(&mut blob, target).map_err(failed)?;
        if hex(&found) == sha256 {
            Ok(size)
        } else {
            Err(altered(sha256))
        }
    }

    /// A copy as JPEG whose longer edge has at most `edge_px` pixels; made once, then kept.
    pub fn small_photo(&mut self, sha256: &str, edge_px: u32) -> Result<Vec<u8>> {
        let hash = unhex(sha256).ok_or_else(|| StoreError::NoPhoto {
            sha256: sha256.to_owned(),
        })?;
        let kept = self
            .conn
            .prepare_cached("SELECT bytes FROM photo_small WHERE sha256 = ? AND edge_px = ?")?
            .query_row(params![hash, edge_px], |row| row.get(0))
            .optional()?;
        if let Some(kept) = kept {
            return Ok(kept);
        }
        let not_a_picture = |e: image::ImageError| StoreError::NotAPicture {
            sha256: sha256.to_owned(),
            why: e.to_string(),
        };
        let picture = decode_small(self.photo(sha256)?, edge_px).map_err(not_a_picture)?;
        let mut jpeg = Vec::new();
        picture
            .to_rgb8()
            .write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, 85))
            .map_err(not_a_picture)?;
        self.conn
            .prepare_cached(
                "INSERT OR REPLACE INTO photo_small(sha256, edge_px, bytes) VALUES(?,?,?)",
            )?
            .execute(params![hash, edge_px, jpeg])?;
        Ok(jpeg)
    }

    /// Photographs of finished visits that are not here (yet), and the visits that name them.
    pub fn missing_photos(&self) -> Result<Vec<(String, String)>> {
        let mut statement = self.conn.prepare(
            "SELECT u.sha256, r.id FROM photo_use u JOIN record r ON r.n = u.n
             WHERE NOT EXISTS(SELECT 1 FROM photo p WHERE p.sha256 = u.sha256) ORDER BY r.n",
        )?;
        let rows =
            statement.query_map([], |row| Ok((hex(&row.get::<_, Vec<u8>>(0)?), row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    pub(crate) fn photo_number(&self, sha256: &[u8]) -> Result<Option<i64>> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT n FROM photo WHERE sha256 = ?")?;
        Ok(statement.query_row([sha256], |row| row.get(0)).optional()?)
    }
}

pub(crate) fn altered(sha256: &str) -> StoreError {
    StoreError::Damaged {
        what: format!("photograph {sha256} no longer has its hash"),
    }
}

/// Copies a stream piece by piece; returns the SHA-256 and number of its bytes.
pub(crate) fn copy(from: &mut impl Read, to: &mut impl Write) -> std::io::Result<([u8; 32], u64)> {
    let (mut hash, mut size, mut piece) = (Sha256::new(), 0, vec![0; PIECE_BYTES]);
    loop {
        let read = match from.read(&mut piece) {
            Ok(0) => return Ok((hash.finalize().into(), size)),
            Ok(read) => read,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
        hash.update(&piece[..read]);
        to.write_all(&piece[..read])?;
        size += read as u64;
    }
}

/// Decodes straight from the store, so that only the decoded picture is whole in memory.
fn decode_small(blob: Blob<'_>, edge_px: u32) -> image::ImageResult<DynamicImage> {
    let mut reader = ImageReader::new(BufReader::new(blob)).with_guessed_format()?;
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_DECODED_BYTES);
    reader.limits(limits);
    let mut decoder = reader.into_decoder()?;
    let orientation = decoder.orientation()?;
    let mut picture = DynamicImage::from_decoder(decoder)?;
    if picture.width().max(picture.height()) > edge_px {
        picture = picture.thumbnail(edge_px, edge_px);
    }
    picture.apply_orientation(orientation);
    Ok(picture)
}
