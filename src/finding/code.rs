//! The codes: stable, never reused. `docs/FINDINGS.md` is generated from this table.

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Printed small, asks for nothing.
    Note,
    /// A person answers it with a reason before the case goes on.
    SignOff,
    /// No sheet. The source must be corrected, measured again or exported again; nobody can override it.
    Refuse,
}

impl Severity {
    /// `note`, `sign-off` or `refuse`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::SignOff => "sign-off",
            Self::Refuse => "refuse",
        }
    }
}

/// Who has to act on a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Answerer {
    /// Whoever prepares the case: nurse or technician.
    Preparer,
    /// The surgeon.
    Surgeon,
    /// The hospital's IT.
    It,
}

impl Answerer {
    /// The word of the JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Preparer => "preparer",
            Self::Surgeon => "surgeon",
            Self::It => "it",
        }
    }
}

macro_rules! codes {
    ($($variant:ident $slug:literal [$($severity:ident)+] $answerer:ident $rule:literal;)+) => {
        /// The code of a rule.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Code {
            $(#[doc = $rule] $variant,)+
        }

        impl Code {
            /// Every code, in the order of the printed table.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The short reference, e.g. `A01`.
            pub const fn reference(self) -> &'static str {
                match self { $(Self::$variant => stringify!($variant),)+ }
            }

            /// The code in words, e.g. `astigmatism-disagrees`.
            pub const fn slug(self) -> &'static str {
                match self { $(Self::$variant => $slug,)+ }
            }

            /// The severities the rule can have.
            pub const fn severities(self) -> &'static [Severity] {
                match self { $(Self::$variant => &[$(Severity::$severity),+],)+ }
            }

            /// Who acts on it.
            pub const fn answerer(self) -> Answerer {
                match self { $(Self::$variant => Answerer::$answerer,)+ }
            }

            /// The rule in one sentence.
            pub const fn rule(self) -> &'static str {
                match self { $(Self::$variant => $rule,)+ }
            }
        }
    };
}

