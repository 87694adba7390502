//! The display list: what stands on a page, before any writer sees it.

use crate::page::fonts::Face;
use crate::page::geometry::Point;

/// Width of an upright A4 page, mm (ISO 216).
pub const A4_WIDTH_MM: f64 = 210.0;
/// Height of an upright A4 page, mm (ISO 216).
pub const A4_HEIGHT_MM: f64 = 297.0;

/// A level of grey from 0 (black) to 1 (white).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ink(f64);

impl Ink {
    /// Full black.
    pub const BLACK: Self = Self(0.0);
    /// White, for a text on a dark ground.
    pub const WHITE: Self = Self(1.0);

    /// A level of grey from 0 (black) to 1 (white); `None` outside. The level is kept to three decimals.
    pub fn grey(level: f64) -> Option<Self> {
        (0.0..=1.0).contains(&level).then(|| Self((level * 1000.0).round() / 1000.0))
    }

    /// The level, 0 (black) to 1 (white).
    pub fn level(self) -> f64 {
        self.0
    }
}

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Dash {
    /// An unbroken line.
    Solid,
    /// Strokes of `on_mm` with gaps of `off_mm`, both above zero.
    Broken {
        /// Length of a stroke, mm.
        on_mm: f64,
        /// Length of a gap, mm.
        off_mm: f64,
    },
}

/// How a line ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cap {
    /// Cut off square at the end point.
    Butt,
    /// Half a disc beyond the end point.
    Round,
}

/// A pen: width, ink, dash and ends of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Width of the line, mm, above zero.
    pub width_mm: f64,
    /// Its grey.
    pub ink: Ink,
    /// Its dash.
    pub dash: Dash,
    /// Its ends.
    pub cap: Cap,
}

impl Stroke {
    /// An unbroken black line of the given width in millimetres, ends cut square.
    pub const fn solid(width_mm: f64) -> Self {
        Self { width_mm, ink: Ink::BLACK, dash: Dash::Solid, cap: Cap::Butt }
    }

    /// A broken black line: width, stroke and gap in millimetres.
    pub const fn dashed(width_mm: f64, on_mm: f64, off_mm: f64) -> Self {
        Self { width_mm, ink: Ink::BLACK, dash: Dash::Broken { on_mm, off_mm }, cap: Cap::Butt }
    }

    /// The same pen with another ink.
    #[must_use]
    pub const fn inked(mut self, ink: Ink) -> Self {
        self.ink = ink;
        self
    }

    /// The same pen with round ends.
    #[must_use]
    pub const fn round(mut self) -> Self {
        self.cap = Cap::Round;
        self
    }
}

/// How a closed shape is painted: filled, outlined, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paint {
    /// Ink of the inside, if it is filled.
    pub fill: Option<Ink>,
    /// Pen of the outline, if it is drawn.
    pub stroke: Option<Stroke>,
}

impl Paint {
    /// Filled, without an outline.
    pub const fn fill(ink: Ink) -> Self {
        Self { fill: Some(ink), stroke: None }
    }

    /// Outlined, not filled.
    pub const fn outline(stroke: Stroke) -> Self {
        Self { fill: None, stroke: Some(stroke) }
    }

    /// Filled and outlined.
    pub const fn both(ink: Ink, stroke: Stroke) -> Self {
        Self { fill: Some(ink), stroke: Some(stroke) }
    }
}

/// Where a text stands relative to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The text begins at the point.
    Left,
    /// The text is centred on the point.
    Centre,
    /// The text ends at the point.
    Right,
}

/// Face, size, ink and alignment of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// The face.
    pub face: Face,
    /// Size in points (1/72 inch), above zero. The writers keep it to two decimals.
    pub size_pt: f64,
    /// The grey.
    pub ink: Ink,
    /// Alignment to the point.
    pub align: Align,
}

impl Style {
    /// Black text of the regular face, left-aligned.
    pub const fn regular(size_pt: f64) -> Self {
        Self { face: Face::Regular, size_pt, ink: Ink::BLACK, align: Align::Left }
    }

    /// Black text of the bold face, left-aligned.
    pub const fn bold(size_pt: f64) -> Self {
        Self { face: Face::Bold, size_pt, ink: Ink::BLACK, align: Align::Left }
    }

    /// The same style centred on its point.
    #[must_use]
    pub const fn centred(mut self) -> Self {
        self.align = Align::Centre;
        self
    }

    /// The same style ending at its point.
    #[must_use]
    pub const fn right(mut self) -> Self {
        self.align = Align::Right;
        self
    }

    /// The same style in another ink.
    #[must_use]
    pub const fn inked(mut self, ink: Ink) -> Self {
        self.ink = ink;
        self
    }

