//! `plinthside erase|passphrase|salvage`: what is done to a store once in a while.

use super::print;
use crate::cli::{EraseArgs, PassphraseArgs, SalvageArgs};
use crate::error::AppError;
use crate::records::{Going, Place, device_name, make_private_folder, new_passphrase, what_stays};
use plinthside_store::Options;
use plinthside_visit::Lang;
use std::fmt::Write as _;
use std::io::{IsTerminal, Write as _};

/// `plinthside erase`
///
/// # Errors
/// No such visit, not confirmed, or a disk that refuses.
pub fn erase(args: &EraseArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let going = records.going(&args.visit)?;
    let stays = what_stays();
    eprintln!("{}\n{}", going.words().get(Lang::En), stays.get(Lang::En));
    if !args.yes_erase {
        confirm(&going)?;
    }
    let photographs = records.erase(&going, &args.by.by)?;
    print(&format!(
        "Visit {} is erased; photographs that went with it: {photographs}. Synchronise, so that copies elsewhere go too.\n",
        going.id
    ))
}

/// Asks for the code that tells this visit from another.
fn confirm(going: &Going) -> Result<(), AppError> {
    if !std::io::stdin().is_terminal() {
        return Err(AppError::Request(
            "nothing was erased: there is nobody to ask here; look at what goes, then say --yes-erase".into(),
        ));
    }
    eprint!("Type {} to erase it: ", going.code);
    let mut typed = String::new();
    let read = std::io::stderr()
        .flush()
        .and_then(|()| std::io::stdin().read_line(&mut typed));
    read.map_err(|source| AppError::Request(format!("nothing was erased: {source}")))?;
    if typed.trim() == going.code {
        return Ok(());
    }
    Err(AppError::Request(format!(
        "nothing was erased: “{}” is not {}",
        typed.trim(),
        going.code
    )))
}

/// `plinthside passphrase`
///
/// # Errors
/// Another passphrase than today's, a new one that is too short or not typed alike, or a disk that
/// refuses.
pub fn passphrase(args: &PassphraseArgs) -> Result<(), AppError> {
    let place = args.store.place()?;
    let (mut store, old) = place.open_store()?;
    let file = args.new_passphrase_file.as_deref();
    let new = new_passphrase(&place.path, file, "--new-passphrase-file")?;
    store.change_passphrase(&old, &new, None, &args.by.by)?;
    print(&format!(
        "{} opens with the new passphrase from now on. Backups made before open with the old one.\n",
        place.path.display()
    ))
}

/// `plinthside salvage`
///
/// # Errors
/// No store there, another passphrase, something where the new one should be, or a disk that refuses.
pub fn salvage(args: &SalvageArgs) -> Result<(), AppError> {
    let place = Place::new(Some(args.store.clone()), args.passphrase_file.clone())?;
    let (mut store, passphrase) = place.open_store()?;
    make_private_folder(&args.new)?;
    let saved = store.salvage(&args.new, &passphrase, Options::new(device_name()))?;
    let mut text = format!(
        "{} records and {} photographs copied to {}, which opens with the same passphrase. It is a new device to the others: targets have to be entered again, and it has to join anew.\n",
        saved.records,
        saved.photos,
        args.new.display()
    );
    for (what, lost) in [
        ("records", &saved.lost_records),
        ("photographs", &saved.lost_photos),
    ] {
        if !lost.is_empty() {
            let _ = writeln!(text, "Not readable, {what}: {}.", lost.join(", "));
        }
    }
    print(&text)
}
