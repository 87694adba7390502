//! `site.toml`.

use super::error::SiteError;
use super::expect::{Expected, read_expected};
use super::incoming::{Incoming, all_settle, quoted, read_incoming, read_zone, time_zone};
use super::keys::{
    BUDGET_TABLE, DIAL_TABLE, EXPECT_TABLE, INCOMING_TABLE, Key, MARKING_TABLE, THRESHOLDS_TABLE, TOP, names,
};
use super::limits::{Origins, WINDOW, describe_budget, describe_thresholds, read_budget, read_thresholds};
use super::marking::{Marks, Way, read_marking};
use super::reader::{Read, Reader, or_default};
use super::valued::{Described, Origin, Valued};
use crate::checks;
use crate::checks::NumberScheme;
use crate::intake::Brings;
use crate::plan;
use crate::plan::{Combining, MarkingWay, TheatreMethod};

macro_rules! words {
    ($(#[$meta:meta])* $name:ident { $($(#[doc = $doc:literal])+ $variant:ident = $word:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $name {
            $($(#[doc = $doc])+ $variant,)+
        }

        impl $name {
            /// Every word of the key.
            pub const WORDS: &'static [&'static str] = &[$($word,)+];

            /// The word of the settings.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// From that word.
            pub fn from_word(word: &str) -> Option<Self> {
                match word {
                    $($word => Some(Self::$variant),)+
                    _ => None,
                }
            }
        }
    };
}

words! {
    /// What a site is.
    SiteKind {
        /// Patients are treated by its sheets.
        Live = "live",
        /// A site for trying; every page says so.
        Test = "test",
        /// The bundled clinic; every page says so.
        Demo = "demo",
    }
}

words! {
    /// Who releases a sheet.
    ApprovalPolicy {
        /// Each sheet waits for the surgeon.
        Every = "every",
        /// A case without sign-off findings is released under the surgeon's standing order.
        Flagged = "flagged",
    }
}

words! {
    /// Whether the history of the cornea must be known.
    History {
        /// Somebody must have said whether there was corneal surgery.
        Required = "required",
        /// It counts where it is given.
        IfGiven = "if-given",
    }
}

words! {
    /// Whose time counts.
    Clock {
        /// The computer's.
        System = "system",
        /// The one given on the command line; the sheet prints TEST CLOCK.
        Given = "given",
    }
}

/// Free megabytes under which nothing is taken in. Source: [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
pub(super) const LOW_WATER_MB: u32 = 500;

/// Hours before the day of the operation at which nothing is waited for any more. Source:
/// [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
pub(super) const DECIDE_BY_HOURS: u32 = 24;

const SCHEMES: [(&str, NumberScheme); 2] =
    [("none", NumberScheme::None), ("mod11-10", NumberScheme::Mod11Ten)];

/// Name of the file within a site.
pub(super) const SITE_FILE: &str = "site.toml";

/// The settings of a site, every value with its origin.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteFile {
    kind: Valued<SiteKind>,
    name: Valued<String>,
    zone: Valued<String>,
    time_zone: jiff::tz::TimeZone,
    number_authority: Valued<String>,
    number_scheme: Valued<NumberScheme>,
    approval: Valued<ApprovalPolicy>,
    history: Valued<History>,
    theatre_method: Valued<TheatreMethod>,
    combine: Valued<Combining>,
    clock: Valued<Clock>,
    low_water_mb: Valued<u32>,
    window: Origin,
    decide_by_hours: Valued<u32>,
    expected: Expected,
    checks: checks::Settings,
    thresholds: Origins,
    plan: plan::Settings,
    budget: Origins,
    marking: Marks,
    incoming: Vec<Incoming>,
}

