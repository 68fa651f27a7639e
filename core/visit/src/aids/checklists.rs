//! Check lists, a data file a clinic can edit.

use crate::data::{DataError, DataFile};
use crate::words::Text;
use serde::Deserialize;

const SHIPPED: &str = include_str!("../../data/checklists.toml");

/// All check lists.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckLists {
    /// Version of the file's shape; 1.
    pub schema: u32,
    /// The lists, in the order of the work.
    pub list: Vec<CheckList>,
}

/// One list.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckList {
    /// Key.
    pub id: String,
    /// Heading.
    pub title: Text,
    /// Items, in the order of the work.
    pub items: Vec<CheckItem>,
}

/// One item.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckItem {
    /// Key within the list.
    pub id: String,
    /// What is read or spoken.
    pub say: Text,
}

impl CheckLists {
    /// The lists the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads them.
    pub fn shipped() -> Result<Self, DataError> {
        Self::parse("checklists.toml", SHIPPED)
    }

    /// A clinic's own lists.
    ///
    /// # Errors
    /// Names the line: text that is not TOML, an unknown field, a key twice or blank.
    pub fn parse(name: &str, text: &str) -> Result<Self, DataError> {
        let file = DataFile { name, text };
        let lists: Self = file.parse()?;
        if lists.schema != 1 {
            return Err(file.error(
                0,
                None,
                format!("schema {} is not known, expected 1", lists.schema),
            ));
        }
        for (i, list) in lists.list.iter().enumerate() {
            let at = text
                .match_indices("[[list]]")
                .nth(i)
                .map_or(0, |(at, _)| at);
            let fail = |problem: &str| Err(file.error(at, Some(&list.id), problem));
            if list.id.is_empty() || lists.list[..i].iter().any(|l| l.id == list.id) {
                return fail("a list's id is blank or stands twice");
            }
            for (j, item) in list.items.iter().enumerate() {
                if item.id.is_empty() || list.items[..j].iter().any(|other| other.id == item.id) {
                    return fail("an item's id is blank or stands twice in this list");
                }
                if item.say.en.trim().is_empty() && item.say.de.trim().is_empty() {
                    return fail("an item says nothing");
                }
            }
        }
        Ok(lists)
    }

    /// A list by its id.
    #[must_use]
    pub fn list(&self, id: &str) -> Option<&CheckList> {
        self.list.iter().find(|l| l.id == id)
    }
}
