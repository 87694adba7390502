//! Numbers, places and times as words. Rounding is `units::round` alone.

use jiff::civil;
use jiff::tz::TimeZone;

use super::facts::SheetFacts;
use crate::model::{Eye, Identity};
use crate::page::{Face, fonts};
use crate::plan::{Act, MarksOn, Released};
use crate::units::{Dioptre, Direction, Millimetre, PowerVector, round};

/// What is printed where a document says nothing.
pub(super) const NOT_STATED: &str = "not stated";

/// `0.25 D`.
pub(super) fn dioptres(value: Dioptre) -> String {
    format!("{} D", round::fixed(value.dioptres(), 2))
}

/// `+0.25 D`, the sign always printed.
pub(super) fn signed(value: Dioptre) -> String {
    format!("{} D", round::signed(value.dioptres(), 2))
}

/// `1.25 D @ 098`: size of the cylinder and its steep meridian; `0.00 D` has none.
pub(super) fn vector(value: PowerVector) -> String {
    let size = round::fixed(value.cylinder().dioptres(), 2);
    if size == "0.00" {
        format!("{size} D")
    } else {
        format!("{size} D @ {}", round::meridian(value.steep()))
    }
}

/// `2.4 mm`.
pub(super) fn millimetres(value: Millimetre, decimals: usize) -> String {
    format!("{} mm", round::fixed(value.millimetres(), decimals))
}

/// `65 %`, from a fraction.
pub(super) fn percent(share: f64) -> String {
    format!("{} %", round::fixed(share * 100.0, 0))
}

/// `14 Mar 1952`: the month in letters, so that no country reads it another way.
pub(super) fn date(date: civil::Date) -> String {
    date.strftime("%-d %b %Y").to_string()
}

/// `2026-11-25 08:30 +01:00`.
pub(super) fn moment(at: jiff::Timestamp, zone: &TimeZone) -> String {
    let local = zone.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string();
    let offset = zone.to_offset(at).seconds();
    let sign = if offset < 0 { '-' } else { '+' };
    let minutes = offset.unsigned_abs() / 60;
    format!("{local} {sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// The place of a direction in words: one of eight, each 45 degrees wide.
pub(super) fn place(eye: Eye, at: Direction) -> &'static str {
    let from_nasal = match eye {
        Eye::Right => at.degrees(),
        Eye::Left => 180.0 - at.degrees(),
    }
    .rem_euclid(360.0);
    let words = [
        (22.5, "nasal"),
        (67.5, "superonasal"),
        (112.5, "superior"),
        (157.5, "superotemporal"),
        (202.5, "temporal"),
        (247.5, "inferotemporal"),
        (292.5, "inferior"),
        (337.5, "inferonasal"),
    ];
    words.into_iter().find(|(end, _)| from_nasal < *end).map_or("nasal", |(_, word)| word)
}

/// The place on a clock face with 12 at the forehead, from every seat: `9:00`.
pub(super) fn clock(at: Direction) -> String {
    let whole = round::rounded(at.degrees(), 0);
    let minutes = (90.0 - whole).rem_euclid(360.0) * 2.0;
    let hour = (minutes / 60.0).floor();
    let shown = if hour < 1.0 { 12.0 } else { hour };
    format!("{}:{:0>2}", round::fixed(shown, 0), round::fixed(minutes - hour * 60.0, 0))
}

/// Where an incision lies: `at 180, temporal, 9:00 on the clock face`.
pub(super) fn incision_place(eye: Eye, at: Direction) -> String {
    format!("at {}, {}, {} on the clock face", round::direction(at), place(eye, at), clock(at))
}

/// What is said where an incision has a place and no effect in the plan.
pub(super) const fn no_incision_effect(act: Act) -> &'static str {
    match act {
        Act::PhakicLens => "Nothing is added for it in this plan.",
        Act::ToricLens
        | Act::SphericalLens
        | Act::OnAxisIncision
        | Act::ManualSmallIncision
        | Act::Arcs
        | Act::Laser
        | Act::Realignment => "No effect stated: nothing added for it.",
    }
}

/// What the axis of a lens is, in words.
pub(super) fn marks_on(released: &Released) -> &'static str {
    let plan = released.plan();
    let design = plan.order().family.as_ref().and_then(|family| family.phakic);
    match design.filter(|_| plan.computation().act == Act::PhakicLens).map(|design| design.marks) {
        None => "the lens marks lie on this meridian of the eye",
        Some(MarksOn::LeastPower) => "lens marks here: its PLUS-cylinder axis",
        Some(MarksOn::MinusAxis) => "lens marks here: its MINUS-cylinder axis",
    }
}

