//! Where a value stood: file and position, or person and time.

use std::sync::Arc;

/// SHA-256 of the bytes of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digest([u8; 32]);

impl Digest {
    /// The digest of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        use sha2::Digest as _;
        Self(sha2::Sha256::digest(bytes).into())
    }

    /// A digest computed elsewhere.
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// From 64 hexadecimal digits; none otherwise.
    pub fn from_hex(text: &str) -> Option<Self> {
        let bytes = data_encoding::HEXLOWER_PERMISSIVE.decode(text.as_bytes()).ok()?;
        Some(Self(bytes.try_into().ok()?))
    }

    /// The 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// 64 lower-case hexadecimal digits.
    pub fn hex(&self) -> String {
        data_encoding::HEXLOWER.encode(&self.0)
    }

    /// The first eight hexadecimal digits, for people.
    pub fn short(&self) -> String {
        self.hex().chars().take(8).collect()
    }
}

impl core::fmt::Display for Digest {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.hex())
    }
}

/// A file by its content; the name is kept as data and is never a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileRef {
    /// SHA-256 of the content.
    pub digest: Digest,
    /// The name it came with. It may hold a person's name: never in a log.
    pub name: String,
}

/// A position inside a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spot {
    /// A cell of a table: line and column from 1, and the header of the column.
    Cell {
        /// Line in the file, from 1.
        line: u64,
        /// Column of the table, from 1.
        column: u64,
        /// Header of the column as it stands in the file.
        header: String,
    },
    /// A line of text, from 1.
    Line(u64),
    /// A DICOM tag path with item numbers, e.g. `(0046,0070)[1]/(0046,0074)[1]/(0046,0075)`.
    Tag(String),
    /// A path of elements and attributes in an XML document.
    Element(String),
    /// A key of a case file, e.g. `keratometry[1].flat.power_d`.
    Key(String),
    /// The name of the file itself.
    FileName,
    /// A value the mapping template assigns to every file it reads.
    Template(String),
    /// The file as a whole.
    Whole,
}

impl core::fmt::Display for Spot {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Cell { line, column, header } => write!(f, "line {line}, column {column} `{header}`"),
            Self::Line(line) => write!(f, "line {line}"),
            Self::Tag(path) | Self::Element(path) => f.write_str(path),
            Self::Key(key) => write!(f, "key `{key}`"),
            Self::FileName => f.write_str("file name"),
            Self::Template(id) => write!(f, "from template `{id}`"),
            Self::Whole => f.write_str("whole file"),
        }
    }
}

/// Where a value came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A position in a file.
    File {
        /// The file.
        file: Arc<FileRef>,
        /// The position.
        spot: Spot,
    },
    /// A person who said it.
    Person {
        /// Login or name of the person.
        who: String,
        /// When it was said, UTC.
        at: jiff::Timestamp,
    },
}

impl Place {
    /// The file, if it is one.
    pub const fn file(&self) -> Option<&Arc<FileRef>> {
        match self {
            Self::File { file, .. } => Some(file),
            Self::Person { .. } => None,
        }
    }

    /// The line of a text file, if the place has one.
    pub const fn line(&self) -> Option<u64> {
        match self {
            Self::File { spot: Spot::Cell { line, .. } | Spot::Line(line), .. } => Some(*line),
            Self::File { .. } | Self::Person { .. } => None,
        }
    }

    /// The same file at another spot; a person stays a person.
    #[must_use]
    pub fn at(&self, spot: Spot) -> Self {
        match self {
            Self::File { file, .. } => Self::File { file: Arc::clone(file), spot },
            Self::Person { .. } => self.clone(),
        }
    }

    /// The place in words, with the name of the file. For eyes that may see the patient's data.
    pub fn with_name(&self) -> String {
        match self {
            Self::File { file, spot } => format!("{}, {spot}", file.name),
            Self::Person { who, at } => format!("{who}, {at}"),
        }
    }
}

/// The place without the name of the file: digest and position.
impl core::fmt::Display for Place {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::File { file, spot } => write!(f, "file {}, {spot}", file.digest.short()),
            Self::Person { who, at } => write!(f, "{who}, {at}"),
        }
    }
}
