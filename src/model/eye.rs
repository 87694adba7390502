//! The two eyes. There is no default eye and no boolean that stands for one.

/// An eye of the patient, from the patient's own point of view.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Eye {
    /// Right eye, oculus dexter.
    Right,
    /// Left eye, oculus sinister.
    Left,
}

/// A code that names no single eye.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` names no single eye")]
pub struct UnknownEye(pub String);

impl Eye {
    /// Both eyes, right first.
    pub const BOTH: [Self; 2] = [Self::Right, Self::Left];

    /// The fellow eye.
    #[must_use]
    pub const fn fellow(self) -> Self {
        match self {
            Self::Right => Self::Left,
            Self::Left => Self::Right,
        }
    }

    /// `right` or `left`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }

    /// `RIGHT` or `LEFT`, as on sheets and in file names.
    pub const fn capitals(self) -> &'static str {
        match self {
            Self::Right => "RIGHT",
            Self::Left => "LEFT",
        }
    }

    /// `OD` or `OS`.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Right => "OD",
            Self::Left => "OS",
        }
    }

    /// `R` or `L`.
    pub const fn letter(self) -> char {
        match self {
            Self::Right => 'R',
            Self::Left => 'L',
        }
    }

    /// Reads the words and codes of the trade that name one eye in every language they are used in: right R RE OD, left
    /// L LE OS.
    ///
    /// Codes that mean different eyes in different countries (D, S, E, I, G, OE, OG, OI, LA, RA) are refused; a mapping
    /// template may declare them for one device.
    ///
    /// # Errors
    /// [`UnknownEye`] with the text as it stood.
    pub fn from_code(text: &str) -> Result<Self, UnknownEye> {
        match text.trim().to_ascii_lowercase().as_str() {
            "right" | "r" | "re" | "od" => Ok(Self::Right),
            "left" | "l" | "le" | "os" => Ok(Self::Left),
            _ => Err(UnknownEye(text.to_owned())),
        }
    }
}

impl core::fmt::Display for Eye {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.word())
    }
}

/// One value for each eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ByEye<T> {
    /// Of the right eye.
    pub right: T,
    /// Of the left eye.
    pub left: T,
}

impl<T> ByEye<T> {
    /// The value of one eye.
    pub const fn of(&self, eye: Eye) -> &T {
        match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        }
    }

    /// The value of one eye, to be changed.
    pub const fn of_mut(&mut self, eye: Eye) -> &mut T {
        match eye {
            Eye::Right => &mut self.right,
            Eye::Left => &mut self.left,
        }
    }

    /// Both values with their eyes, right first.
    pub fn iter(&self) -> impl Iterator<Item = (Eye, &T)> {
        Eye::BOTH.into_iter().map(|eye| (eye, self.of(eye)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ambiguous_codes_name_no_eye() {
        for code in
            ["", "B", "OU", "BE", "D", "S", "E", "I", "G", "OE", "OG", "OI", "LA", "RA", "0", "1", "both"]
        {
            assert!(Eye::from_code(code).is_err(), "{code}");
        }
        assert_eq!(Eye::from_code(" od "), Ok(Eye::Right));
        assert_eq!(Eye::from_code("LE"), Ok(Eye::Left));
    }
}