/// What an incision does: `The incision flattens 180 by 0.25 D.`
pub(super) fn incision_effect(at: Direction, flattening: Dioptre) -> String {
    let (verb, size) =
        if flattening.dioptres() < 0.0 { ("steepens", -flattening) } else { ("flattens", flattening) };
    format!("The incision {verb} {} by {}.", round::meridian(at.meridian()), dioptres(size))
}

/// Where the operation is, the theatre on a line of its own; a bare number says what it is.
pub(super) fn site_and_theatre(facts: &SheetFacts) -> String {
    let site = legible(&facts.site);
    let Some(theatre) = facts.theatre.as_deref().map(legible) else { return site };
    let bare = theatre.chars().all(|c| c.is_ascii_digit());
    if bare { format!("{site}\ntheatre {theatre}") } else { format!("{site}\n{theatre}") }
}

/// The text with every character the faces lack, and every control character, written as its code point in brackets.
///
/// For reasons, column headers and other free text; never for a name or a number of a person.
pub(super) fn legible(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in fonts::normalise(text).chars() {
        if character == '\n' || character == '\t' {
            out.push(' ');
        } else if Face::ALL.into_iter().all(|face| face.has(character)) && !character.is_control() {
            out.push(character);
        } else {
            out.extend(format!("[U+{:04X}]", u32::from(character)).chars());
        }
    }
    out
}

/// Who the patient is, as printed on every page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Who {
    /// Name in the list's own script.
    pub(super) name: String,
    /// The name in another script, where the faces have it.
    pub(super) other_script: Option<String>,
    /// Date of birth.
    pub(super) born: String,
    /// Sex, one letter.
    pub(super) sex: String,
    /// Number.
    pub(super) number: String,
    /// Who gave the number.
    pub(super) authority: Option<String>,
}

impl Who {
    /// From one document; what it does not say reads `not stated`.
    pub(super) fn of(identity: &Identity) -> Self {
        let stated = |text: Option<String>| text.unwrap_or_else(|| NOT_STATED.to_owned());
        let name = identity.name.as_ref().map(|name| &name.value);
        let drawable = |text: &String| text.chars().all(|c| Face::ALL.into_iter().all(|face| face.has(c)));
        Self {
            name: stated(name.map(|name| fonts::normalise(&name.printed()))),
            other_script: name
                .and_then(|name| name.other_script.as_deref())
                .map(fonts::normalise)
                .filter(drawable),
            born: stated(identity.birth_date.as_ref().map(|born| date(born.value))),
            sex: identity.sex.as_ref().map_or("-", |sex| sex.value.printed()).to_owned(),
            number: stated(identity.number.as_ref().map(|number| number.value.as_written().to_owned())),
            authority: identity.authority.as_ref().map(|authority| fonts::normalise(authority.value.trim())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_mirrored_between_the_eyes() {
        let at = Direction::wrapping;
        assert_eq!(place(Eye::Right, at(180.0)), "temporal");
        assert_eq!(place(Eye::Left, at(360.0)), "temporal");
        assert_eq!(place(Eye::Left, at(180.0)), "nasal");
        assert_eq!(place(Eye::Right, at(350.0)), "nasal");
        assert_eq!(place(Eye::Right, at(45.0)), "superonasal");
        assert_eq!(place(Eye::Left, at(45.0)), "superotemporal");
        assert_eq!(place(Eye::Left, at(270.0)), "inferior");
    }

    #[test]
    fn the_clock_is_the_patients() {
        for (degrees, text) in [
            (90.0, "12:00"),
            (360.0, "3:00"),
            (180.0, "9:00"),
            (270.0, "6:00"),
            (225.0, "7:30"),
            (98.0, "11:44"),
        ] {
            assert_eq!(clock(Direction::wrapping(degrees)), text);
        }
        assert_eq!(clock(Direction::wrapping(89.7)), "12:00");
    }

    #[test]
    fn times_carry_their_offset() {
        let zone = TimeZone::fixed(jiff::tz::offset(-3));
        let at: jiff::Timestamp = "2026-11-25T08:30:05Z".parse().unwrap();
        assert_eq!(moment(at, &zone), "2026-11-25 05:30 -03:00");
        assert_eq!(date(jiff::civil::date(1952, 3, 4)), "4 Mar 1952");
    }

    #[test]
    fn what_the_faces_lack_is_said() {
        assert_eq!(legible("K ≥ 1\n眼"), "K [U+2265] 1 [U+773C]");
    }
}