impl SiteFile {
    /// The settings a text states.
    ///
    /// # Errors
    /// The first fault in it, see [`SiteError`]: no fault is passed over, no unknown key is ignored.
    pub fn parse(text: &str) -> Result<Self, SiteError> {
        let mut file = Reader::open(SITE_FILE, text)?;
        let top = names(&TOP);
        let tables =
            [EXPECT_TABLE, THRESHOLDS_TABLE, BUDGET_TABLE, MARKING_TABLE, DIAL_TABLE, INCOMING_TABLE];
        file.only(&top.iter().copied().chain(tables).collect::<Vec<_>>(), &[])?;

        let kind = file
            .word("kind", SiteKind::WORDS, SiteKind::from_word)?
            .ok_or_else(|| file.missing("kind", "`live`, `test` or `demo`"))?;
        let live = kind.value == SiteKind::Live;
        let name = file.text("name")?.ok_or_else(|| file.missing("name", "the name as printed"))?;
        let zone = read_zone(&mut file)?
            .ok_or_else(|| file.missing("zone", "the IANA name of the site's time zone"))?;
        let time_zone = time_zone(&zone.value).ok_or_else(|| {
            file.value_error("zone", zone.spot.clone(), "the IANA name of a time zone", &zone.value)
        })?;
        let number_authority = file
            .text("number_authority")?
            .ok_or_else(|| file.missing("number_authority", "who gives out the patient numbers"))?;
        let number_scheme = file.word("number_scheme", &SCHEMES.map(|(word, _)| word), |word| {
            SCHEMES.into_iter().find(|(known, _)| *known == word).map(|(_, scheme)| scheme)
        })?;
        let approval = file.word("approval", ApprovalPolicy::WORDS, ApprovalPolicy::from_word)?;
        if live && approval.is_none() {
            let expected = "a live site must choose `every` (each sheet waits for the surgeon) or `flagged` (standing order)";
            return Err(file.missing("approval", expected));
        }
        let history = file.word("history", History::WORDS, History::from_word)?;
        let theatre_method = file.word("theatre_method", TheatreMethod::WORDS, TheatreMethod::from_word)?;
        let combine = file.word("combine", Combining::WORDS, Combining::from_word)?;
        let clock = file.word("clock", Clock::WORDS, Clock::from_word)?;
        if let Some(Read { value: Clock::Given, spot }) = &clock
            && live
        {
            return Err(SiteError::Conflict {
                spot: spot.clone(),
                key: "clock".to_owned(),
                found: Clock::Given.word().to_owned(),
                problem: "a live site runs by the computer's clock".to_owned(),
                next: "remove the line, or make this a test site".to_owned(),
            });
        }
        let low_water_mb = file.whole("low_water_mb", 50, 1_000_000)?;

        let mut checks = checks::Settings::default();
        let window = file.whole(WINDOW, 1, 365)?;
        if let (Some(read), Some(limit)) = (&window, checks.named_mut(WINDOW)) {
            limit.value = f64::from(read.value);
        }
        let decide_by_hours = file.whole("decide_by_hours", 0, 24 * 60)?;
        let thresholds = read_thresholds(file.table(THRESHOLDS_TABLE)?, &mut checks, &top)?;
        let combine = or_default(combine, Combining::default());
        let mut plan = plan::Settings { combine: combine.value, ..plan::Settings::default() };
        let budget = read_budget(file.table(BUDGET_TABLE)?, &mut plan, &top)?;
        let marking = read_marking(file.table(MARKING_TABLE)?, file.table(DIAL_TABLE)?, &top)?;
        let on_target = marking.way.value == Way::OnTarget;
        if let Some(Read { value, spot }) = &theatre_method
            && on_target
        {
            return Err(SiteError::Conflict {
                spot: spot.clone(),
                key: "theatre_method".to_owned(),
                found: value.word().to_owned(),
                problem: "marks on the target meridian need no ring in theatre".to_owned(),
                next: "remove `theatre_method`, or set `way` in `[marking]` to `reference_marks`".to_owned(),
            });
        }
        if !budget.iter().any(|(name, _)| *name == "mark_hours") {
            plan.mark_hours = marking.plan().made_with.hours();
        }
        let incoming = read_incoming(file.tables(INCOMING_TABLE)?, &top)?;
        if live {
            all_settle(&incoming)?;
        }
        let devices: Vec<&str> = incoming.iter().filter_map(Incoming::measuring_device).collect();
        let expected = read_expected(file.table(EXPECT_TABLE)?, &devices, &top)?;

        Ok(Self {
            kind: kind.valued(),
            name: name.valued(),
            zone: zone.valued(),
            time_zone,
            number_authority: number_authority.valued(),
            number_scheme: or_default(number_scheme, NumberScheme::None),
            approval: or_default(approval, ApprovalPolicy::Flagged),
            history: or_default(history, History::Required),
            theatre_method: or_default(
                theatre_method,
                if on_target { TheatreMethod::OnTarget } else { TheatreMethod::RingOnMarks },
            ),
            marking,
            combine,
            clock: or_default(clock, Clock::System),
            low_water_mb: or_default(low_water_mb, LOW_WATER_MB),
            decide_by_hours: or_default(decide_by_hours, DECIDE_BY_HOURS),
            expected,
            window: window.map_or(Origin::Default, |read| read.valued().origin),
            checks,
            thresholds,
            plan,
            budget,
            incoming,
        })
    }

    /// What the site is.
    pub const fn kind(&self) -> SiteKind {
        self.kind.value
    }

    /// Whether patients are treated by its sheets.
    pub fn is_live(&self) -> bool {
        self.kind.value == SiteKind::Live
    }

    /// Its name as printed.
    pub fn name(&self) -> &str {
        &self.name.value
    }

    /// IANA name of its time zone.
    pub fn zone(&self) -> &str {
        &self.zone.value
    }

