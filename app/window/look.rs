//! How the program looks, speaks and sounds; kept on this device alone.

use plinthside_visit::Lang;
use serde::{Deserialize, Serialize};

/// How the program looks and speaks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Look {
    /// Language of screens and sentences.
    pub lang: Lang,
    /// Dark colours for a dim room.
    pub dark: bool,
    /// 100, 125 or 150.
    pub text_percent: u32,
    /// The timer is heard.
    #[serde(default = "heard")]
    pub sound: bool,
}

fn heard() -> bool {
    true
}

impl Default for Look {
    fn default() -> Self {
        Self {
            lang: Lang::En,
            dark: false,
            text_percent: 100,
            sound: true,
        }
    }
}

impl Look {
    /// German where the system speaks German.
    #[must_use]
    pub fn of_environment() -> Self {
        let spoken = ["LC_ALL", "LC_MESSAGES", "LANG"]
            .iter()
            .find_map(std::env::var_os);
        let german = spoken.is_some_and(|lang| lang.to_string_lossy().starts_with("de"));
        Self {
            lang: if german { Lang::De } else { Lang::En },
            ..Self::default()
        }
    }
}
