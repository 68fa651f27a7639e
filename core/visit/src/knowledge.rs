//! Everything the program knows beside the visit: the shipped data files, each replaced by the
//! clinic's own where that can be read.

use crate::aids::{CheckLists, Timers};
use crate::data::DataError;
use crate::follow_up::LeafletText;
use crate::norms::{Anthropometry, Norms};
use crate::person::Clinic;
use crate::rules::RuleSet;
use crate::verdict::Tolerances;

/// All data in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Knowledge {
    /// Keep or recast.
    pub tolerances: Tolerances,
    /// Rules and completeness.
    pub rules: RuleSet,
    /// Bands and measurement errors.
    pub norms: Norms,
    /// Dimensions and what goes together.
    pub anthropometry: Anthropometry,
    /// Check lists.
    pub checklists: CheckLists,
    /// Timers.
    pub timers: Timers,
    /// The leaflet's text.
    pub leaflet: LeafletText,
}

/// A clinic's own data file: its name (`rules.toml`, `tolerances.toml` …) and its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClinicFile {
    /// Name, which says what it replaces.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// Name of a clinic's own rule file.
pub const OWN_RULES: &str = "rules.toml";

/// Names a clinic's file may have.
pub const CLINIC_FILES: [&str; 5] = [
    "tolerances.toml",
    OWN_RULES,
    "checklists.toml",
    "timers.toml",
    "leaflet.toml",
];

impl Knowledge {
    /// What the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads every file.
    pub fn shipped() -> Result<Self, DataError> {
        Ok(Self {
            tolerances: Tolerances::shipped()?,
            rules: RuleSet::shipped()?,
            norms: Norms::shipped()?,
            anthropometry: Anthropometry::shipped()?,
            checklists: CheckLists::shipped()?,
            timers: Timers::shipped()?,
            leaflet: LeafletText::shipped()?,
        })
    }

    /// What the program ships with a clinic's files in place of the shipped ones. A file with an
    /// error is left out whole and reported; the shipped one stays in force.
    ///
    /// A clinic's `rules.toml` replaces rules of the same id and adds its own; the identity block
    /// and completeness can't be taken out this way.
    ///
    /// # Errors
    /// As [`Knowledge::shipped`].
    pub fn with_clinic_files(files: &[ClinicFile]) -> Result<(Self, Vec<DataError>), DataError> {
        let mut all = Self::shipped()?;
        let mut refused = Vec::new();
        for file in files {
            if let Err(error) = all.take(&file.name, &file.text) {
                refused.push(error);
            }
        }
        Ok((all, refused))
    }

    /// What the program ships with what a clinic has set: its own limits, rules switched off, its
    /// own rule file. A rule file with an error is left out whole and reported; a limit that can't
    /// be used leaves the shipped one in force.
    ///
    /// # Errors
    /// As [`Knowledge::shipped`].
    pub fn for_clinic(clinic: &Clinic) -> Result<(Self, Vec<DataError>), DataError> {
        let own_rules = ClinicFile {
            name: OWN_RULES.into(),
            text: clinic.rule_file.clone(),
        };
        let files = [own_rules];
        let files = if clinic.rule_file.trim().is_empty() {
            &files[..0]
        } else {
            &files[..]
        };
        let (mut all, refused) = Self::with_clinic_files(files)?;
        all.tolerances = all.tolerances.with_own(&clinic.limits);
        all.rules.switch_off(&clinic.rules_off);
        Ok((all, refused))
    }

    fn take(&mut self, name: &str, text: &str) -> Result<(), DataError> {
        match name {
            "tolerances.toml" => self.tolerances = Tolerances::parse(name, text)?,
            OWN_RULES => self.rules.merge(RuleSet::parse(name, text)?),
            "checklists.toml" => self.checklists = CheckLists::parse(name, text)?,
            "timers.toml" => self.timers = Timers::parse(name, text)?,
            "leaflet.toml" => self.leaflet = LeafletText::parse(name, text)?,
            _ => {
                return Err(DataError {
                    file: name.to_owned(),
                    line: 1,
                    entry: None,
                    problem: format!(
                        "no data file has this name; it is one of {}",
                        CLINIC_FILES.join(", ")
                    ),
                });
            }
        }
        Ok(())
    }
}
