//! Decoding, tag detection and measuring off the screen's thread, with progress and cancel.
//!
//! One thread takes jobs in turn. What it has to tell lies in a channel; a nudge through the event
//! loop makes the screen's thread take it.

use super::exchange;
use super::handing::{self, Written};
use super::marking::{Photo, Refusal, Seeker, measure_agreeing};
use super::taking::Read;
use crate::error::AppError;
use crate::package::ForLab;
use crate::photographs::{self, Look, Source};
use crate::pipeline::{self, Measured};
use crate::records::{self, Records};
use crate::{camera, clock, files, labels, stand};
use plinthside_measure::advice::Stand;
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::Marks;
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::photo::{self, Photograph};
use plinthside_measure::solve::SolveOptions;
use plinthside_paper::CastCode;
use plinthside_paper::qr::FoundCode;
use plinthside_ui::PaperKind;
use plinthside_visit::Clinic;
use plinthside_visit::cast_record::Measurement;
use slint::{Rgb8Pixel, SharedPixelBuffer};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use zeroize::Zeroizing;

/// Something to do; `case` is the visit it belongs to.
pub enum Job {
    /// Find the tags of every photograph.
    Detect {
        case: u64,
        photos: Vec<Photo>,
        look: Look,
    },
    /// Decode one photograph for the screen and find its ink.
    Decode { case: u64, photo: Box<Photo> },
    /// Find marks that have their places in every photograph.
    Seek {
        case: u64,
        seeker: Box<Seeker>,
        photos: Vec<Photo>,
    },
    /// Cameras, points and results.
    Measure(Box<Measuring>),
    /// Set the label for the screen.
    Label {
        case: u64,
        source: Box<handing::Source>,
    },
    /// Read the label in a photograph.
    ReadLabel { case: u64, path: PathBuf },
    /// Open a store, or make one.
    Open(Box<Opening>),
    /// Read photographs that are to be taken in.
    Take {
        case: u64,
        paths: Vec<PathBuf>,
        look: Look,
    },
    /// Open a sealed package.
    OpenPackage(Box<exchange::Opening>),
    /// Take a photograph with the device's camera, and take it in.
    Shoot { case: u64, look: Look },
    /// Write papers to a folder.
    Papers {
        case: u64,
        source: Box<handing::Source>,
        papers: Vec<PaperKind>,
        folder: PathBuf,
    },
    /// Seal the package for the lab.
    Seal {
        case: u64,
        source: Box<handing::Source>,
        parcel: Box<ForLab>,
        folder: PathBuf,
    },
}

/// A store to be opened or made.
pub struct Opening {
    /// Where it lies.
    pub path: PathBuf,
    /// Its passphrase.
    pub passphrase: Zeroizing<String>,
    /// The clinic of a new one; none to open what is there.
    pub create: Option<(Clinic, String)>,
}

/// What a measurement is made of.
pub struct Measuring {
    /// The visit it belongs to.
    pub case: u64,
    /// The printed mat.
    pub mat: Mat,
    /// Tags of the photographs that can be used.
    pub tags: Vec<PhotoTags>,
    /// The taps and what else the results depend on.
    pub marks: Marks,
    /// Those of the taps that the program found: they give way to the others.
    pub found: Vec<MarkView>,
    /// SHA-256 of each photograph, kept with the results.
    pub photos: Vec<String>,
    /// Who tapped the marks.
    pub by: String,
}

/// A measurement just made.
pub struct Fresh {
    /// All of it.
    pub measured: Measured,
    /// What the visit keeps of it.
    pub kept: Measurement,
    /// Where another photograph would help most.
    pub stand: Option<Stand>,
}

/// A photograph ready for the screen.
pub struct Decoded {
    /// What the ink is sought in.
    pub photo: Arc<Photograph>,
    /// What is drawn.
    pub pixels: SharedPixelBuffer<Rgb8Pixel>,
    /// The ink found.
    pub ink: Vec<InkDot>,
}

