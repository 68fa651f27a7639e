//! Tones and spoken words for hands that are wet and eyes that are on the foot. The system's own
//! player and speaking program are used; where there is none the screen says so.

use plinthside_visit::Lang;
use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use tempfile::NamedTempFile;

const RATE_HZ: u32 = 22_050;

/// What a sound means; each is told apart by its melody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tone {
    /// A stage ends in a moment.
    Soon,
    /// The next stage has begun.
    Next,
    /// The cast may come off, or the shell may be photographed.
    Ready,
    /// One second of the shutter's delay.
    Tick,
    /// The photograph is taken.
    Shutter,
}

impl Tone {
    /// Every tone.
    pub const ALL: [Self; 5] = [
        Self::Soon,
        Self::Next,
        Self::Ready,
        Self::Tick,
        Self::Shutter,
    ];

    /// Its melody: frequency in hertz (0 is silence) and length in milliseconds of each note.
    #[must_use]
    pub fn notes(self) -> &'static [(u32, u32)] {
        match self {
            Self::Soon => &[(440, 120)],
            Self::Next => &[(523, 250), (0, 80), (523, 250)],
            Self::Ready => &[(523, 180), (659, 180), (784, 500)],
            Self::Tick => &[(880, 60)],
            Self::Shutter => &[(1175, 60), (0, 40), (1175, 60)],
        }
    }

    /// The tone as a WAV file: 16 bit, one channel.
    #[must_use]
    pub fn wav(self) -> Vec<u8> {
        let mut samples: Vec<i16> = Vec::new();
        for &(hz, ms) in self.notes() {
            let count = RATE_HZ * ms / 1000;
            // Faded in and out over 5 ms: no click.
            let fade = f64::from(RATE_HZ) * 0.005;
            for i in 0..count {
                let edge = f64::from(i.min(count - i)).min(fade) / fade;
                let phase =
                    std::f64::consts::TAU * f64::from(hz) * f64::from(i) / f64::from(RATE_HZ);
                samples.push((phase.sin() * edge * 0.6 * f64::from(i16::MAX)) as i16);
            }
        }
        let data_bytes = 2 * samples.len() as u32;
        let mut wav = Vec::with_capacity(44 + data_bytes as usize);
        wav.extend(b"RIFF");
        wav.extend((36 + data_bytes).to_le_bytes());
        wav.extend(b"WAVEfmt ");
        wav.extend(16u32.to_le_bytes());
        for half in [1u16, 1] {
            wav.extend(half.to_le_bytes());
        }
        wav.extend(RATE_HZ.to_le_bytes());
        wav.extend((2 * RATE_HZ).to_le_bytes());
        for half in [2u16, 16] {
            wav.extend(half.to_le_bytes());
        }
        wav.extend(b"data");
        wav.extend(data_bytes.to_le_bytes());
        wav.extend(samples.into_iter().flat_map(i16::to_le_bytes));
        wav
    }
}

/// Something that can be heard.
pub trait Voice {
    /// Sounds a tone.
    fn sound(&mut self, tone: Tone);
    /// Speaks, where it can.
    fn say(&mut self, words: &str, lang: Lang);
    /// Whether tones can be heard at all.
    fn is_audible(&self) -> bool;
}

/// The system's programs for sound and speech.
#[derive(Default)]
pub struct SystemVoice {
    player: Option<(PathBuf, &'static [&'static str])>,
    speaker: Option<PathBuf>,
    tones: Vec<(Tone, NamedTempFile)>,
    /// Still sounding; collected when the next one starts.
    running: Vec<Child>,
}

/// Players that take a WAV file as their last argument, the common ones of each system first.
const PLAYERS: [(&str, &[&str]); 5] = [
    ("pw-play", &[]),
    ("paplay", &[]),
    ("aplay", &["-q"]),
    ("afplay", &[]),
    ("play", &["-q"]),
];
const SPEAKERS: [&str; 4] = ["spd-say", "espeak-ng", "espeak", "say"];

impl SystemVoice {
    /// Looks for what the system has.
    #[must_use]
    pub fn find() -> Self {
        Self::find_in(std::env::var_os("PATH"))
    }

