//! Every limit of the rules, with its unit and its source.

use crate::cite::{
    AGREEMENT, AXIS_SCATTER, BIOMETRY_LIMITS, COMMON_PRACTICE, CONTACT_LENS, EARLIER_VISIT, HOUSE_RULE,
    IMPOSSIBLE, ISO_10343, LENGTH_AGREEMENT, LENGTH_BETWEEN_EYES, MEASUREMENT_AGE, PERPENDICULAR_STEPS,
    SCREENING_1988, Source, THREE_READINGS,
};
use crate::finding::Code;

/// One limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Threshold {
    /// The number.
    pub value: f64,
    /// Its unit as printed; empty for a count or an index.
    pub unit: &'static str,
    /// Where it comes from and how far that was verified; a finding cites the source of the limit that decided it.
    pub source: Source,
}

macro_rules! thresholds {
    ($($(#[doc = $doc:literal])+ $name:ident [$($code:ident)*] $value:literal $unit:literal $source:expr;)+) => {
        /// The limits of the rules; a site may set each of them.
        #[derive(Debug, Clone, PartialEq)]
        pub struct Settings {
            $($(#[doc = $doc])+ pub $name: Threshold,)+
        }

        impl Default for Settings {
            fn default() -> Self {
                Self { $($name: Threshold { value: $value, unit: $unit, source: $source },)+ }
            }
        }

        impl Settings {
            /// Every limit with its name, in the order of the printed page.
            pub fn all(&self) -> Vec<(&'static str, Threshold)> {
                vec![$((stringify!($name), self.$name),)+]
            }

            /// One limit to be set, by its name; none for a name that is no limit.
            pub fn named_mut(&mut self, name: &str) -> Option<&mut Threshold> {
                match name {
                    $(stringify!($name) => Some(&mut self.$name),)+
                    _ => None,
                }
            }

            /// The limits one rule uses.
            pub fn of(&self, code: Code) -> Vec<(&'static str, Threshold)> {
                let mut found = Vec::new();
                $(if [$(Code::$code),*].contains(&code) {
                    found.push((stringify!($name), self.$name));
                })+
                found
            }
        }
    };
}

thresholds! {
    /// How many days before the latest examination another one still counts; older ones are references only.
    window_days [A01 A02 A04] 14.0 "d" HOUSE_RULE;
    /// Vector difference of two sources above which the surgeon is asked.
    a01_sign_off [A01] 0.50 "D" AGREEMENT;
    /// Vector difference of two sources above which there is no plan without a third.
    a01_refuse [A01] 1.00 "D" AGREEMENT;
    /// What the plan from the combined reading may leave by any single source for a disagreement to be a note.
    a01_residual [A01] 0.50 "D" AGREEMENT;
    /// Difference of mean keratometry above which the surgeon is asked.
    a02_sign_off [A02] 0.50 "D" AGREEMENT;
    /// Difference of mean keratometry above which there is no plan without a third source.
    a02_refuse [A02] 1.00 "D" AGREEMENT;
    /// Age of a measurement on the day of the operation above which it is noted.
    p11_note [P11] 180.0 "d" MEASUREMENT_AGE;
    /// … above which a person is asked.
    p11_sign_off [P11] 365.0 "d" MEASUREMENT_AGE;
    /// … above which it is no source.
    p11_refuse [P11] 730.0 "d" MEASUREMENT_AGE;
    /// Difference of the axial length of one eye from an earlier visit above which it may be another person's.
    p15_length [P15] 0.30 "mm" EARLIER_VISIT;
    /// Difference of mean keratometry of one eye from an earlier visit above which it may be another person's.
    p15_power [P15] 1.00 "D" EARLIER_VISIT;
    /// Age in years under which a person is asked.
    p17_age_least [P17] 18.0 "years" HOUSE_RULE;
    /// Age in years above which a person is asked.
    p17_age_most [P17] 110.0 "years" HOUSE_RULE;
    /// Combined cylinder under which the axis means little.
    a06_cylinder [A06] 0.75 "D" AXIS_SCATTER;
    /// Difference of two axial lengths above which the surgeon is asked.
    a07_sign_off [A07] 0.20 "mm" LENGTH_AGREEMENT;
    /// Difference of two axial lengths above which there is no plan without a third reading.
    a07_refuse [A07] 0.40 "mm" LENGTH_AGREEMENT;
    /// Axial length under which it is noted.
    b01_note_least [B01] 22.0 "mm" SCREENING_1988;
    /// Axial length above which it is noted.
    b01_note_most [B01] 25.0 "mm" SCREENING_1988;
    /// Axial length under which the surgeon is asked.
    b01_sign_off_least [B01] 21.2 "mm" BIOMETRY_LIMITS;
    /// Axial length above which the surgeon is asked.
    b01_sign_off_most [B01] 26.6 "mm" BIOMETRY_LIMITS;
    /// How close another reading must come for an axial length to count as repeated.
    b01_repeat [B01 B02] 0.10 "mm" HOUSE_RULE;
    /// Difference of the two eyes' axial lengths above which it is noted.
    b02_note [B02] 0.30 "mm" SCREENING_1988;
    /// … above which the surgeon is asked, in eyes of usual length.
    b02_sign_off [B02] 0.70 "mm" BIOMETRY_LIMITS;
    /// Length of the longer eye up to which the pair counts as short.
    b02_short_length [B02] 22.0 "mm" LENGTH_BETWEEN_EYES;
    /// Difference above which the surgeon is asked in a short pair.
    b02_short_sign_off [B02] 0.50 "mm" LENGTH_BETWEEN_EYES;
    /// Length of the longer eye from which the pair counts as long.
    b02_long_length [B02] 28.0 "mm" LENGTH_BETWEEN_EYES;
    /// Difference above which the surgeon is asked in a long pair.
    b02_long_sign_off [B02] 4.00 "mm" LENGTH_BETWEEN_EYES;
    /// Least usual mean keratometry.
    b03_least [B03] 41.0 "D" BIOMETRY_LIMITS;
    /// Greatest usual mean keratometry.
    b03_most [B03] 47.0 "D" BIOMETRY_LIMITS;
    /// How close another reading must come for a mean keratometry to count as repeated.
    b03_repeat [B03 B04] 0.30 "D" HOUSE_RULE;
    /// Difference of the two eyes' mean keratometry above which the surgeon is asked.
    b04_sign_off [B04] 0.90 "D" BIOMETRY_LIMITS;
    /// Corneal cylinder above which the surgeon is asked.
    b05_sign_off [B05] 2.50 "D" BIOMETRY_LIMITS;
    /// Corneal cylinder above which the surgeon is asked however often it was repeated.
    b05_always [B05] 4.00 "D" HOUSE_RULE;
    /// How close another reading must come, as vectors, for a cylinder to count as repeated.
    b05_repeat [B05] 0.50 "D" HOUSE_RULE;
    /// Standard deviation of the mean powers of readings above which the surgeon is asked.
    b07_power [B07] 0.25 "D" HOUSE_RULE;
    /// Standard deviation of their astigmatisms as vectors.
    b07_vector [B07] 0.50 "D" HOUSE_RULE;
    /// Standard deviation of the readings of an axial length.
    b07_length [B07] 0.05 "mm" HOUSE_RULE;
    /// Fewer readings than this behind a value ask the surgeon.
    b08_readings [B08] 3.0 "" THREE_READINGS;
    /// Shortest axial length of a human eye.
    b11_length_least [B11] 15.0 "mm" IMPOSSIBLE;
    /// Longest axial length of a human eye.
    b11_length_most [B11] 40.0 "mm" IMPOSSIBLE;
    /// Least keratometric power of a human cornea.
    b11_power_least [B11] 30.0 "D" IMPOSSIBLE;
    /// Greatest keratometric power of a human cornea.
    b11_power_most [B11] 65.0 "D" IMPOSSIBLE;
    /// Greatest corneal cylinder.
    b11_cylinder_most [B11] 15.0 "D" IMPOSSIBLE;
    /// Shallowest chamber.
    b11_depth_least [B11] 1.0 "mm" IMPOSSIBLE;
    /// Deepest chamber.
    b11_depth_most [B11] 6.0 "mm" IMPOSSIBLE;
    /// How far the principal meridians may be off a right angle before it is noted.
    i01_note [I01] 2.0 "deg" PERPENDICULAR_STEPS;
    /// … before the surgeon is asked.
    i01_sign_off [I01] 5.0 "deg" PERPENDICULAR_STEPS;
    /// … before the measurement is refused.
    i01_refuse [I01] 10.0 "deg" PERPENDICULAR_STEPS;
    /// Cylinder under which the meridians of a measurement mean nothing and are not judged.
    i01_least_cylinder [I01] 0.12 "D" HOUSE_RULE;
    /// Days without a soft contact lens before keratometry.
    i03_soft [I03] 7.0 "d" CONTACT_LENS;
    /// Days without a rigid contact lens, or one of unknown kind, before keratometry.
    i03_rigid [I03] 35.0 "d" CONTACT_LENS;
    /// Least number that can be a power of a cornea and no radius.
    u02_power_least [U02] 30.0 "D" IMPOSSIBLE;
    /// Greatest such number.
    u02_power_most [U02] 65.0 "D" IMPOSSIBLE;
    /// Least number that can be a radius of a cornea and no power.
    u02_radius_least [U02] 5.0 "mm" IMPOSSIBLE;
    /// Greatest such number.
    u02_radius_most [U02] 10.0 "mm" IMPOSSIBLE;
    /// The keratometric index everything is computed in.
    u01_index [U01] 1.3375 "" ISO_10343;
    /// Step of a number whose decimals are not known, taken for power and radius alike.
    u01_unknown_step [U01] 0.01 "" COMMON_PRACTICE;
    /// How far the axis of the reported cylinder may lie from the meridian its sign belongs to.
    u04_axis [U04] 10.0 "deg" HOUSE_RULE;
    /// Reported cylinder under which its axis means nothing and is not judged.
    u04_least_cylinder [U04] 0.12 "D" HOUSE_RULE;
    /// How far the reported cylinder may be from the difference of the powers; more where the steps are coarser.
    u09_room [U09] 0.06 "D" HOUSE_RULE;
    /// Vector difference within which two sources fit after one is turned by a right angle.
    u06_fit [U06] 0.50 "D" HOUSE_RULE;
    /// Cylinder both sources must have for a turn to be seen.
    u06_least_cylinder [U06] 0.75 "D" HOUSE_RULE;
    /// Power step of a keratometer so coarse that equal eyes are met by chance; half of it is met too.
    coarse_power_step [L05 U01] 0.25 "D" COMMON_PRACTICE;
    /// Axis step of such a keratometer.
    coarse_axis_step [L05] 5.0 "deg" COMMON_PRACTICE;
    /// Target above which the surgeon is asked.
    t02_plus [T02] 0.50 "D" HOUSE_RULE;
    /// Difference of a device's own prediction from the same formula computed again above which the surgeon is asked.
    f03_gap [F03] 0.05 "D" HOUSE_RULE;
}