/// What became of a job.
pub enum Told {
    /// Tags of one photograph, or why it can't be used; how many are done of how many. A photograph
    /// is known by what is in it: others may have come or gone meanwhile.
    Tags {
        case: u64,
        sha256: String,
        found: Result<PhotoTags, String>,
        done: usize,
        of: usize,
    },
    /// Marks found in one photograph; how many are done of how many.
    Sought {
        case: u64,
        found: Vec<MarkView>,
        done: usize,
        of: usize,
    },
    /// A photograph for the screen.
    Decoded {
        case: u64,
        sha256: String,
        photo: Result<Decoded, String>,
    },
    /// A measurement, or why there is none yet; found views that gave way to taps.
    Measured {
        case: u64,
        measured: Result<Box<Fresh>, Refusal>,
        left_out: Vec<MarkView>,
    },
    /// Work on photographs was stopped before its end.
    Stopped { case: u64 },
    /// The records, or why they can't be opened.
    Opened(Result<Box<Records>, String>),
    /// A package, opened and verified, or why it stays closed.
    PackageOpened(Result<Box<exchange::Unpacked>, String>),
    /// A photograph to be taken in, or why not; how many are read of how many.
    Taken {
        case: u64,
        photo: Result<Box<Read>, String>,
        done: usize,
        of: usize,
    },
    /// The label's picture.
    Label {
        case: u64,
        png: Result<Vec<u8>, String>,
    },
    /// The label in a photograph, or why none could be read.
    LabelRead {
        case: u64,
        code: Result<CastCode, String>,
    },
    /// One paper.
    Written { case: u64, written: Written },
    /// The sealed package lies in a file.
    Sealed {
        case: u64,
        lab: String,
        file: Result<PathBuf, String>,
    },
}

/// The thread and its two channels.
pub struct Worker {
    jobs: Sender<(u64, Job)>,
    told: Receiver<Told>,
    posted: AtomicU64,
    /// Jobs up to this one are stopped; what is posted later is not.
    stopped: Arc<AtomicU64>,
}

impl Worker {
    /// Starts the thread; `nudge` is called from it whenever there is something to take.
    #[must_use]
    pub fn new(nudge: impl Fn() + Send + 'static) -> Self {
        let (jobs, todo) = channel::<(u64, Job)>();
        let (tell, told) = channel();
        let stopped = Arc::new(AtomicU64::new(0));
        let stops = Arc::clone(&stopped);
        std::thread::spawn(move || {
            let tell = |told| {
                let heard = tell.send(told).is_ok();
                nudge();
                heard
            };
            while let Ok((number, job)) = todo.recv() {
                let is_stopped = || number <= stops.load(Ordering::Relaxed);
                if !work(job, &is_stopped, &tell) {
                    break;
                }
            }
        });
        Self {
            jobs,
            told,
            posted: AtomicU64::new(0),
            stopped,
        }
    }

    /// Adds a job.
    pub fn post(&self, job: Job) {
        let number = 1 + self.posted.fetch_add(1, Ordering::Relaxed);
        // The thread ends only with the window.
        let _ = self.jobs.send((number, job));
    }

    /// Leaves out what is not begun of the photographs in every job posted so far.
    pub fn cancel(&self) {
        let posted = self.posted.load(Ordering::Relaxed);
        self.stopped.store(posted, Ordering::Relaxed);
    }

    /// Everything told since the last time.
    pub fn take(&self) -> Vec<Told> {
        self.told.try_iter().collect()
    }
}

