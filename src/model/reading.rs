//! A value with the text it was read from and the place it stood at.

use rust_decimal::Decimal;

use super::place::Place;

/// A number as it was written: its digits and its decimals.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    text: String,
    decimal: Decimal,
}

impl Written {
    /// A decimal number in the product's own grammar: an optional sign, one to four digits, optionally a point and one
    /// to eight digits. No exponent, no words, no blanks.
    ///
    /// The sign may be the hyphen, the plus or U+2212.
    ///
    /// ```
    /// use axiswright::model::Written;
    /// assert_eq!(Written::parse("43.25").unwrap().value(), 43.25);
    /// assert_eq!(Written::parse("43.250").unwrap().decimals(), 3);
    /// for refused in ["", "NaN", "inf", "1e3", "4 3", "1,5", "+", ".5", "5.", "0x1F"] {
    ///     assert!(Written::parse(refused).is_none(), "{refused}");
    /// }
    /// ```
    pub fn parse(text: &str) -> Option<Self> {
        Self::with_decimals(text, 8)
    }

    fn with_decimals(text: &str, most: usize) -> Option<Self> {
        let (negative, digits) = match text.chars().next()? {
            '+' => (false, text.get(1..)?),
            '-' => (true, text.get(1..)?),
            '\u{2212}' => (true, text.get('\u{2212}'.len_utf8()..)?),
            _ => (false, text),
        };
        let (whole, fraction) = match digits.split_once('.') {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (digits, None),
        };
        let all_digits = |part: &str, most: usize| {
            !part.is_empty() && part.len() <= most && part.bytes().all(|b| b.is_ascii_digit())
        };
        if !all_digits(whole, 4) || !fraction.is_none_or(|part| all_digits(part, most)) {
            return None;
        }
        let mut decimal: Decimal = digits.parse().ok()?;
        decimal.set_sign_negative(negative);
        Some(Self { text: text.to_owned(), decimal })
    }

    /// A number that came in binary, as a DICOM double: its shortest decimal.
    pub fn from_binary(value: f64) -> Option<Self> {
        Self::with_decimals(&format!("{value}"), 20)
    }

    /// The text as it stood.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The number.
    pub fn value(&self) -> f64 {
        use rust_decimal::prelude::ToPrimitive as _;
        self.decimal.to_f64().unwrap_or(f64::NAN)
    }

    /// How many decimals were written.
    pub fn decimals(&self) -> u32 {
        self.decimal.scale()
    }

    /// Whether a sign was written.
    pub fn has_sign(&self) -> bool {
        self.text.starts_with(['+', '-', '\u{2212}'])
    }
}

/// An exact conversion that was declared and done on the way in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conversion {
    /// Power computed from the radius and the keratometric index.
    RadiusToPower,
    /// Radius computed from the power and the keratometric index.
    PowerToRadius,
    /// Minus cylinder written as plus cylinder, the axis turned by 90 degrees.
    MinusToPlus,
    /// Steep and flat exchanged because the values stood the other way round; their axes went with them.
    Reordered,
    /// Micrometres to millimetres or the reverse.
    Unit,
    /// The mean of several readings, as vectors.
    MeanOfReadings,
    /// Not in the file: assigned by the mapping template.
    FromTemplate,
    /// Not in the file: declared for the instrument of the folder it came through.
    FromFolder,
}

impl Conversion {
    /// The conversion in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::RadiusToPower => "computed from the radius",
            Self::PowerToRadius => "computed from the power",
            Self::MinusToPlus => "minus cylinder written as plus",
            Self::Reordered => "steep and flat reordered",
            Self::Unit => "unit converted",
            Self::MeanOfReadings => "mean of the readings",
            Self::FromTemplate => "from template",
            Self::FromFolder => "from the folder's profile",
        }
    }
}

/// A value, the text it was read from, where it stood, and what was done to it on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading<T> {
    /// The value.
    pub value: T,
    /// The text as it stood in the file.
    pub text: String,
    /// Decimals written, when it is a number written as text.
    pub decimals: Option<u32>,
    /// Where it stood.
    pub place: Place,
    /// The declared conversion, if one was done.
    pub converted: Option<Conversion>,
}

impl<T> Reading<T> {
    /// A value as it stood.
    pub fn new(value: T, text: impl Into<String>, place: Place) -> Self {
        Self { value, text: text.into(), decimals: None, place, converted: None }
    }

    /// A number as it stood, with its decimals.
    pub fn written(value: T, written: &Written, place: Place) -> Self {
        Self {
            value,
            text: written.text().to_owned(),
            decimals: Some(written.decimals()),
            place,
            converted: None,
        }
    }

    /// The same reading after a declared conversion.
    #[must_use]
    pub fn converted(mut self, conversion: Conversion) -> Self {
        self.converted = Some(conversion);
        self
    }

    /// Another value with the same text and place.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Reading<U> {
        Reading {
            value: f(self.value),
            text: self.text,
            decimals: self.decimals,
            place: self.place,
            converted: self.converted,
        }
    }

    /// The step in which the number was written: 0.01 for two decimals; none when unknown.
    pub fn step(&self) -> Option<f64> {
        let decimals = self.decimals?;
        Some(1.0 / f64::from(10_u32.checked_pow(decimals)?))
    }
}
