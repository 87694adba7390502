//! What is noticed about arcs: where a table says nothing, what stands near its edges, what a cut would meet.

use super::arcs::ArcsPlan;
use super::compute::{Asked, Computation, Refusals};
use super::nomogram::{ArcIncision, ClassLimits, Looked, Nomogram, Outside, class_words};
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Eye, Reading};
use crate::optics::incision::angle_of_arc;
use crate::optics::posterior::AstigmatismClass;
use crate::units::{Degrees, Meridian, Millimetre, PowerVector, round};

/// How near to a class limit a meridian must lie for the other class to be named, degrees. Source: our own choice, the
/// width over which the classes of the posterior cornea are blended.
const NEAR_LIMIT_DEG: f64 = 5.0;

/// `2 arcs of 60 degrees`.
pub(super) fn cuts(number: u32, arc: Degrees) -> String {
    let word = if number == 1 { "arc" } else { "arcs" };
    format!("{number} {word} of {} degrees", round::fixed(arc.degrees(), 0))
}

pub(super) fn refuse(eye: Eye, code: Code, message: impl Into<String>, plain: &str) -> Finding {
    Finding::new(code, Severity::Refuse, message, plain).eye(eye).cited(cite::HOUSE_RULE)
}

pub(super) fn outside(
    eye: Eye,
    table: &Nomogram,
    outside: Outside,
    class: AstigmatismClass,
    found: &str,
) -> Finding {
    let (plain, expected) = match outside {
        Outside::Age { from } => {
            ("the table of arcs does not hold for this age", format!("{from} years or older"))
        }
        Outside::Astigmatism { holds } => ("the table of arcs does not hold for this astigmatism", holds),
        Outside::Class => (
            "the table of arcs does not hold for this class of astigmatism",
            format!("a table with rows for astigmatism {}", class_words(class)),
        ),
    };
    Finding::new(Code::F04, Severity::Refuse, format!("{plain}: {}, {found}", table.name), plain)
        .eye(eye)
        .expected(expected)
        .found(found)
        .cited(cite::Source { mark: table.mark, ..cite::NOMOGRAM_FILE })
        .next("plan another operation for this eye, or name a table that holds for it in the surgeon's file")
}

/// The note that the next class would be treated otherwise.
pub(super) fn near_limit(
    eye: Eye,
    table: &Nomogram,
    steep: Meridian,
    class: AstigmatismClass,
    looked: &Looked,
    treated: PowerVector,
    years: u32,
) -> Option<Finding> {
    let distance = ClassLimits::from_horizontal(steep);
    let limits = [table.limits.against_to.degrees(), table.limits.with_from.degrees()];
    let near = limits.into_iter().find(|limit| (distance - limit).abs() <= NEAR_LIMIT_DEG)?;
    let other = match class {
        AstigmatismClass::Oblique if near.total_cmp(&limits[0]).is_eq() => AstigmatismClass::AgainstTheRule,
        AstigmatismClass::Oblique => AstigmatismClass::WithTheRule,
        AstigmatismClass::WithTheRule | AstigmatismClass::AgainstTheRule => AstigmatismClass::Oblique,
    };
    let beside = table.look_up(other, treated.cylinder(), years).ok()?;
    if beside.cell == looked.cell {
        return None;
    }
    let cell = |looked: &Looked| cuts(looked.cell.cuts, looked.cell.arc);
    Some(
        Finding::new(
            Code::F04,
            Severity::Note,
            format!(
                "the steep meridian {} lies near the limit of its class: as astigmatism {} the table would say {}",
                round::meridian(steep),
                class_words(other),
                cell(&beside)
            ),
            "the steep meridian lies near the limit of its class, and the table of arcs would say something else beyond it",
        )
        .eye(eye)
        .expected(cell(looked))
        .found(cell(&beside))
        .cited(cite::HOUSE_RULE)
        .next("nothing to do; think of the other row of the table"),
    )
}

