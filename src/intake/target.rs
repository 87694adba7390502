//! The closed list of what a mapping template can fill, with the type and the unit of each.

/// What kind of text stands behind a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Free text, kept verbatim.
    Text,
    /// One of a closed list of words.
    Word,
    /// A calendar date.
    Date,
    /// A local date and time.
    Time,
    /// A whole number without a unit.
    Count,
    /// A radius of curvature: millimetres only.
    Radius,
    /// A length kept in millimetres.
    Length,
    /// A thickness kept in micrometres.
    Thickness,
    /// A power or a difference of powers in dioptres.
    Power,
    /// A meridian or a cylinder axis, 0 to 180 degrees.
    Meridian,
    /// A place on the limbus, 0 to 360 degrees.
    Direction,
    /// The keratometric index.
    Index,
}

impl Kind {
    /// The word of the template's `type` key.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Word => "word",
            Self::Date => "date",
            Self::Time => "time",
            Self::Count => "integer",
            Self::Radius
            | Self::Length
            | Self::Thickness
            | Self::Power
            | Self::Meridian
            | Self::Direction
            | Self::Index => "decimal",
        }
    }

    /// Whether the text is a number.
    pub(super) const fn is_number(self) -> bool {
        match self {
            Self::Text | Self::Word | Self::Date | Self::Time => false,
            Self::Count
            | Self::Radius
            | Self::Length
            | Self::Thickness
            | Self::Power
            | Self::Meridian
            | Self::Direction
            | Self::Index => true,
        }
    }

    /// The units a file may use; the first is the model's own. Empty where there is no unit.
    pub(super) const fn units(self) -> &'static [Unit] {
        match self {
            Self::Text | Self::Word | Self::Date | Self::Time | Self::Count | Self::Index => &[],
            Self::Radius => &[Unit::Millimetre],
            Self::Length => &[Unit::Millimetre, Unit::Micrometre],
            Self::Thickness => &[Unit::Micrometre, Unit::Millimetre],
            Self::Power => &[Unit::Dioptre],
            Self::Meridian | Self::Direction => &[Unit::Degree],
        }
    }
}

/// A unit a template can declare. Unit symbols after UCUM, except `D`, the trade's sign for the dioptre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// `mm`
    Millimetre,
    /// `um`
    Micrometre,
    /// `D`
    Dioptre,
    /// `deg`
    Degree,
}

impl Unit {
    /// The word of the template.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Micrometre => "um",
            Self::Dioptre => "D",
            Self::Degree => "deg",
        }
    }

    /// From that word.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        [Self::Millimetre, Self::Micrometre, Self::Dioptre, Self::Degree]
            .into_iter()
            .find(|unit| unit.word() == word)
    }

    /// From what a file writes beside a value. Source: UCUM (`mm`, `um`, `deg`, `[diop]`), SI (`µm`, with either of the
    /// two letters that look alike), common practice (`D`, `dpt`, `°`).
    pub(super) fn from_file(text: &str) -> Option<Self> {
        match text {
            "mm" => Some(Self::Millimetre),
            "um" | "\u{B5}m" | "\u{3BC}m" => Some(Self::Micrometre),
            "D" | "dpt" | "[diop]" => Some(Self::Dioptre),
            "deg" | "°" => Some(Self::Degree),
            _ => None,
        }
    }
}

/// Where in the model a target lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Room {
    /// Patient: exams and lists.
    Patient,
    /// Examination.
    Exam,
    /// One eye of an examination.
    Eye,
    /// One eye of an examination, the planned eye of a list, or an eye of a statement.
    Fact,
    /// A statement of a person about an eye.
    Statement,
    /// A statement of a person: who and when.
    Stating,
    /// Operating list.
    List,
}

macro_rules! targets {
    ($($variant:ident $word:literal $room:ident $kind:ident $assignable:literal $measured:literal;)+) => {
        /// A field of the measurement model that a template can fill.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub(super) enum Target {
            $(#[doc = concat!("`", $word, "`")] $variant,)+
        }

        impl Target {
            /// Every target.
            pub(super) const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The word of the template.
            pub(super) const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// Where it belongs.
            pub(super) const fn room(self) -> Room {
                match self { $(Self::$variant => Room::$room,)+ }
            }

            /// What its text is.
            pub(super) const fn kind(self) -> Kind {
                match self { $(Self::$variant => Kind::$kind,)+ }
            }

            /// Whether a template may assign it to every file it reads: facts about the device, never a measured
            /// value and never the patient.
            pub(super) const fn assignable(self) -> bool {
                match self { $(Self::$variant => $assignable,)+ }
            }

            /// Whether it is a measured value, so that a record holding it is not empty.
            pub(super) const fn measured(self) -> bool {
                match self { $(Self::$variant => $measured,)+ }
            }
        }
    };
}

