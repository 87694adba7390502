//! Each bounded quantity is declared once; constructors, errors and the generators of the tests derive from it.

/// A number that cannot be a value of its quantity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{quantity} `{value}` is outside {min} to {max} {unit}")]
pub struct OutOfRange {
    /// The quantity in the trade's words.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Least value.
    pub min: f64,
    /// Greatest value.
    pub max: f64,
    /// What was given; not a number when that is what was given.
    pub value: f64,
}

/// Declares a newtype over `f64` with its words, unit and range.
///
/// The range is one of meaning (what the quantity can be at all), not of plausibility: an eye 43 mm long is a length,
/// and it is a finding that says it is impossible.
macro_rules! bounded {
    (
        $(#[$meta:meta])*
        $name:ident, $words:literal, $unit:literal, $min:literal ..= $max:literal, $accessor:ident, $from:ident
    ) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// The quantity in the trade's words.
            pub const WORDS: &'static str = $words;
            /// The unit.
            pub const UNIT: &'static str = $unit;
            /// Least value a reading can have.
            pub const MIN: f64 = $min;
            /// Greatest value a reading can have.
            pub const MAX: f64 = $max;

            #[doc = concat!("A value from outside, in ", $unit, ".\n\n# Errors\n[`OutOfRange`] when it is not a number or outside ", stringify!($min), " to ", stringify!($max), ".")]
            pub fn from_reading(value: f64) -> Result<Self, OutOfRange> {
                if value.is_finite() && ($min..=$max).contains(&value) {
                    Ok(Self(value + 0.0))
                } else {
                    Err(OutOfRange { quantity: $words, unit: $unit, min: $min, max: $max, value })
                }
            }

            #[doc = concat!("A computed value in ", $unit, "; none when the computation left the finite numbers.")]
            pub fn computed(value: f64) -> Option<Self> {
                value.is_finite().then_some(Self(value))
            }

            #[doc = concat!("A constant in ", $unit, " written in the source.")]
            pub const fn $from(value: f64) -> Self {
                assert!(value.is_finite(), "a constant is a finite number");
                Self(value)
            }

            #[doc = concat!("The value in ", $unit, ".")]
            pub const fn $accessor(self) -> f64 {
                self.0
            }
        }
    };
}

pub(super) use bounded;
