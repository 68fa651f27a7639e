//! Two languages, and word lists that survive a newer version.

use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Map, Value};

/// Fields a newer version wrote that this one does not know; written back unchanged.
pub type Extra = Map<String, Value>;

/// Entries of what happened, each once: the same made on two devices before they met is one.
///
/// # Errors
/// An entry cannot be read.
pub(crate) fn once_each<'de, D: Deserializer<'de>, T: Deserialize<'de> + PartialEq>(
    from: D,
) -> Result<Vec<T>, D::Error> {
    let mut all: Vec<T> = Vec::new();
    for entry in Vec::<T>::deserialize(from)? {
        if !all.contains(&entry) {
            all.push(entry);
        }
    }
    Ok(all)
}

/// Language of a printed or spoken text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Lang {
    /// English.
    #[default]
    En,
    /// German.
    De,
}

/// One text in both languages, as the data files hold it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Text {
    /// English.
    pub en: String,
    /// German.
    pub de: String,
}

impl Text {
    /// A text from both wordings.
    pub fn new(en: impl Into<String>, de: impl Into<String>) -> Self {
        Self {
            en: en.into(),
            de: de.into(),
        }
    }

    /// The wording in one language; the other one where that is empty.
    #[must_use]
    pub fn get(&self, lang: Lang) -> &str {
        let (first, second) = match lang {
            Lang::En => (&self.en, &self.de),
            Lang::De => (&self.de, &self.en),
        };
        if first.is_empty() { second } else { first }
    }
}

/// Declares a list of words: an enum read from and written to JSON as its token, with a label in
/// each language and an `Other` that keeps what a newer version or free typing put there.
macro_rules! words {
    ($($(#[$meta:meta])* $name:ident { $($variant:ident = $token:literal, $en:literal, $de:literal;)+ })+) => {$(
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(from = "String", into = "String")]
        pub enum $name {
            $(#[doc = $en] $variant,)+
            /// Typed freely, or a word of a newer version.
            Other(String),
        }

        impl $name {
            /// Every word that can be chosen.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The word as JSON and the rule file spell it.
            #[must_use]
            pub fn token(&self) -> &str {
                match self { $(Self::$variant => $token,)+ Self::Other(other) => other }
            }

            /// The word as screen and paper print it.
            #[must_use]
            pub fn label(&self, lang: $crate::words::Lang) -> &str {
                match (self, lang) {
                    $((Self::$variant, $crate::words::Lang::En) => $en,
                      (Self::$variant, $crate::words::Lang::De) => $de,)+
                    (Self::Other(other), _) => other,
                }
            }
        }

        impl From<String> for $name {
            fn from(token: String) -> Self {
                match token.as_str() { $($token => Self::$variant,)+ _ => Self::Other(token) }
            }
        }

        impl From<$name> for String {
            fn from(word: $name) -> Self { word.token().to_owned() }
        }
    )+};
}
pub(crate) use words;
