//! Photographs on their way in: a folder is looked through, new pictures are offered, and each one
//! taken in is tied to the cast it shows.

use super::text::{models, said, sentence};
use crate::camera::{self, Seen};
use crate::files;
use plinthside_measure::observed::PhotoTags;
use plinthside_paper::CastCode;
use plinthside_ui as ui;
use plinthside_visit::{CastPhoto, CastSources, Lang, Text};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// No more files of a folder are offered: the newest.
const MOST_OFFERED: usize = 200;

/// A picture in the folder.
#[derive(Debug, Clone, PartialEq)]
pub struct Offered {
    /// Where it is.
    pub path: PathBuf,
    /// Its file name.
    pub name: String,
    /// When it was written.
    pub at: SystemTime,
    /// Its size.
    bytes: u64,
    /// SHA-256 of what is in it, hexadecimal, once its name was seen to be taken.
    sha256: Option<String>,
}

/// A photograph read and looked through, not yet in the store.
pub struct Read {
    /// Its file name.
    pub name: String,
    /// The file.
    pub bytes: Vec<u8>,
    /// Its tags.
    pub tags: PhotoTags,
    /// The cast codes on labels in it.
    pub codes: Vec<CastCode>,
    /// What is odd about its tags, or why it has none.
    pub warning: Option<String>,
}

/// How the device's camera is looked for.
pub struct Cameras(pub fn() -> Seen);

impl Default for Cameras {
    fn default() -> Self {
        Self(camera::look)
    }
}

/// The folder that is looked through and what was found in it.
#[derive(Default)]
pub struct Taking {
    /// The folder.
    pub folder: PathBuf,
    /// Pictures in it, the newest first.
    pub offered: Vec<Offered>,
    /// Those chosen, by name.
    pub chosen: BTreeSet<String>,
    /// What went wrong with one or more of them, in words.
    pub problems: Vec<String>,
    /// The folder can't be read.
    unreadable: bool,
    /// How a camera is looked for.
    pub cameras: Cameras,
    /// What there is of a camera.
    camera: Seen,
    camera_sought: Option<Instant>,
    /// When the camera's shutter goes.
    pub shutter_at: Option<Instant>,
    /// The second of its delay that was heard last.
    ticked: Option<u64>,
}

/// A camera that is missing is looked for again after so long.
const CAMERA_AGAIN: Duration = Duration::from_secs(3);

/// Between the touch and the photograph: time to step back and hold still.
const SHUTTER_DELAY: Duration = Duration::from_secs(5);

/// What the shutter does now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shutter {
    /// A second less.
    Tick,
    /// Now.
    Goes,
}

/// Whether a file is a picture by its name.
#[must_use]
pub fn is_picture(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    matches!(ending.as_deref(), Some("jpg" | "jpeg" | "png"))
}

/// A name that no photograph of the cast has: the file's own, else with a number behind it.
#[must_use]
pub fn free_name(name: &str, photographs: &[CastPhoto]) -> String {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    let numbered = (2..).map(|n| format!("{stem} ({n}).{ending}"));
    let mut names = std::iter::once(name.to_owned()).chain(numbered);
    let is_free = |name: &String| photographs.iter().all(|p| p.id != *name);
    names.find(is_free).unwrap_or_default()
}

/// Whether a photograph was taken in from a file of this name.
fn is_called(photo: &CastPhoto, name: &str) -> bool {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    photo.id == name || photo.id.starts_with(&format!("{stem} ("))
}