    /// The same style in another size (points).
    #[must_use]
    pub const fn sized(mut self, size_pt: f64) -> Self {
        self.size_pt = size_pt;
        self
    }
}

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct TextMark {
    /// The point on the baseline it is aligned to.
    pub at: Point,
    /// Turn about that point, degrees, anticlockwise as the reader sees it.
    pub turn_deg: f64,
    /// Face, size, ink, alignment.
    pub style: Style,
    /// The text, one line.
    pub text: String,
    /// Key by which the caller finds this text again in the read-back: lower-case letters, digits, `.`, `_`, `-`; once in a document.
    pub tag: Option<String>,
}

/// One thing on a page.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Mark {
    /// A straight line.
    Line {
        /// One end.
        from: Point,
        /// The other end.
        to: Point,
        /// The pen.
        stroke: Stroke,
    },
    /// An open line through at least two points.
    Polyline {
        /// The points in order.
        points: Vec<Point>,
        /// The pen.
        stroke: Stroke,
    },
    /// A closed figure through at least three points.
    Polygon {
        /// The corners in order.
        points: Vec<Point>,
        /// Fill and outline.
        paint: Paint,
    },
    /// A circle.
    Circle {
        /// Its centre.
        centre: Point,
        /// Its radius, mm, above zero.
        radius_mm: f64,
        /// Fill and outline.
        paint: Paint,
    },
    /// A part of a circle's line.
    Arc {
        /// Centre of the circle.
        centre: Point,
        /// Its radius, mm, above zero.
        radius_mm: f64,
        /// Where the arc begins: degrees, 0 at the right, anticlockwise as the reader sees it.
        start_deg: f64,
        /// How far it runs: degrees, positive anticlockwise, at most 360 either way.
        sweep_deg: f64,
        /// The pen.
        stroke: Stroke,
    },
    /// An upright rectangle.
    Rectangle {
        /// Its top left corner.
        at: Point,
        /// Width, mm, above zero.
        width_mm: f64,
        /// Height, mm, above zero.
        height_mm: f64,
        /// Radius of the corners, mm; zero for square ones.
        corner_mm: f64,
        /// Fill and outline.
        paint: Paint,
    },
    /// One line of text.
    Text(TextMark),
    /// A QR code with error correction level Q.
    Qr {
        /// Top left corner of the whole field, quiet zone of [`QUIET_MODULES`](crate::page::QUIET_MODULES) modules included.
        at: Point,
        /// Side of the whole field, mm, quiet zone included.
        size_mm: f64,
        /// What the code says.
        payload: String,
    },
}

/// A page, or a box that is drawn like one (the appearance of a signature field).
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    pub(in crate::page) width_mm: f64,
    pub(in crate::page) height_mm: f64,
    pub(in crate::page) marks: Vec<Mark>,
}

/// A moment in UTC, handed in by the caller: the room reads no clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Created {
    /// Year, 1900 to 9999.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month.
    pub day: u8,
    /// Hour, 0 to 23.
    pub hour: u8,
    /// Minute, 0 to 59.
    pub minute: u8,
    /// Second, 0 to 59.
    pub second: u8,
}

impl Created {
    /// Whether the moment exists in the Gregorian calendar (leap seconds are not allowed).
    pub fn exists(self) -> bool {
        let leap =
            self.year.is_multiple_of(4) && (!self.year.is_multiple_of(100) || self.year.is_multiple_of(400));
        let days = match self.month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => 0,
        };
        (1900..=9999).contains(&self.year)
            && (1..=days).contains(&self.day)
            && self.hour < 24
            && self.minute < 60
            && self.second < 60
    }
}

/// What the file says about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meta {
    /// Title, shown in a viewer's window.
    pub title: String,
    /// Subject.
    pub subject: String,
    /// Author: the organisation that answers for the pages.
    pub author: String,
    /// Language of the text as a BCP 47 tag, for example `en-GB`.
    pub language: String,
    /// When the record behind the pages was made, UTC.
    pub created: Created,
    /// Bytes that set this record apart from every other; they go into the file's `/ID` together with its content.
    pub id_seed: Vec<u8>,
}

/// A place for one signature: an empty field with a printable placeholder, there from the first byte so that a signer changes only its value
/// and appearance.
#[derive(Debug, Clone, PartialEq)]
pub struct SignatureField {
    /// Name of the field, unique in the document, without a full stop.
    pub name: String,
    /// Index of its page, from 0.
    pub page: usize,
    /// Top left corner of the box on the page.
    pub at: Point,
    /// What the field is for, read out by a viewer.
    pub tooltip: String,
    /// Whether a signature in this field locks every field (a lock dictionary with action All).
    pub locks_all: bool,
    /// What is printed there while nobody has signed; its size is the size of the box.
    pub placeholder: Page,
}

/// Pages, signature fields and header of one file.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// The header.
    pub meta: Meta,
    /// The pages in order, at least one.
    pub pages: Vec<Page>,
    /// Signature fields.
    pub fields: Vec<SignatureField>,
}
