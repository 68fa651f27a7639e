//! Photographs on their way in: a folder is looked through, new pictures are offered, and each one
//! taken in is tied to the cast it shows.

use super::text::{models, said};
use crate::files;
use plinthside_measure::observed::PhotoTags;
use plinthside_paper::CastCode;
use plinthside_ui as ui;
use plinthside_visit::{CastSources, Lang, Text};
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
    /// This device has a camera.
    pub has_camera: bool,
    /// When the camera's shutter goes.
    pub shutter_at: Option<Instant>,
}

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

fn is_picture(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    matches!(ending.as_deref(), Some("jpg" | "jpeg" | "png"))
}

impl Taking {
    /// Looks through the folder again; `true` if something is new.
    pub fn look(&mut self) -> bool {
        let Ok(entries) = std::fs::read_dir(&self.folder) else {
            let changed = !self.offered.is_empty();
            self.offered.clear();
            return changed;
        };
        let mut found: Vec<Offered> = entries
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| is_picture(path))
            .filter_map(|path| {
                let meta = path.metadata().ok()?;
                meta.is_file().then_some(())?;
                Some(Offered {
                    name: files::photo_name(&path),
                    at: meta.modified().ok()?,
                    path,
                })
            })
            .collect();
        found.sort_by(|a, b| b.at.cmp(&a.at).then_with(|| a.name.cmp(&b.name)));
        found.truncate(MOST_OFFERED);
        if found == self.offered {
            return false;
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
            has_camera: self.has_camera,
            ..Self::default()
        };
        self.look();
    }

    /// Sets the shutter's delay going, or stops it.
    pub fn touch_shutter(&mut self, now: Instant) {
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

    /// What the shutter does at this moment, asked twice a second.
    pub fn shutter(&mut self, now: Instant) -> Option<Shutter> {
        let at = self.shutter_at?;
        if at <= now {
            self.shutter_at = None;
            return Some(Shutter::Goes);
        }
        Some(Shutter::Tick)
    }

    /// Takes or leaves one picture.
    pub fn choose(&mut self, index: usize) {
        if let Some(offered) = self.offered.get(index)
            && !self.chosen.remove(&offered.name)
        {
            self.chosen.insert(offered.name.clone());
        }
    }

    /// Pictures that are not among those of the cast.
    fn fresh<'a>(&'a self, sources: Option<&'a CastSources>) -> impl Iterator<Item = &'a Offered> {
        self.offered.iter().filter(move |offered| {
            !sources.is_some_and(|s| s.photographs.iter().any(|p| p.id == offered.name))
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
            camera: self.has_camera,
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
        assert_eq!(taking.shutter(after(4600)), Some(Shutter::Tick));
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
        let later = SystemTime::now() + std::time::Duration::from_secs(60);
        taking.choose(index.expect("offered"));
        assert!(
            taking.wanted(None, Some(later)).is_empty(),
            "older than the cast"
        );
        taking.folder = folder.path().join("gone");
        assert!(taking.look() && taking.offered.is_empty());
    }
}