/// Does one job; `false` when nobody listens any more.
fn work(job: Job, is_stopped: &impl Fn() -> bool, tell: &impl Fn(Told) -> bool) -> bool {
    match job {
        Job::Detect { case, photos, look } => {
            let of = photos.len();
            for (n, photo) in photos.into_iter().enumerate() {
                if is_stopped() {
                    return tell(Told::Stopped { case });
                }
                let found = photographs::look_in(&photo.name, &photo.bytes, look)
                    .map(|found| found.tags)
                    .map_err(|e| e.to_string());
                if !tell(Told::Tags {
                    case,
                    sha256: photo.sha256,
                    found,
                    done: n + 1,
                    of,
                }) {
                    return false;
                }
            }
            true
        }
        Job::Decode { case, photo } => {
            let sha256 = photo.sha256.clone();
            let photo = photo::decode(&photo.name, &photo.bytes)
                .map(|decoded| {
                    let pixels = SharedPixelBuffer::clone_from_slice(
                        &decoded.rgb(),
                        decoded.width,
                        decoded.height,
                    );
                    Decoded {
                        ink: ink::find(&decoded, None),
                        pixels,
                        photo: Arc::new(decoded),
                    }
                })
                .map_err(|e| e.to_string());
            tell(Told::Decoded {
                case,
                sha256,
                photo,
            })
        }
        Job::Seek {
            case,
            seeker,
            photos,
        } => {
            let of = photos.len();
            for (n, photo) in photos.into_iter().enumerate() {
                if is_stopped() {
                    return tell(Told::Stopped { case });
                }
                // One that can't be decoded has said so when it was taken in.
                let found = photo::decode(&photo.name, &photo.bytes).map_or_else(
                    |_| Vec::new(),
                    |decoded| seeker.seek(&photo.name, &decoded, &ink::find(&decoded, None)),
                );
                let done = n + 1;
                if !tell(Told::Sought {
                    case,
                    found,
                    done,
                    of,
                }) {
                    return false;
                }
            }
            true
        }
        Job::Measure(m) => {
            // Marks seen once wait for their second view instead of stopping everything.
            let options = SolveOptions {
                unfinished: true,
                ..SolveOptions::default()
            };
            let (case, photos) = (m.case, m.photos);
            let measure = |marks: &Marks| pipeline::measure(Some(&m.mat), &m.tags, marks, &options);
            let (measured, marks, left_out) = measure_agreeing(m.marks, m.found, measure);
            let measured = measured
                .and_then(|measured| {
                    let kept = measured.to_keep(photos, &m.by, clock::now())?;
                    let solution = measured.solution.as_ref();
                    Ok(Box::new(Fresh {
                        stand: solution.and_then(|s| stand::next_photograph(s, &marks)),
                        measured,
                        kept,
                    }))
                })
                .map_err(Refusal::from);
            tell(Told::Measured {
                case,
                measured,
                left_out,
            })
        }
        Job::Open(opening) => tell(Told::Opened(
            open(&opening).map(Box::new).map_err(|e| e.to_string()),
        )),
        Job::OpenPackage(opening) => tell(Told::PackageOpened(opening.open().map(Box::new))),
        Job::Take { case, paths, look } => {
            let of = paths.len();
            for (n, path) in paths.into_iter().enumerate() {
                if is_stopped() {
                    return tell(Told::Stopped { case });
                }
                let photo = read(&path, look).map(Box::new).map_err(|e| e.to_string());
                let done = n + 1;
                if !tell(Told::Taken {
                    case,
                    photo,
                    done,
                    of,
                }) {
                    return false;
                }
            }
            true
        }
        Job::Shoot { case, look } => {
            let photo = shoot(look).map(Box::new).map_err(|e| e.to_string());
            tell(Told::Taken {
                case,
                photo,
                done: 1,
                of: 1,
            })
        }
        Job::Label { case, source } => tell(Told::Label {
            case,
            png: source.label_png(),
        }),
        Job::ReadLabel { case, path } => tell(Told::LabelRead {
            case,
            code: labels::read(&Source::File(path)).map_err(|e| e.to_string()),
        }),
        Job::Papers {
            case,
            source,
            papers,
            folder,
        } => papers.into_iter().all(|paper| {
            tell(Told::Written {
                case,
                written: source.write(paper, &folder),
            })
        }),
        Job::Seal {
            case,
            source,
            parcel,
            folder,
        } => tell(Told::Sealed {
            case,
            lab: parcel.lab().to_owned(),
            file: source.seal(&parcel, &folder),
        }),
    }
}

fn open(opening: &Opening) -> Result<Records, AppError> {
    match &opening.create {
        None => Records::open(&opening.path, &opening.passphrase),
        Some((clinic, by)) => {
            records::make_private_folder(&opening.path)?;
            Records::create(&opening.path, &opening.passphrase, clinic, by, None)
        }
    }
}

fn read(path: &Path, look: Look) -> Result<Read, AppError> {
    look_through(files::photo_name(path), files::read_photo(path)?, look)
}

/// A photograph of this moment. It goes into the encrypted store and nowhere else.
fn shoot(look: Look) -> Result<Read, AppError> {
    let bytes = camera::open()?.shoot()?;
    let name = clock::now().format("camera-%Y%m%d-%H%M%S.jpg").to_string();
    look_through(name, bytes, look)
}

fn look_through(name: String, bytes: Vec<u8>, look: Look) -> Result<Read, AppError> {
    let found = photographs::look_in(&name, &bytes, look)?;
    Ok(Read {
        warning: found.warnings.into_iter().next(),
        tags: found.tags,
        codes: found.codes.iter().filter_map(FoundCode::cast).collect(),
        name,
        bytes,
    })
}