    fn find_in(path: Option<OsString>) -> Self {
        let path = path.unwrap_or_default();
        let find = |name: &str| {
            std::env::split_paths(&path)
                .map(|folder| folder.join(name))
                .find(|program| program.is_file())
        };
        let player = PLAYERS
            .iter()
            .find_map(|(name, options)| Some((find(name)?, *options)));
        let speaker = SPEAKERS.iter().find_map(|name| find(name));
        let tones = match &player {
            Some(_) => Tone::ALL.into_iter().filter_map(kept).collect(),
            None => Vec::new(),
        };
        Self {
            player,
            speaker,
            tones,
            running: Vec::new(),
        }
    }

    fn run(&mut self, program: &Path, arguments: &[OsString]) {
        self.running
            .retain_mut(|child| matches!(child.try_wait(), Ok(None)));
        let started = Command::new(program)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        // A sound that fails is silent; the screen shows the same.
        self.running.extend(started);
    }
}

fn kept(tone: Tone) -> Option<(Tone, NamedTempFile)> {
    let mut file = tempfile::Builder::new().suffix(".wav").tempfile().ok()?;
    file.write_all(&tone.wav()).ok()?;
    Some((tone, file))
}

impl Voice for SystemVoice {
    fn sound(&mut self, tone: Tone) {
        let file = self.tones.iter().find(|(kept, _)| *kept == tone);
        if let (Some((program, options)), Some((_, file))) = (self.player.clone(), file) {
            let mut arguments: Vec<OsString> = options.iter().map(OsString::from).collect();
            arguments.push(file.path().into());
            self.run(&program, &arguments);
        }
    }

    fn say(&mut self, words: &str, lang: Lang) {
        let Some(program) = self.speaker.clone() else {
            return;
        };
        let voice = match lang {
            Lang::En => "en",
            Lang::De => "de",
        };
        let language: &[&str] = match program.file_name().and_then(|n| n.to_str()) {
            Some("spd-say") => &["-l", voice],
            Some("espeak-ng" | "espeak") => &["-v", voice],
            _ => &[],
        };
        let mut arguments: Vec<OsString> = language.iter().map(OsString::from).collect();
        arguments.push(words.into());
        self.run(&program, &arguments);
    }

    fn is_audible(&self) -> bool {
        self.player.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_tone_is_a_wav_file_of_its_length_and_sounds_unlike_the_others() {
        for tone in Tone::ALL {
            let wav = tone.wav();
            let ms: u32 = tone.notes().iter().map(|(_, ms)| ms).sum();
            let read = |at: usize| u32::from_le_bytes(wav[at..at + 4].try_into().expect("four"));
            assert_eq!((&wav[..4], &wav[8..16]), (&b"RIFF"[..], &b"WAVEfmt "[..]));
            assert_eq!(read(4) as usize + 8, wav.len());
            assert_eq!(read(40) as usize + 44, wav.len());
            let expected = f64::from(RATE_HZ) * f64::from(ms) / 1000.0;
            let samples = read(40) / 2;
            assert!((f64::from(samples) - expected).abs() < 4.0, "{tone:?}");
            for other in Tone::ALL.into_iter().filter(|other| *other != tone) {
                assert_ne!(tone.notes(), other.notes());
            }
        }
    }

    #[test]
    fn the_first_player_of_the_system_is_given_the_tone_and_the_speaker_the_words() {
        let folder = tempfile::tempdir().expect("a folder");
        let heard = folder.path().join("heard");
        for program in ["aplay", "espeak-ng"] {
            let path = folder.path().join(program);
            let script = format!("#!/bin/sh\necho {program} \"$@\" >> {}\n", heard.display());
            std::fs::write(&path, script).expect("written");
            #[cfg(unix)]
            {
                use std::os::unix::fs::PermissionsExt;
                let mode = std::fs::Permissions::from_mode(0o755);
                std::fs::set_permissions(&path, mode).expect("allowed");
            }
        }
        let mut voice = SystemVoice::find_in(Some(folder.path().into()));
        assert!(voice.is_audible());
        voice.sound(Tone::Ready);
        voice.say("may be taken off", Lang::De);
        for child in &mut voice.running {
            child.wait().expect("ends");
        }
        let heard = std::fs::read_to_string(heard).expect("heard");
        assert!(
            heard.contains("aplay -q ") && heard.contains(".wav"),
            "{heard}"
        );
        assert!(
            heard.contains("espeak-ng -v de may be taken off"),
            "{heard}"
        );

        let mut none = SystemVoice::find_in(None);
        none.sound(Tone::Soon);
        none.say("hold still", Lang::En);
        assert!(!none.is_audible() && none.running.is_empty());
    }
}
