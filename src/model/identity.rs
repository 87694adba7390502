//! Who the patient is, as one document says it.

use jiff::civil;

use super::reading::Reading;

/// A patient number as written, compared without blanks and hyphens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PatientNumber(String);

impl PatientNumber {
    /// A number; none when nothing but blanks and hyphens is there.
    pub fn new(text: &str) -> Option<Self> {
        let number = Self(text.trim().to_owned());
        (!number.comparable().is_empty()).then_some(number)
    }

    /// As written.
    pub fn as_written(&self) -> &str {
        &self.0
    }

    /// Without blanks and hyphens, in capitals: the form in which two numbers are compared.
    pub fn comparable(&self) -> String {
        self.0
            .chars()
            .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '\u{2010}'..='\u{2015}'))
            .flat_map(char::to_uppercase)
            .collect()
    }
}

/// A person's name in its parts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PersonName {
    /// Family name.
    pub family: String,
    /// Given name or names.
    pub given: String,
    /// The same name in another script, as a device wrote it; not used to match.
    pub other_script: Option<String>,
}

impl PersonName {
    /// From family and given name, blanks trimmed; none when both are empty.
    pub fn new(family: &str, given: &str) -> Option<Self> {
        let name =
            Self { family: family.trim().to_owned(), given: given.trim().to_owned(), other_script: None };
        (!name.family.is_empty() || !name.given.is_empty()).then_some(name)
    }

    /// From the form `family^given^…` of DICOM PS3.5 6.2 or `family, given`; a text without a separator is a family
    /// name.
    pub fn from_joined(text: &str) -> Option<Self> {
        let alphabetic = text.split('=').next().unwrap_or_default();
        let separator = if alphabetic.contains('^') { '^' } else { ',' };
        let mut parts = alphabetic.split(separator).map(str::trim);
        let family = parts.next().unwrap_or_default();
        let given = parts.next().unwrap_or_default();
        let mut name = Self::new(family, given)?;
        name.other_script =
            text.split('=').nth(1).map(|s| s.replace('^', " ").trim().to_owned()).filter(|s| !s.is_empty());
        Some(name)
    }

    /// Family name and given name as printed: `Family, Given`.
    pub fn printed(&self) -> String {
        match (self.family.is_empty(), self.given.is_empty()) {
            (false, false) => format!("{}, {}", self.family, self.given),
            (false, true) => self.family.clone(),
            (true, _) => self.given.clone(),
        }
    }
}

/// Sex as written in the documents; used only to notice a conflict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
    /// Another or not stated.
    Other,
}

impl Sex {
    /// Reads `F`, `M`, `O` and the English words; anything else is [`Sex::Other`].
    pub fn from_code(text: &str) -> Self {
        match text.trim().to_ascii_lowercase().as_str() {
            "f" | "female" | "w" => Self::Female,
            "m" | "male" => Self::Male,
            _ => Self::Other,
        }
    }

    /// One letter as printed; a dash when not stated.
    pub const fn printed(self) -> &'static str {
        match self {
            Self::Female => "F",
            Self::Male => "M",
            Self::Other => "-",
        }
    }
}

/// Everything one document says about who the patient is.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Identity {
    /// Patient number.
    pub number: Option<Reading<PatientNumber>>,
    /// Who gave the number; a number means nothing without it.
    pub authority: Option<Reading<String>>,
    /// Name.
    pub name: Option<Reading<PersonName>>,
    /// Date of birth.
    pub birth_date: Option<Reading<civil::Date>>,
    /// Sex.
    pub sex: Option<Reading<Sex>>,
}
