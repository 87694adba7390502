//! Tables of arcs and what a surgeon's file says about them: text to the types of the plan.

use super::node::{Table, Taken, TextFault, Tree};
use super::schema::{ranged, word};
use crate::cite::Mark;
use crate::model::same_name;
use crate::optics::posterior::AstigmatismClass;
use crate::plan::{
    AgeBand, ArcCell, ArcDepth, ArcEnd, ArcIncision, ArcInput, ArcRow, ArcTable, ArcTechnique, ClassLimits,
    Nomogram, SingleArc, class_words,
};
use crate::units::{Degrees, Dioptre, Micrometre, Millimetre};

/// The tables that come with the program, for a case file that names one.
const SHIPPED: [(&str, &str); 1] =
    [("templates/nomograms/wallace.toml", include_str!("../../templates/nomograms/wallace.toml"))];

/// Least and greatest diameter of the circle arcs lie on, mm. Source: our own choice; nearer to the middle or beyond any
/// cornea it is a slip of the pen.
const ZONE_MM: (f64, f64) = (5.0, 13.0);
/// Least and greatest depth of an arc, micrometres. Source: our own choice, against slips of the pen.
const DEPTH_UM: (f64, f64) = (200.0, 1200.0);
/// Longest arc of a table, degrees. Source: our own choice; two of them stay apart.
const LONGEST_DEG: f64 = 120.0;

/// A table that comes with the program, by its name.
pub(super) fn shipped(name: &str) -> Option<Nomogram> {
    SHIPPED
        .iter()
        .filter_map(|(file, text)| nomogram(file, text).ok())
        .find(|known| same_name(&known.name, name))
}

/// Reads the file of a table of arcs.
///
/// # Errors
/// [`TextFault`] with line, key and the next step.
pub fn nomogram(file: &str, text: &str) -> Result<Nomogram, TextFault> {
    let tree = Tree::parse(file, text)?;
    nomogram_table(tree.table()?)
}

fn said(table: &Table<'_>, key: &'static str, what: &str) -> Result<String, TextFault> {
    let taken = table.need(key, what)?;
    let text = taken.text()?;
    if text.trim().is_empty() {
        Err(taken.fault(format!("{what} is empty"), "say it in words"))
    } else {
        Ok(text)
    }
}

fn mark(text: &str) -> Option<Mark> {
    match text.trim() {
        "read" => Some(Mark::Read),
        "from memory" => Some(Mark::FromMemory),
        "assumed" => Some(Mark::Assumed),
        _ => None,
    }
}

pub(super) fn nomogram_table(table: Table<'_>) -> Result<Nomogram, TextFault> {
    let ages = ages(&table.need("age", "the bands of ages")?)?;
    let mut tables: Vec<ArcTable> = Vec::new();
    for one in table.need("table", "the rows of the table")?.tables()? {
        let read = class_table(one, &ages, &tables)?;
        tables.push(read);
    }
    let left_open = left_open(&table)?;
    let nomogram = Nomogram {
        name: said(&table, "name", "the name of the table")?,
        revision: table.get("revision").map(|taken| taken.text_as_written()).transpose()?,
        authors: said(&table, "authors", "the authors of the table")?,
        title: said(&table, "title", "the title of the publication")?,
        published: said(&table, "published", "where the table was published")?,
        mark: word(
            &table.need("mark", "how far the table was verified")?,
            mark,
            "read, from memory, assumed",
        )?,
        note: table.text("note")?,
        input: left_open.input,
        incision: left_open.incision,
        single: left_open.single,
        zone: left_open.zone,
        depth: left_open.depth,
        limits: table
            .get("class_limits_deg")
            .map(|taken| limits(taken.table()?))
            .transpose()?
            .unwrap_or_default(),
        ages,
        tables,
    };
    table.finish()?;
    Ok(nomogram)
}

/// Reads `[arcs]` of a surgeon's file.
pub(super) fn technique(table: Table<'_>) -> Result<ArcTechnique, TextFault> {
    let left_open = left_open(&table)?;
    let technique = ArcTechnique {
        nomogram: said(&table, "nomogram", "the name of the table of arcs")?,
        zone: left_open.zone,
        depth: left_open.depth,
        input: left_open.input,
        incision: left_open.incision,
        single: left_open.single,
    };
    table.finish()?;
    Ok(technique)
}