targets! {
    PatientNumber "patient.number" Patient Text false false;
    PatientAuthority "patient.authority" Patient Text true false;
    PatientName "patient.name" Patient Text false false;
    PatientFamily "patient.family" Patient Text false false;
    PatientGiven "patient.given" Patient Text false false;
    PatientBirth "patient.birth" Patient Date false false;
    PatientSex "patient.sex" Patient Word false false;
    ExamTime "exam.time" Exam Time false false;
    ExamUid "exam.uid" Exam Text false false;
    ExamDevice "exam.device" Exam Text true false;
    ExamSerial "exam.serial" Exam Text false false;
    FlatRadius "km.flat.radius" Eye Radius false true;
    FlatPower "km.flat.power" Eye Power false true;
    FlatMeridian "km.flat.meridian" Eye Meridian false false;
    SteepRadius "km.steep.radius" Eye Radius false true;
    SteepPower "km.steep.power" Eye Power false true;
    SteepMeridian "km.steep.meridian" Eye Meridian false false;
    KmIndex "km.index" Eye Index true false;
    KmKind "km.kind" Eye Word true false;
    KmSurface "km.surface" Eye Word true false;
    KmZone "km.zone" Eye Length true false;
    KmReadings "km.readings" Eye Count true false;
    KmSpread "km.spread" Eye Power false false;
    KmQuality "km.quality" Eye Word false false;
    KmCylinder "km.cylinder" Eye Power false false;
    KmCylinderAxis "km.cylinder_axis" Eye Meridian false false;
    AxialLength "axial.length" Eye Length false true;
    AxialMethod "axial.method" Eye Word true false;
    AxialDepth "axial.depth" Eye Length false true;
    AxialDepthFrom "axial.depth_from" Eye Word true false;
    AxialLens "axial.lens" Eye Length false true;
    AxialCornea "axial.cornea" Eye Thickness false true;
    AxialWhite "axial.white" Eye Length false true;
    AxialSpread "axial.spread" Eye Length false false;
    RefractionSphere "refraction.sphere" Eye Power false true;
    RefractionCylinder "refraction.cylinder" Eye Power false false;
    RefractionAxis "refraction.axis" Eye Meridian false false;
    RefractionVertex "refraction.vertex" Eye Length true false;
    FactCornealSurgery "fact.corneal_surgery" Fact Word false false;
    FactLensStatus "fact.lens_status" Fact Word false false;
    FactContactLens "fact.contact_lens" Statement Word false false;
    FactLastWear "fact.last_wear" Statement Date false false;
    FactDrops "fact.drops" Statement Word false false;
    FactBy "fact.by" Stating Text false false;
    FactAt "fact.at" Stating Time false false;
    ListBooking "list.booking" List Text false false;
    ListDate "list.date" List Date false false;
    ListTheatre "list.theatre" List Text true false;
    ListPosition "list.position" List Count false false;
    ListEye "list.eye" List Word false false;
    ListProcedure "list.procedure" List Word false false;
    ListSurgeon "list.surgeon" List Text false false;
    ListTargetRefraction "list.target" List Power false false;
    ListLens "list.lens" List Text false false;
    ListIncision "list.incision" List Direction false false;
    ListWidth "list.width" List Length false false;
    ListSeat "list.seat" List Word false false;
}

impl Target {
    /// From the word of the template.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|target| target.word() == word)
    }

    /// Whether a row that is one of several readings can have it.
    pub(super) const fn of_one_reading(self) -> bool {
        matches!(
            self,
            Self::FlatRadius
                | Self::FlatPower
                | Self::FlatMeridian
                | Self::SteepRadius
                | Self::SteepPower
                | Self::SteepMeridian
                | Self::KmIndex
                | Self::KmKind
                | Self::KmSurface
                | Self::KmZone
        )
    }

    /// Whether it is a part of a keratometry.
    pub(super) const fn is_of_keratometry(self) -> bool {
        matches!(
            self,
            Self::FlatRadius
                | Self::FlatPower
                | Self::FlatMeridian
                | Self::SteepRadius
                | Self::SteepPower
                | Self::SteepMeridian
                | Self::KmIndex
                | Self::KmZone
        )
    }

    /// Whether it is a part of a refraction.
    pub(super) const fn is_of_refraction(self) -> bool {
        matches!(
            self,
            Self::RefractionSphere | Self::RefractionCylinder | Self::RefractionAxis | Self::RefractionVertex
        )
    }

    /// Whether a number of this target can be nought.
    ///
    /// A radius, the power of a meridian, a length or a thickness cannot; a sphere, a cylinder, a spread, a target
    /// refraction and an angle can.
    pub(super) const fn may_be_zero(self) -> bool {
        match self.kind() {
            Kind::Radius | Kind::Thickness | Kind::Index => false,
            Kind::Length => matches!(self, Self::AxialSpread | Self::RefractionVertex),
            Kind::Power => !matches!(self, Self::FlatPower | Self::SteepPower),
            Kind::Text
            | Kind::Word
            | Kind::Date
            | Kind::Time
            | Kind::Count
            | Kind::Meridian
            | Kind::Direction => true,
        }
    }
}

impl core::fmt::Display for Target {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.word())
    }
}