/// F01: on a live site a table whose numbers were not read is asked about.
pub(super) fn not_read(eye: Eye, table: &Nomogram, live: bool) -> Option<Finding> {
    if !live || table.mark == cite::Mark::Read {
        return None;
    }
    let text = format!("table of arcs {}: its numbers are {}", table.name, table.mark.words());
    Some(
        Finding::new(Code::F01, Severity::SignOff, text.clone(), text)
            .eye(eye)
            .expected("a table whose numbers were read")
            .found(table.mark.words())
            .cited(cite::Source { mark: table.mark, ..cite::NOMOGRAM_FILE })
            .next("compare it with its publication, or confirm it with a reason"),
    )
}

/// Whether the cataract incision meets an arc: M05.
pub(super) fn meets(
    asked: &Asked<'_>,
    plan: &ArcsPlan,
    computation: &Computation,
) -> Result<Option<Finding>, Refusals> {
    let eye = asked.eye;
    let width = asked.entry.incision_width.as_ref().map(|width: &Reading<Millimetre>| width.value);
    let (Some(incision), Some(width)) = (computation.incision, width) else {
        return Err(vec![
            refuse(
                eye,
                Code::U10,
                "place or width of the cataract incision is not stated, so that it may meet an arc",
                "place or width of the cataract incision is not stated, so that it may meet an arc",
            )
            .expected("place and width of the incision")
            .found("not both")
            .at(asked.entry.place.clone())
            .next("state the width on the list, and the place there or in the surgeon's file"),
        ]);
    };
    let half = angle_of_arc(width, plan.zone).map_or(0.0, |whole| whole.degrees() / 2.0);
    let met = plan
        .items
        .iter()
        .find(|item| item.centre.turn_to(incision.at).abs().degrees() < item.arc.degrees() / 2.0 + half);
    Ok(met.map(|item| {
        let [from, to] = item.ends().map(round::direction);
        let at = round::direction(incision.at);
        Finding::new(
            Code::M05,
            Severity::SignOff,
            format!("the cataract incision at {at} meets the arc from {from} to {to}"),
            "the cataract incision meets an arc",
        )
        .eye(eye)
        .expected("an incision beside the arcs")
        .found(format!("{at} degrees"))
        .cited(cite::HOUSE_RULE)
        .next("put the incision elsewhere on the list, or confirm that it is made in the arc")
    }))
}

/// F04 as a note: the circle is wider than the cornea was measured.
pub(super) fn wider_than_cornea(asked: &Asked<'_>, zone: Millimetre) -> Option<Finding> {
    let white = asked.selection.axial()?.axial().white.as_ref()?;
    (zone > white.value).then(|| {
        let mm = |value: Millimetre| format!("{} mm", round::fixed(value.millimetres(), 2));
        Finding::new(
            Code::F04,
            Severity::Note,
            format!(
                "the circle of the arcs, {}, is wider than the white-to-white, {}",
                mm(zone),
                mm(white.value)
            ),
            "the circle of the arcs is wider than the cornea was measured",
        )
        .eye(asked.eye)
        .expected(format!("at most {}", mm(white.value)))
        .found(mm(zone))
        .at(white.place.clone())
        .cited(cite::HOUSE_RULE)
        .next("nothing to do; compare with the limbus before the blade is set")
    })
}

/// Whether a table made for arcs with, or without, a cataract incision is used for such an operation.
pub(super) fn fits(eye: Eye, table: &Nomogram, incision: ArcIncision, with_lens: bool) -> Option<Finding> {
    let (plain, expected) = match (incision, with_lens) {
        (ArcIncision::None, true) => {
            ("the table of arcs is for eyes without a cataract incision", "arcs without a lens")
        }
        (ArcIncision::Included, false) => (
            "the table of arcs counts a cataract incision in, and there is none",
            "arcs beside cataract surgery",
        ),
        (ArcIncision::Included | ArcIncision::Separate, true)
        | (ArcIncision::None | ArcIncision::Separate, false) => return None,
    };
    Some(
        refuse(eye, Code::F04, format!("{plain}: {}", table.name), plain)
            .expected(expected)
            .found(if with_lens { "a lens on the list" } else { "no lens on the list" })
            .next("name a table made for this operation in the surgeon's file"),
    )
}
