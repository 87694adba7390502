//! The tables of a case file about an operation that rests on a refraction: the lens that is in the eye, the laser.

use super::node::{Table, Taken, TextFault};
use super::schema::ranged;
use crate::optics::refraction::Refraction;
use crate::plan::{Implanted, LaserOrder};
use crate::units::{Dioptre, Meridian};

/// Yes or no, as TOML and JSON write it.
pub(super) fn truth(taken: &Taken<'_>) -> Result<bool, TextFault> {
    match taken.text_as_written()?.as_str() {
        "yes" | "true" => Ok(true),
        "no" | "false" => Ok(false),
        other => Err(taken.fault(format!("`{other}` is neither"), "write true or false")),
    }
}

fn said(table: &Table<'_>, key: &'static str, what: &str) -> Result<String, TextFault> {
    let taken = table.need(key, what)?;
    let text = taken.text()?;
    if text.trim().is_empty() {
        return Err(taken.fault(format!("{what} is empty"), "say it in words"));
    }
    Ok(text)
}

/// A cylinder of a lens: above zero, without a sign.
fn cylinder(taken: &Taken<'_>) -> Result<Dioptre, TextFault> {
    let (value, _) = ranged(taken, Dioptre::from_reading)?;
    if value.dioptres() <= 0.0 {
        return Err(taken.fault("the cylinder of a toric lens is above zero", "write it without a sign"));
    }
    Ok(value)
}

fn meridian(table: &Table<'_>, key: &'static str) -> Result<Option<Meridian>, TextFault> {
    table.get(key).map(|taken| Ok(ranged(&taken, Meridian::from_reading)?.0)).transpose()
}

/// `[implanted]`: the toric lens that is in the eye.
pub(super) fn implanted(table: Table<'_>) -> Result<Implanted, TextFault> {
    let equivalent_at = table.need("equivalent_d", "the spherical equivalent of the lens in the eye")?;
    let cylinder_at = table.need("cylinder_d", "the cylinder of the lens in the eye, at the lens plane")?;
    let axis_at = table.need("axis_deg", "the meridian on which the marks of the lens lie now")?;
    let seen_at = table.need("seen_at", "the day the marks were seen")?;
    let day = seen_at.text_as_written()?;
    let lens = Implanted {
        lens: said(&table, "lens", "the family of the lens in the eye")?,
        equivalent: ranged(&equivalent_at, Dioptre::from_reading)?.0,
        cylinder: cylinder(&cylinder_at)?,
        corneal_cylinder: table.get("corneal_cylinder_d").map(|taken| cylinder(&taken)).transpose()?,
        axis: ranged(&axis_at, Meridian::from_reading)?.0,
        seen_on: day
            .parse()
            .map_err(|_| seen_at.fault(format!("`{day}` is not a date"), "write the date as 2026-03-12"))?,
        by: said(&table, "by", "who saw the marks")?,
    };
    table.finish()?;
    Ok(lens)
}

/// `[laser]`: mark, device, treatment.
pub(super) fn laser(table: Table<'_>) -> Result<LaserOrder, TextFault> {
    let laser = LaserOrder {
        mark_upright: meridian(&table, "mark_upright_deg")?,
        mark_lying: meridian(&table, "mark_lying_deg")?,
        device_turns_axis: table.get("device_turns_axis").map(|taken| truth(&taken)).transpose()?,
        treatment: table.get("treatment").map(|taken| treatment(taken.table()?)).transpose()?,
    };
    table.finish()?;
    Ok(laser)
}

fn treatment(table: Table<'_>) -> Result<Refraction, TextFault> {
    let sphere = ranged(&table.need("sphere_d", "the sphere of the treatment")?, Dioptre::from_reading)?.0;
    let cylinder =
        ranged(&table.need("cylinder_d", "the cylinder of the treatment")?, Dioptre::from_reading)?.0;
    let axis = ranged(&table.need("axis_deg", "the axis of the treatment")?, Meridian::from_reading)?.0;
    table.finish()?;
    Ok(Refraction::from_sphere_cylinder_axis(sphere, cylinder, axis))
}