/// What either the table or the surgeon's file may state.
struct LeftOpen {
    input: Option<ArcInput>,
    incision: Option<ArcIncision>,
    single: Option<SingleArc>,
    zone: Option<Millimetre>,
    depth: Option<ArcDepth>,
}

fn within(taken: &Taken<'_>, (least, most): (f64, f64), unit: &str) -> Result<f64, TextFault> {
    let written = taken.number()?;
    let value = written.value();
    if (least..=most).contains(&value) {
        return Ok(value);
    }
    Err(taken.fault(
        format!("`{}` is outside {least} to {most} {unit}", written.text()),
        format!("write a value from {least} to {most} {unit}"),
    ))
}

fn left_open(table: &Table<'_>) -> Result<LeftOpen, TextFault> {
    let zone = table.get("zone_mm").map(|taken| within(&taken, ZONE_MM, "mm")).transpose()?;
    let set = table.get("depth_um").map(|taken| within(&taken, DEPTH_UM, "um")).transpose()?;
    let share = table.get("depth_percent");
    let depth = match (set, share) {
        (Some(_), Some(taken)) => {
            return Err(taken.fault(
                "the depth is stated twice",
                "state either `depth_um` or `depth_percent`, the share of the thinnest reading on the arcs",
            ));
        }
        (Some(set), None) => Some(ArcDepth::Set(Micrometre::from_micrometres(set))),
        (None, Some(taken)) => Some(ArcDepth::Percent(within(&taken, (1.0, 100.0), "%")?)),
        (None, None) => None,
    };
    Ok(LeftOpen {
        input: table.get("input").map(|t| word(&t, ArcInput::from_word, ArcInput::WORDS)).transpose()?,
        incision: table
            .get("cataract_incision")
            .map(|t| word(&t, ArcIncision::from_word, ArcIncision::WORDS))
            .transpose()?,
        single: table.get("single").map(|taken| single(&taken)).transpose()?,
        zone: zone.map(Millimetre::from_millimetres),
        depth,
    })
}

/// Where a single arc lies: one word for every class, or a word for each.
fn single(taken: &Taken<'_>) -> Result<SingleArc, TextFault> {
    if !taken.is_table() {
        let end = word(taken, ArcEnd::from_word, ArcEnd::WORDS)?;
        return Ok(SingleArc { with_the_rule: end, oblique: end, against_the_rule: end });
    }
    let table = taken.table()?;
    let end = |key: &'static str| {
        word(&table.need(key, "the end of a single arc for this class")?, ArcEnd::from_word, ArcEnd::WORDS)
    };
    let single = SingleArc {
        with_the_rule: end("with_the_rule")?,
        oblique: end("oblique")?,
        against_the_rule: end("against_the_rule")?,
    };
    table.finish()?;
    Ok(single)
}

fn limits(table: Table<'_>) -> Result<ClassLimits, TextFault> {
    let end = |key: &'static str, what: &str| {
        let taken = table.need(key, what)?;
        let value = within(&taken, (0.0, 90.0), "deg")?;
        Ok::<_, TextFault>((taken, Degrees::from_degrees(value)))
    };
    let (_, against_to) = end("against_to", "up to where it is against the rule")?;
    let (taken, with_from) = end("with_from", "from where on it is with the rule")?;
    if with_from.degrees() < against_to.degrees() {
        return Err(taken.fault(
            "the classes overlap",
            "give the distances of the steep meridian from the horizontal: `with_from` not below `against_to`",
        ));
    }
    table.finish()?;
    Ok(ClassLimits { against_to, with_from, stated: true })
}

/// The bands of ages: rising, without a gap, the last one open or not.
fn ages(taken: &Taken<'_>) -> Result<Vec<AgeBand>, TextFault> {
    let mut bands: Vec<AgeBand> = Vec::new();
    for table in taken.tables()? {
        let from_at = table.need("from_years", "where the band begins")?;
        let from = from_at.count()?;
        let below = table.get("below_years").map(|taken| Ok((taken.count()?, taken))).transpose()?;
        if let Some((below, taken)) = &below
            && *below <= from
        {
            return Err(taken.fault("the band holds no age", "end it above `from_years`"));
        }
        if let Some(before) = bands.last() {
            match before.below {
                Some(below) if below == from => {}
                Some(below) if below < from => {
                    return Err(from_at.fault(
                        format!("ages from {below} to below {from} years belong to no band"),
                        "begin the band where the one before it ends",
                    ));
                }
                Some(_) | None => {
                    return Err(from_at.fault(
                        format!("ages from {from} years on belong to two bands"),
                        "begin the band where the one before it ends; only the last band may have no end",
                    ));
                }
            }
        }
        table.finish()?;
        bands.push(AgeBand { from, below: below.map(|(below, _)| below) });
    }
    if bands.is_empty() {
        return Err(taken.fault("there is no band of ages", "list at least one"));
    }
    Ok(bands)
}

