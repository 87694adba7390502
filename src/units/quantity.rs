//! Powers, lengths and the keratometric index.

use super::bounds::{OutOfRange, bounded};

bounded! {
    /// A power or a difference of powers, in dioptres (UCUM `[diop]`).
    ///
    /// ```
    /// use axiswright::units::Dioptre;
    /// assert_eq!(Dioptre::from_reading(43.25).unwrap().dioptres(), 43.25);
    /// assert!(Dioptre::from_reading(f64::NAN).is_err());
    /// ```
    Dioptre, "power", "D", -200.0 ..= 200.0, dioptres, from_dioptres
}

bounded! {
    /// A length in millimetres (UCUM `mm`): radius of curvature, axial length, chamber depth, lens thickness, width.
    ///
    /// ```
    /// use axiswright::units::Millimetre;
    /// assert_eq!(Millimetre::from_reading(7.8).unwrap().millimetres(), 7.8);
    /// assert!(Millimetre::from_reading(-1.0).is_err());
    /// ```
    Millimetre, "length", "mm", 0.0 ..= 200.0, millimetres, from_millimetres
}

bounded! {
    /// A length in micrometres (UCUM `um`): corneal thickness.
    Micrometre, "thickness", "um", 0.0 ..= 5000.0, micrometres, from_micrometres
}

bounded! {
    /// The refractive index by which a keratometer turns radius into power; no unit.
    ///
    /// 1.3375 is the ophthalmometer constant 337.5 of ISO 10343; others are met (1.3315, 1.332, 4/3, 1.336, 1.338,
    /// 1.376). A power without its index is not a measurement.
    ///
    /// ```
    /// use axiswright::units::KeratometricIndex;
    /// assert!(KeratometricIndex::from_reading(1.3375).is_ok());
    /// assert!(KeratometricIndex::from_reading(337.5).is_err());
    /// ```
    KeratometricIndex, "keratometric index", "", 1.3 ..= 1.4, index, from_index
}

impl Dioptre {
    /// No power.
    pub const ZERO: Self = Self::from_dioptres(0.0);

    /// The size without the sign.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self::from_dioptres(self.dioptres().abs())
    }

    /// Order by value; every value is finite, so the order is total.
    pub fn total_cmp(&self, other: &Self) -> core::cmp::Ordering {
        self.dioptres().total_cmp(&other.dioptres())
    }
}

impl core::ops::Add for Dioptre {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::from_dioptres(self.dioptres() + other.dioptres())
    }
}

impl core::ops::Sub for Dioptre {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::from_dioptres(self.dioptres() - other.dioptres())
    }
}

impl core::ops::Neg for Dioptre {
    type Output = Self;
    fn neg(self) -> Self {
        Self::from_dioptres(-self.dioptres())
    }
}

impl core::ops::Mul<f64> for Dioptre {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::from_dioptres(self.dioptres() * factor)
    }
}

impl core::ops::Add for Millimetre {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::from_millimetres(self.millimetres() + other.millimetres())
    }
}

impl Micrometre {
    /// The same length in millimetres.
    pub const fn to_millimetres(self) -> Millimetre {
        Millimetre::from_millimetres(self.micrometres() / 1000.0)
    }
}

impl KeratometricIndex {
    /// The ophthalmometer constant of ISO 10343, 337.5.
    pub const ISO_10343: Self = Self::from_index(1.3375);

    /// Power of a surface of this radius by this index, `1000 (n - 1) / r`; none at radius zero.
    pub fn power_of(self, radius: Millimetre) -> Option<Dioptre> {
        Dioptre::computed(1000.0 * (self.index() - 1.0) / radius.millimetres())
    }

    /// Radius of a surface of this power by this index, `1000 (n - 1) / K`; none at power zero or below.
    pub fn radius_of(self, power: Dioptre) -> Option<Millimetre> {
        if power.dioptres() > 0.0 {
            Millimetre::computed(1000.0 * (self.index() - 1.0) / power.dioptres())
        } else {
            None
        }
    }

    /// The factor that turns a power, or a difference of powers, read with this index into one of another index.
    pub fn factor_to(self, other: Self) -> f64 {
        (other.index() - 1.0) / (self.index() - 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_is_not_a_number() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 201.0] {
            assert!(Dioptre::from_reading(value).is_err(), "{value}");
        }
        let error = Millimetre::from_reading(-0.1).unwrap_err();
        assert_eq!(error.to_string(), "length `-0.1` is outside 0 to 200 mm");
    }

    #[test]
    fn minus_zero_becomes_zero() {
        assert!(Dioptre::from_reading(-0.0).unwrap().dioptres().is_sign_positive());
    }

    #[test]
    fn radius_and_power_are_each_others_inverse() {
        let index = KeratometricIndex::ISO_10343;
        let power = index.power_of(Millimetre::from_millimetres(7.5)).unwrap();
        assert!((power.dioptres() - 45.0).abs() < 1e-12);
        assert!((index.radius_of(power).unwrap().millimetres() - 7.5).abs() < 1e-12);
        assert!(index.power_of(Millimetre::from_millimetres(0.0)).is_none());
        assert!(index.radius_of(Dioptre::ZERO).is_none());
    }
}