    /// Its time zone, from the table compiled into the program.
    pub const fn time_zone(&self) -> &jiff::tz::TimeZone {
        &self.time_zone
    }

    /// Who gives out the patient numbers.
    pub fn number_authority(&self) -> &str {
        &self.number_authority.value
    }

    /// How patient numbers are checked.
    pub const fn number_scheme(&self) -> NumberScheme {
        self.number_scheme.value
    }

    /// Who releases a sheet.
    pub const fn approval(&self) -> ApprovalPolicy {
        self.approval.value
    }

    /// Whether the history of the cornea must be known.
    pub const fn history(&self) -> History {
        self.history.value
    }

    /// How the axis is found again in theatre.
    pub const fn theatre_method(&self) -> TheatreMethod {
        self.theatre_method.value
    }

    /// How the site marks.
    pub fn marking_way(&self) -> MarkingWay {
        self.marking.plan()
    }

    /// Whose time counts.
    pub const fn clock(&self) -> Clock {
        self.clock.value
    }

    /// Free megabytes under which nothing is taken in.
    pub const fn low_water_mb(&self) -> u32 {
        self.low_water_mb.value
    }

    /// Hours before the day of the operation begins until which a case waits for its sources.
    pub const fn decide_by_hours(&self) -> u32 {
        self.decide_by_hours.value
    }

    /// When a case of an operation on this day stops waiting: so many hours before the day begins in the site's zone.
    pub fn decide_by(&self, day: jiff::civil::Date) -> Option<jiff::Timestamp> {
        let begins = self.time_zone.to_ambiguous_timestamp(day.at(0, 0, 0, 0)).compatible().ok()?;
        begins.checked_sub(jiff::SignedDuration::from_hours(i64::from(self.decide_by_hours.value))).ok()
    }

    /// Instruments that must have measured the planned eye before a case of this procedure is judged.
    pub fn expected_sources(&self, procedure: crate::model::Procedure) -> &[String] {
        self.expected.of(procedure)
    }

    /// The limits of the rules, the window included.
    pub const fn checks_settings(&self) -> &checks::Settings {
        &self.checks
    }

    /// The settings of the plan.
    pub const fn plan_settings(&self) -> &plan::Settings {
        &self.plan
    }

    /// The incoming folders, in the order of the file.
    pub fn incoming(&self) -> &[Incoming] {
        &self.incoming
    }

    /// Templates that folders name and the site does not have, or that read another kind of file; `known` are the id and
    /// the kind of every template of the site.
    pub fn template_faults(&self, known: &[(&str, Brings)]) -> Vec<SiteError> {
        self.incoming.iter().flat_map(|incoming| incoming.template_faults(known)).collect()
    }

    /// Every setting with value, origin, meaning and source, in the order of the written file.
    pub fn describe(&self) -> Vec<Described> {
        let mut rows: Vec<Described> = TOP.iter().map(|key| self.describe_top(key)).collect();
        rows.extend(self.expected.describe());
        rows.extend(describe_thresholds(&self.checks, &self.thresholds));
        rows.extend(describe_budget(&self.plan, &self.budget));
        rows.extend(self.marking.describe());
        rows.extend(self.marking.describe_dial());
        for (at, incoming) in self.incoming.iter().enumerate() {
            rows.extend(incoming.describe(at + 1));
        }
        rows
    }

    fn describe_top(&self, key: &Key) -> Described {
        let scheme = SCHEMES.iter().find(|(_, scheme)| *scheme == self.number_scheme.value);
        let (value, origin) = match key.name {
            "kind" => (quoted(self.kind.value.word()), self.kind.origin),
            "name" => (quoted(&self.name.value), self.name.origin),
            "zone" => (quoted(&self.zone.value), self.zone.origin),
            "number_authority" => (quoted(&self.number_authority.value), self.number_authority.origin),
            "number_scheme" => (quoted(scheme.map_or("none", |(word, _)| word)), self.number_scheme.origin),
            "approval" => (quoted(self.approval.value.word()), self.approval.origin),
            "history" => (quoted(self.history.value.word()), self.history.origin),
            "theatre_method" => (quoted(self.theatre_method.value.word()), self.theatre_method.origin),
            "combine" => (quoted(self.combine.value.word()), self.combine.origin),
            "clock" => (quoted(self.clock.value.word()), self.clock.origin),
            "low_water_mb" => (self.low_water_mb.value.to_string(), self.low_water_mb.origin),
            "decide_by_hours" => (self.decide_by_hours.value.to_string(), self.decide_by_hours.origin),
            _ => (self.checks.window_days.value.to_string(), self.window),
        };
        Described {
            key: key.name.to_owned(),
            value: Some(value),
            origin,
            meaning: key.meaning.to_owned(),
            source: key.source,
        }
    }
}