impl Taking {
    /// Looks through the folder again; `true` if something is new.
    pub fn look(&mut self) -> bool {
        let Ok(entries) = std::fs::read_dir(&self.folder) else {
            let changed = !self.offered.is_empty() || !self.unreadable;
            self.unreadable = true;
            self.offered.clear();
            return changed;
        };
        let unreadable = std::mem::take(&mut self.unreadable);
        let mut found: Vec<Offered> = entries
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| is_picture(path))
            .filter_map(|path| {
                let meta = path.metadata().ok()?;
                meta.is_file().then_some(())?;
                let mut offered = Offered {
                    name: files::photo_name(&path),
                    at: meta.modified().ok()?,
                    bytes: meta.len(),
                    sha256: None,
                    path,
                };
                let same = |o: &&Offered| {
                    (&o.path, o.at, o.bytes) == (&offered.path, offered.at, offered.bytes)
                };
                offered.sha256 = self
                    .offered
                    .iter()
                    .find(same)
                    .and_then(|o| o.sha256.clone());
                Some(offered)
            })
            .collect();
        found.sort_by(|a, b| b.at.cmp(&a.at).then_with(|| a.name.cmp(&b.name)));
        found.truncate(MOST_OFFERED);
        if found == self.offered {
            return unreadable;
        }
        self.chosen
            .retain(|name| found.iter().any(|f| f.name == *name));
        self.offered = found;
        true
    }

    /// Forgets what was chosen and what went wrong: another cast is photographed. The folder stays.
    pub fn forget(&mut self) {
        *self = Self {
            folder: std::mem::take(&mut self.folder),
            cameras: std::mem::take(&mut self.cameras),
            camera: std::mem::take(&mut self.camera),
            ..Self::default()
        };
        self.look();
    }

    /// Looks for the device's camera.
    pub fn look_for_camera(&mut self, now: Instant) {
        self.camera = (self.cameras.0)();
        self.camera_sought = Some(now);
    }

    /// Looks for a camera again that was missing a while ago; `true` if that has changed.
    pub fn look_for_missing_camera(&mut self, now: Instant) -> bool {
        let before = self.camera.clone();
        let long_ago = |at| now.saturating_duration_since(at) >= CAMERA_AGAIN;
        if matches!(before, Seen::Missing(_)) && self.camera_sought.is_none_or(long_ago) {
            self.look_for_camera(now);
        }
        self.camera != before
    }

    /// Sets the shutter's delay going, or stops it.
    pub fn touch_shutter(&mut self, now: Instant) {
        self.ticked = None;
        self.shutter_at = match self.shutter_at {
            None => Some(now + SHUTTER_DELAY),
            Some(_) => None,
        };
    }

    /// Whole seconds until the shutter goes.
    #[must_use]
    pub fn seconds_left(&self, now: Instant) -> Option<u64> {
        let left = self.shutter_at?.saturating_duration_since(now);
        Some(left.as_millis().div_ceil(1000) as u64)
    }

    /// What the shutter does at this moment, however often it is asked: one tick a second.
    pub fn shutter(&mut self, now: Instant) -> Option<Shutter> {
        let at = self.shutter_at?;
        if at <= now {
            self.shutter_at = None;
            return Some(Shutter::Goes);
        }
        let left = self.seconds_left(now);
        let is_new = std::mem::replace(&mut self.ticked, left) != left;
        is_new.then_some(Shutter::Tick)
    }

    /// Takes or leaves one picture.
    pub fn choose(&mut self, index: usize) {
        if let Some(offered) = self.offered.get(index)
            && !self.chosen.remove(&offered.name)
        {
            self.chosen.insert(offered.name.clone());
        }
    }

    /// Tells pictures apart that are called like one of the cast, by what is in them.
    pub fn tell_apart(&mut self, sources: Option<&CastSources>) {
        let Some(sources) = sources else { return };
        let called = |o: &Offered| sources.photographs.iter().any(|p| is_called(p, &o.name));
        for offered in &mut self.offered {
            // What can't be read is told by its name.
            if offered.sha256.is_none()
                && called(offered)
                && let Ok(bytes) = files::read_photo(&offered.path)
            {
                offered.sha256 = Some(format!("{:x}", Sha256::digest(&bytes)));
            }
        }
    }

    /// Pictures that are not among those of the cast.
    fn fresh<'a>(&'a self, sources: Option<&'a CastSources>) -> impl Iterator<Item = &'a Offered> {
        self.offered.iter().filter(move |offered| {
            let is_taken = |p: &CastPhoto| match &offered.sha256 {
                Some(sha256) => p.sha256 == *sha256,
                None => p.id == offered.name,
            };
            !sources.is_some_and(|s| s.photographs.iter().any(is_taken))
        })
    }

    /// Those to take in: the chosen ones, else every picture that is new since `since`.
    #[must_use]
    pub fn wanted(&self, sources: Option<&CastSources>, since: Option<SystemTime>) -> Vec<PathBuf> {
        let mut wanted: Vec<&Offered> = self
            .fresh(sources)
            .filter(|offered| match self.chosen.is_empty() {
                true => since.is_none_or(|since| offered.at >= since),
                false => self.chosen.contains(&offered.name),
            })
            .collect();
        // In the order taken.
        wanted.sort_by(|a, b| a.at.cmp(&b.at).then_with(|| a.name.cmp(&b.name)));
        wanted
            .into_iter()
            .map(|offered| offered.path.clone())
            .collect()
    }

    /// The screen.
    #[must_use]
    pub fn view(
        &self,
        taken: Vec<ui::TakenPhoto>,
        sources: Option<&CastSources>,
        since: Option<SystemTime>,
        stops: Vec<ui::Remark>,
        lang: Lang,
    ) -> ui::TakingView {
        let offered = self.fresh(sources).map(|offered| {
            let at: chrono::DateTime<chrono::Local> = offered.at.into();
            let index = self.offered.iter().position(|o| o.name == offered.name);
            ui::OfferedPhoto {
                index: index.map_or(-1, |i| i as i32),
                name: offered.name.as_str().into(),
                at: at
                    .format(Text::new("%-d %b, %H:%M", "%d.%m., %H:%M").get(lang))
                    .to_string()
                    .into(),
                chosen: self.chosen.contains(&offered.name),
            }
        });
        ui::TakingView {
            folder: self.folder.display().to_string().into(),
            unreadable: self.unreadable,
            camera: self.camera == Seen::Ready,
            camera_problem: match &self.camera {
                Seen::Missing(why) => sentence(why, lang).into(),
                Seen::NotBuilt | Seen::Ready => Default::default(),
            },
            stopped: false,
            advice: Default::default(),
            seconds_left: self.seconds_left(Instant::now()).map_or(-1, |s| s as i32),
            offered: models(offered.collect()),
            taken: models(taken),
            wanted: self.wanted(sources, since).len() as i32,
            problems: models(self.problems.iter().map(|p| said(p, lang).into()).collect()),
            stops: models(stops),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shutter_counts_down_and_goes_once_or_is_stopped() {
        let start = Instant::now();
        let after = |ms: u64| start + Duration::from_millis(ms);
        let mut taking = Taking::default();
        assert_eq!(taking.shutter(start), None);
        taking.touch_shutter(start);
        assert_eq!(taking.seconds_left(after(600)), Some(5));
        // Asked twice a second, it ticks once a second.
        let ticks = (1..10).filter(|n| taking.shutter(after(n * 500)) == Some(Shutter::Tick));
        assert_eq!(ticks.count(), 5);
        assert_eq!(taking.shutter(after(5000)), Some(Shutter::Goes));
        assert_eq!(taking.shutter(after(5500)), None);
        taking.touch_shutter(start);
        taking.touch_shutter(after(100));
        assert_eq!(
            taking.shutter(after(9000)),
            None,
            "stopped by a second touch"
        );
    }

    #[test]
    fn new_pictures_are_offered_and_taken_in_the_order_they_were_taken() {
        let folder = tempfile::tempdir().expect("folder");
        for name in ["b.jpg", "a.JPG", "notes.txt"] {
            std::fs::write(folder.path().join(name), name).expect("written");
        }
        let mut taking = Taking {
            folder: folder.path().to_owned(),
            ..Taking::default()
        };
        assert!(taking.look() && !taking.look(), "seen once");
        assert_eq!(taking.offered.len(), 2, "only pictures");
        let names = |paths: Vec<PathBuf>| -> Vec<String> {
            paths.iter().map(|p| files::photo_name(p)).collect()
        };
        assert_eq!(names(taking.wanted(None, None)).len(), 2);
        let index = taking.offered.iter().position(|o| o.name == "b.jpg");
        taking.choose(index.expect("offered"));
        assert_eq!(names(taking.wanted(None, None)), ["b.jpg"]);
        let later = SystemTime::now() + std::time::Duration::from_mins(1);
        taking.choose(index.expect("offered"));
        assert!(
            taking.wanted(None, Some(later)).is_empty(),
            "older than the cast"
        );
        taking.folder = folder.path().join("gone");
        assert!(taking.look() && taking.offered.is_empty());
        let view = taking.view(vec![], None, None, vec![], Lang::En);
        assert!(view.unreadable, "said on the screen");
        taking.folder = folder.path().to_owned();
        assert!(taking.look() && !taking.unreadable);
    }

    #[test]
    fn a_name_that_is_taken_is_offered_again_where_the_picture_is_another() {
        let folder = tempfile::tempdir().expect("folder");
        let file = folder.path().join("DSC_0001.jpg");
        std::fs::write(&file, "the first").expect("written");
        let photo = |id: &str, bytes: &str| CastPhoto {
            id: id.into(),
            sha256: format!("{:x}", Sha256::digest(bytes)),
        };
        let mut sources = CastSources {
            photographs: vec![photo("DSC_0001.jpg", "the first")],
            ..CastSources::default()
        };
        let mut taking = Taking {
            folder: folder.path().to_owned(),
            ..Taking::default()
        };
        let mut wanted = |sources: &CastSources| {
            taking.look();
            taking.tell_apart(Some(sources));
            taking.wanted(Some(sources), None).len()
        };
        assert_eq!(wanted(&sources), 0, "the same picture");
        std::fs::write(&file, "another that the camera counted anew").expect("written");
        assert_eq!(wanted(&sources), 1);
        let name = free_name("DSC_0001.jpg", &sources.photographs);
        assert_eq!(name, "DSC_0001 (2).jpg");
        let taken = photo(&name, "another that the camera counted anew");
        sources.photographs.push(taken);
        assert_eq!(wanted(&sources), 0, "taken in under another name");
        sources.photographs.remove(0);
        assert_eq!(wanted(&sources), 0, "the other one was left out");
    }

    #[test]
    fn a_missing_camera_is_said_and_looked_for_again() {
        fn none() -> Seen {
            Seen::Missing(camera::CameraError::None.to_string())
        }
        fn no_jpeg() -> Seen {
            let name = "Bench cam".to_owned();
            Seen::Missing(camera::CameraError::NoJpeg { name }.to_string())
        }
        let start = Instant::now();
        let view = |taking: &Taking, lang| taking.view(vec![], None, None, vec![], lang);
        let mut taking = Taking::default();
        let bare = view(&taking, Lang::En);
        assert!(
            !bare.camera && bare.camera_problem.is_empty(),
            "not spoken of"
        );
        taking.cameras = Cameras(none);
        taking.look_for_camera(start);
        let missing = view(&taking, Lang::En);
        assert!(!missing.camera);
        assert!(missing.camera_problem.starts_with("No camera was found"));
        let german = view(&taking, Lang::De).camera_problem;
        assert!(german.starts_with("Keine Kamera gefunden"), "{german}");
        taking.cameras = Cameras(no_jpeg);
        assert!(!taking.look_for_missing_camera(start), "not at once");
        assert!(taking.look_for_missing_camera(start + CAMERA_AGAIN));
        assert!(view(&taking, Lang::En).camera_problem.contains("Bench cam"));
        taking.cameras = Cameras(|| Seen::Ready);
        assert!(taking.look_for_missing_camera(start + 2 * CAMERA_AGAIN));
        let there = view(&taking, Lang::En);
        assert!(there.camera && there.camera_problem.is_empty());
    }
}
