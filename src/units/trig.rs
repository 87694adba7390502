//! Transcendental functions, all from `libm`.
//!
//! The standard library calls the platform's C library, whose last bits differ between systems; a printed number must
//! not. `sqrt` is exact by IEEE 754 and may be used as it is.

/// Degrees to radians.
pub fn radians(degrees: f64) -> f64 {
    degrees * (core::f64::consts::PI / 180.0)
}

/// Radians to degrees.
pub fn degrees(radians: f64) -> f64 {
    radians * (180.0 / core::f64::consts::PI)
}

/// Sine of an angle in radians.
pub fn sin(x: f64) -> f64 {
    libm::sin(x)
}

/// Cosine of an angle in radians.
pub fn cos(x: f64) -> f64 {
    libm::cos(x)
}

/// Tangent of an angle in radians.
pub fn tan(x: f64) -> f64 {
    libm::tan(x)
}

/// Arc sine, in radians.
pub fn asin(x: f64) -> f64 {
    libm::asin(x)
}

/// Arc cosine, in radians.
pub fn acos(x: f64) -> f64 {
    libm::acos(x)
}

/// Angle of the point (`x`, `y`), in radians, in (-pi, pi].
pub fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}

/// Length of the vector (`x`, `y`).
pub fn hypot(x: f64, y: f64) -> f64 {
    libm::hypot(x, y)
}

/// Natural exponential.
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}

/// Natural logarithm.
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}

/// Logarithm to base ten.
pub fn log10(x: f64) -> f64 {
    libm::log10(x)
}

/// `x` to the power `y`.
pub fn pow(x: f64, y: f64) -> f64 {
    libm::pow(x, y)
}

/// Error function, 2/sqrt(pi) times the integral of exp(-t^2) from 0 to `x`.
pub fn erf(x: f64) -> f64 {
    libm::erf(x)
}