codes! {
    P01 "patient-number-differs" [Refuse] Preparer "The patient number differs between the list and a file; blanks and hyphens do not count.";
    P02 "name-equal-after-normalising" [Note] Preparer "The names are equal only after folding case, accents, the spelling of umlauts and the order of the parts.";
    P03 "name-differs" [SignOff] Preparer "The name differs while number and birth date agree.";
    P04 "birth-day-month-exchanged" [SignOff] Preparer "The birth date is the same but for day and month, which have changed places.";
    P05 "birth-date-differs" [Refuse] Preparer "The birth date differs.";
    P06 "sex-differs" [SignOff] Preparer "One document says female, the other male; other and blank do not count.";
    P07 "check-digit-wrong" [Refuse] Preparer "The check digit of the site's declared number scheme is wrong.";
    P08 "patient-number-missing" [Refuse] Preparer "There is no patient number.";
    P10 "exam-seen-again" [Note] Preparer "The same examination was delivered again, or its file was read again without a row.";
    P11 "measurement-age" [Note SignOff Refuse] Preparer "A measurement that counts will be old on the day of the operation.";
    P13 "look-alike-on-list" [Note] Preparer "NAME ALERT: another patient on the same list has the same family name, the same first name and birth year, or the same birth date.";
    P14 "impossible-time" [Refuse] Preparer "Measured in the future or before birth.";
    P15 "differs-from-earlier-visit" [SignOff Refuse] Preparer "One eye, or both, differ from an earlier visit under this number by more than an eye changes.";
    P16 "number-differs-by-zeros" [SignOff] Preparer "The patient numbers are equal only after leading zeros are put back; name and birth date agree.";
    P17 "age-unusual" [SignOff] Preparer "The patient is younger or older than patients of this operation usually are.";
    L01 "laterality-conflict" [Refuse] Surgeon "Header, block of the eye and laterality attributes of one file disagree.";
    L02 "laterality-file-name" [SignOff] Preparer "Only the file name names another eye.";
    L03 "laterality-unknown" [Refuse] Surgeon "An eye code is unknown, or says both for values of a single eye.";
    L05 "eyes-identical" [SignOff Refuse] Surgeon "Both eyes have the same numbers.";
    L07 "fellow-eye-missing" [Note] Surgeon "A source has no fellow eye: symmetry is unchecked.";
    L08 "planned-eye-not-measured" [Refuse] Surgeon "The eye on the list has no measurement.";
    L09 "list-eye-missing" [Refuse] Surgeon "The list names no eye.";
    L11 "both-eyes-on-list" [Note] Surgeon "Both eyes of the patient are on one list: two separate sheets.";
    L12 "planned-eye-not-phakic" [Refuse] Surgeon "The eye is recorded to hold another lens than the operation presupposes: pseudophakic or aphakic before cataract surgery or a phakic lens, phakic before the re-alignment of a lens.";
    A01 "astigmatism-disagrees" [Note SignOff Refuse] Surgeon "Two sources of keratometry differ as vectors by more than the limit.";
    A02 "mean-k-disagrees" [SignOff Refuse] Surgeon "The mean keratometry of two sources differs by more than the limit.";
    A04 "single-source" [SignOff] Surgeon "Only one source of anterior keratometry.";
    A05 "surface-kinds-mixed" [Note] Surgeon "Total and anterior keratometry stand side by side; they are neither averaged nor compared.";
    A06 "axis-not-meaningful" [Note] Surgeon "The astigmatism of the combined keratometry is so small that its axis means little.";
    A07 "axial-length-disagrees" [SignOff Refuse] Surgeon "The axial lengths of two sources differ by more than the limit.";
    B01 "axial-length-unusual" [Note SignOff] Surgeon "The axial length is outside the usual range; a note when it was repeated.";
    B02 "axial-length-eyes-differ" [Note SignOff] Surgeon "The axial lengths of the two eyes differ; the limit depends on the longer eye; a note when both were repeated.";
    B03 "mean-k-unusual" [Note SignOff] Surgeon "The mean keratometry is outside the usual range; a note when it was repeated.";
    B04 "mean-k-eyes-differ" [Note SignOff] Surgeon "The mean keratometry of the two eyes differs; a note when both were repeated.";
    B05 "cylinder-large" [Note SignOff] Surgeon "The corneal cylinder is large; a note when it was repeated, above the second limit never.";
    B07 "readings-scatter" [SignOff] Surgeon "The readings behind a value lie far apart.";
    B08 "too-few-readings" [Note SignOff] Surgeon "Fewer than three readings stand behind a value, or their count is unknown.";
    B11 "impossible-value" [Refuse] Surgeon "A value no human eye has.";
    I01 "meridians-not-perpendicular" [Note SignOff Refuse] Surgeon "Steep and flat meridian are not at right angles.";
    I03 "contact-lens-wear" [SignOff] Preparer "A contact lens was worn until shortly before the keratometry, or nobody knows.";
    I05 "corneal-laser-history" [SignOff Refuse] Surgeon "Corneal refractive surgery is recorded, or nobody has said whether there was any.";
    I07 "measured-after-drops" [Note SignOff] Preparer "Keratometry of a day on which the eye got drops or the cornea was touched; dilating drops alone are a note.";
    U01 "keratometric-index" [Note SignOff Refuse] It "The keratometric index differs from 1.3375, is missing, or contradicts radius and power.";
    U02 "mm-dioptre-confusion" [Refuse] It "A radius stands where a power belongs, or the reverse.";
    U04 "cylinder-sign" [Refuse] It "The axis of the cylinder the instrument itself reports fits neither sign: plus belongs to the steep, minus to the flat meridian.";
    U05 "steep-flat-reordered" [Note] It "Flat and steep stood the other way round and were reordered with their axes.";
    U06 "axis-turned-90" [Refuse] It "Two sources differ by a turn of 90 degrees.";
    U08 "axis-out-of-range" [Refuse] It "An axis is below 0, above 180 or not a number.";
    U09 "arithmetic-contradiction" [Refuse] It "The cylinder the instrument itself reports is not the difference of its two powers.";
    U10 "value-missing" [Note Refuse] It "A number the plan needs is missing; a note where a setting of the site stands in for it.";
    T01 "target-missing" [Refuse] Surgeon "There is no target refraction.";
    T02 "target-sign" [SignOff Refuse] Surgeon "A target that is not zero has no sign, or is above +0.50 D.";
    T03 "name-unknown" [Refuse] Surgeon "Surgeon, lens family or table of arcs is not among the approved files.";
    T05 "steep-meridian-out-of-reach" [Note] Surgeon "Neither end of the steep meridian can be reached from the seat; the incision goes to the nearest place that can.";
    M01 "mark-age" [SignOff] Preparer "The reference marks are older at use than the site's limit.";
    M02 "marked-lying" [SignOff] Preparer "The reference marks were made on a lying patient.";
    M03 "cyclotorsion-large" [SignOff] Surgeon "The turn of the eye from sitting to lying that was entered is above the limit.";
    M04 "head-tilt" [SignOff] Preparer "The head was tilted at marking by more than the limit.";
    M05 "approach-changed" [SignOff] Surgeon "The list puts the incision elsewhere than the plan, or at another width, or the plan elsewhere than the surgeon's effect was found; the incision meets an arc.";
    D03 "file-tail-stripped" [SignOff] It "A DICOM file ends in zeros after its last element: padding, or a copy that did not finish. They were left out.";
    D04 "same-exam-other-content" [SignOff] It "One examination of one instrument was delivered twice with different values.";
    D05 "zone-unknown" [Note] It "A time without a zone, and none is declared for the folder.";
    D06 "wrong-folder" [Refuse] It "A file of another kind or device than its folder brings.";
    D07 "eye-missing-in-file" [SignOff] Preparer "The folder declares both eyes in every file, and one is missing.";
    E01 "settings-not-approved" [Refuse] It "A file that can move a printed number differs from its approved digest.";
    F01 "coefficients-unverified" [SignOff] Surgeon "On a live site: the numbers of the planning formula, or of the model of the posterior cornea, are from memory, or those of the table of arcs were not read.";
    F02 "formulas-apart" [SignOff] Surgeon "The planning formula differs by more than the limit from those that guideline NG77 (from memory) names for this length.";
    F03 "prediction-gap" [SignOff] Surgeon "A device's own prediction by a published formula differs by more than the limit from that formula computed from the inputs and constants the device states.";
    F04 "formula-limit" [Note Refuse] Surgeon "A formula or a table of arcs runs near or beyond its domain, or a cut would be too deep.";
    F05 "lens-not-made" [SignOff] Surgeon "The wanted power or step is not in the lens family; the nearest was taken.";
    F06 "residual-large" [SignOff] Surgeon "The predicted residual astigmatism is above the site's limit, or the turn of a lens gains too little.";
    F07 "entered-differs" [SignOff] Surgeon "The surgeon's entered choice differs from the computed one in power, by a step, or in axis.";
    R01 "list-contradicts-earlier" [SignOff] Preparer "A newer list changes eye, procedure, surgeon, lens or target of a case.";
    R02 "list-entry-gone" [SignOff] Preparer "The case is missing from a newer complete list of its theatre and day.";
    O03 "no-backup-stated" [Note] Surgeon "The surgeon's file states no backup lens.";
}

impl Code {
    /// The code of a reference (`A01`) or of its words (`astigmatism-disagrees`).
    pub fn from_text(text: &str) -> Option<Self> {
        let text = text.trim();
        Self::ALL
            .iter()
            .copied()
            .find(|code| code.reference().eq_ignore_ascii_case(text) || code.slug() == text)
    }
}

impl core::fmt::Display for Code {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} {}", self.reference(), self.slug())
    }
}