fn class(text: &str) -> Option<AstigmatismClass> {
    match text.trim() {
        "with_the_rule" => Some(AstigmatismClass::WithTheRule),
        "oblique" => Some(AstigmatismClass::Oblique),
        "against_the_rule" => Some(AstigmatismClass::AgainstTheRule),
        _ => None,
    }
}

fn class_table(table: Table<'_>, ages: &[AgeBand], before: &[ArcTable]) -> Result<ArcTable, TextFault> {
    let mut classes: Vec<AstigmatismClass> = Vec::new();
    let listed = table.need("class", "the classes of astigmatism of these rows")?;
    for taken in listed.items()? {
        let class = word(&taken, class, "with_the_rule, oblique, against_the_rule")?;
        if classes.contains(&class) || before.iter().any(|other| other.classes.contains(&class)) {
            return Err(taken.fault(
                format!("astigmatism {} has rows already", class_words(class)),
                "give each class its rows once",
            ));
        }
        classes.push(class);
    }
    if classes.is_empty() {
        return Err(listed.fault("the rows are for no class", "name at least one class of astigmatism"));
    }
    let mut rows: Vec<ArcRow> = Vec::new();
    let rows_at = table.need("row", "the rows")?;
    for one in rows_at.tables()? {
        let row = row(one, ages, rows.last())?;
        rows.push(row);
    }
    if rows.is_empty() {
        return Err(rows_at.fault("there is no row", "list at least one band of astigmatism"));
    }
    table.finish()?;
    Ok(ArcTable { classes, rows })
}

/// One row; it begins where the one before it ends.
fn row(table: Table<'_>, ages: &[AgeBand], before: Option<&ArcRow>) -> Result<ArcRow, TextFault> {
    let from_at = table.need("from_d", "where the band of astigmatism begins")?;
    let (from, _) = ranged(&from_at, Dioptre::from_reading)?;
    let to_at = table.need("to_d", "where the band of astigmatism ends")?;
    let (to, _) = ranged(&to_at, Dioptre::from_reading)?;
    if from.dioptres() <= 0.0 || to <= from {
        return Err(
            to_at.fault("the band holds no astigmatism", "end it above `from_d`, and begin above zero")
        );
    }
    if let Some(before) = before {
        let (last, next) = (before.to.dioptres(), from.dioptres());
        if next > last {
            return Err(from_at.fault(
                format!("astigmatism from {last} to below {next} D belongs to no row"),
                "begin the row where the one before it ends",
            ));
        }
        if next < last {
            return Err(from_at.fault(
                format!("astigmatism from {next} D on belongs to two rows"),
                "begin the row where the one before it ends",
            ));
        }
    }
    let arcs_at = table.need("arc_deg", "the degrees of each cut")?;
    let cuts_at = table.need("cuts", "the number of cuts")?;
    let (arcs, cuts) = (arcs_at.items()?, cuts_at.items()?);
    for (listed, at) in [(&arcs, &arcs_at), (&cuts, &cuts_at)] {
        if listed.len() != ages.len() {
            return Err(at.fault(
                format!("{} cells for {} bands of ages", listed.len(), ages.len()),
                "give one cell for each band of ages, in their order",
            ));
        }
    }
    let mut cells = Vec::new();
    for (arc, number) in arcs.iter().zip(&cuts) {
        let degrees = within(arc, (1.0, LONGEST_DEG), "deg")?;
        let count = number.count()?;
        if !matches!(count, 1 | 2) {
            return Err(number.fault(format!("`{count}` is no number of cuts"), "write 1, or 2 for a pair"));
        }
        cells.push(ArcCell { arc: Degrees::from_degrees(degrees), cuts: count });
    }
    table.finish()?;
    Ok(ArcRow { from, to, cells })
}
