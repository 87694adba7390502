//! What the plan notices about its own result: residual, entered choice, backup.

use super::compute::Choice;
use super::order::{Entered, LensOrder};
use super::settings::Settings;
use super::surgeon::Surgeon;
use crate::cite::COMMON_PRACTICE;
use crate::finding::{Code, Finding, Severity};
use crate::model::Eye;
use crate::units::{Dioptre, Meridian, PowerVector, round};

/// Comparisons against a limit allow for the last bits of binary arithmetic.
const SLACK: f64 = 1e-9;

/// F06.
pub(super) fn residual(eye: Eye, residual: Option<PowerVector>, settings: &Settings) -> Option<Finding> {
    let left = residual?.cylinder().dioptres();
    let limit = settings.residual_large.dioptres();
    (left > limit + SLACK).then(|| {
        Finding::new(
            Code::F06,
            Severity::SignOff,
            format!("the plan leaves {} D of astigmatism at the cornea", round::fixed(left, 2)),
            "the plan leaves much astigmatism",
        )
        .eye(eye)
        .expected(format!("at most {} D", round::fixed(limit, 2)))
        .found(format!("{} D", round::fixed(left, 2)))
        .cited(Settings::RESIDUAL_LARGE_SOURCE)
        .next("accept what is left with a reason, or choose another lens family or incision")
    })
}

/// The rung of the ladder of steps a cylinder stands on, the spherical lens being the lowest; of an entered cylinder
/// between two rungs the nearer.
fn rung(cylinder: Dioptre, order: &LensOrder<'_>) -> usize {
    let ladder = core::iter::once(Dioptre::ZERO).chain(order.family.steps.iter().map(|step| step.cylinder));
    ladder
        .enumerate()
        .min_by(|(_, one), (_, other)| {
            (*one - cylinder).abs().dioptres().total_cmp(&(*other - cylinder).abs().dioptres())
        })
        .map_or(0, |(position, _)| position)
}

fn shown(equivalent: Dioptre, cylinder: Dioptre, axis: Option<Meridian>) -> String {
    let lens = format!(
        "{} D, cylinder {} D",
        round::signed(equivalent.dioptres(), 2),
        round::fixed(cylinder.dioptres(), 2)
    );
    match axis {
        Some(axis) => format!("{lens} at {}", round::meridian(axis)),
        None => lens,
    }
}

/// F07: the entered choice against the one that would have been computed.
pub(super) fn entered(
    eye: Eye,
    equivalent: Dioptre,
    computed: &Choice,
    entered: &Entered,
    order: &LensOrder<'_>,
) -> Option<Finding> {
    let mut apart: Vec<&str> = Vec::new();
    let power = (entered.equivalent - equivalent).abs().dioptres();
    if power > order.settings.entered_power.dioptres() + SLACK {
        apart.push("power");
    }
    if rung(entered.cylinder, order) != rung(computed.cylinder, order) {
        apart.push("step");
    }
    let turned = entered.axis.zip(computed.axis).map(|(one, other)| one.turn_to(other).abs().degrees());
    if turned.is_some_and(|turned| turned > order.settings.entered_axis.degrees() + SLACK) {
        apart.push("axis");
    }
    if apart.is_empty() {
        return None;
    }
    let what = apart.join(", ");
    let expected = shown(equivalent, computed.cylinder, computed.axis);
    let found = shown(entered.equivalent, entered.cylinder, entered.axis);
    Some(
        Finding::new(
            Code::F07,
            Severity::SignOff,
            format!("the entered lens {found} differs from the computed one {expected} in {what}"),
            format!("the entered lens differs from the computed one in {what}"),
        )
        .eye(eye)
        .expected(expected)
        .found(found)
        .cited(Settings::ENTERED_SOURCE)
        .next("compare both; confirm the entered choice with a reason, or enter another"),
    )
}

/// O03.
pub(super) fn no_backup(eye: Eye, surgeon: &Surgeon) -> Option<Finding> {
    let stated = surgeon.backup.as_deref().is_some_and(|backup| !backup.trim().is_empty());
    (!stated).then(|| {
        let text = "the surgeon's file states no backup lens";
        Finding::new(Code::O03, Severity::Note, text, text)
            .eye(eye)
            .expected("a backup lens")
            .found("none")
            .cited(COMMON_PRACTICE)
            .next("nothing to do; have the backup written into the surgeon's file")
    })
}
