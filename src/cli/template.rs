//! `template`: teaching the program a layout it has never seen, without programming.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::Value;

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, WhoArguments};
use super::output::{print_line, print_lines};
use super::plan::read_file;
use super::{read, settings};
use crate::intake::draft;
use crate::ledger::durable::{self, Mode, Placed};
use crate::site::{ExpectedReading, FileKind, expected_readings};

/// Draft, try and approve a mapping template, which says where each value of a text export stands.
#[derive(Debug, Args)]
pub(super) struct TemplateArguments {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    New(New),
    Test(Test),
    Approve(Approve),
}

/// Draft a template from an example export: a table of text, one key and value a line, or XML.
///
/// DICOM objects and the JOIA format need no template and get no draft.
///
/// Each guess says why it was made. What a person must confirm keeps the draft from being a template until it was looked
/// at: `template test` names what is open. No value of a patient is repeated in the draft, codes of eyes are. Exit code 0:
/// drafted; 2: no draft can be made of the example.
#[derive(Debug, Args)]
struct New {
    /// The example: an export of several patients and both eyes shows more than one of one eye.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The name of the layout: lower-case letters, digits, hyphens.
    #[arg(long, value_name = "NAME")]
    id: Option<String>,
    /// Write the draft to this file, which must not be there yet; default: standard output.
    #[arg(long, value_name = "TEMPLATE.toml")]
    out: Option<PathBuf>,
}

/// Try a template on exports, show what was read, and hold it against readings a person took from the screen.
///
/// Exit code 0: every file was read, and every expected reading is there as expected; 2: the template, a file or a reading
/// is not as it should be.
#[derive(Debug, Args)]
struct Test {
    /// The template.
    #[arg(value_name = "TEMPLATE.toml")]
    template: PathBuf,
    /// An export to read; may be given several times.
    #[arg(long = "file", value_name = "EXPORT", required = true)]
    files: Vec<PathBuf>,
    /// Readings as the instrument's screen shows them: `[[reading]]` with `patient`, `eye`, `field`, `value`.
    #[arg(long, value_name = "READINGS.toml")]
    expect: Option<PathBuf>,
}

/// Approve templates that lie in the mappings/ of a site, so that they read its files.
///
/// The same as `settings approve` for these files alone. On a live site IT approves.
#[derive(Debug, Args)]
struct Approve {
    /// The templates, by their names within the site (`mappings/halden-k2.toml`) or by path.
    #[arg(value_name = "TEMPLATE", required = true)]
    templates: Vec<PathBuf>,
    #[command(flatten)]
    who: WhoArguments,
    #[command(flatten)]
    site: SiteArguments,
    /// The time of the act, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

/// Runs the command.
pub(super) fn run(arguments: &TemplateArguments) -> Result<Ended, Failure> {
    match &arguments.act {
        Act::New(arguments) => new(arguments),
        Act::Test(arguments) => test(arguments),
        Act::Approve(arguments) => approve(arguments),
    }
}

fn new(arguments: &New) -> Result<Ended, Failure> {
    let bytes = read_file(&arguments.file)?;
    let name = arguments.file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let drafted = draft(&bytes, &name, arguments.id.as_deref()).map_err(|refused| {
        Failure::bad("no-draft", refused.problem.clone(), refused.hint).at(refused.place.with_name())
    })?;
    let Some(out) = &arguments.out else {
        print_lines(drafted.text.as_bytes());
        return Ok(Ended::Done);
    };
    let placed = durable::write_new(out, drafted.text.as_bytes(), Mode::Shared)?;
    if placed != Placed::Done {
        return Err(Failure::bad(
            "exists",
            format!("`{}` is there already", out.display()),
            "a draft replaces nothing: give another name, or move the file away",
        ));
    }
    print_line(&format!(
        "{}: a draft; {} things to confirm or complete before it reads a file",
        out.display(),
        drafted.open
    ));
    print_line(&format!(
        "next: correct it, then `axiswright template test {} --file {}`",
        out.display(),
        arguments.file.display()
    ));
    Ok(Ended::Done)
}

/// What the draft of a template still asks: line and text.
fn open_lines(text: &str) -> Vec<(usize, String)> {
    let asks = |line: &str| {
        let line = line.trim();
        let confirm =
            line.strip_prefix("confirm").map(str::trim_start).and_then(|rest| rest.strip_prefix('='));
        if let Some(what) = confirm {
            return Some(format!("confirm {}", what.trim().trim_matches('"')));
        }
        let (value, what) = line.split_once("# COMPLETE: ")?;
        (value.contains("\"\"") || value.contains("[]"))
            .then(|| format!("complete `{}`: {what}", value.trim()))
    };
    (1..).zip(text.lines()).filter_map(|(number, line)| Some((number, asks(line)?))).collect()
}

fn readings(path: &Path) -> Result<Vec<ExpectedReading>, Failure> {
    let place = path.display().to_string();
    let text = String::from_utf8(read_file(path)?).map_err(|_| {
        Failure::bad("readings", "the readings are not UTF-8 text", "save them as UTF-8").at(place.clone())
    })?;
    expected_readings(&text, &place).map_err(|fault| {
        Failure::bad(fault.code(), fault.to_string(), fault.hint()).at(fault.spot().to_string())
    })
}

fn test(arguments: &Test) -> Result<Ended, Failure> {
    let text = String::from_utf8_lossy(&read_file(&arguments.template)?).into_owned();
    let open = open_lines(&text);
    if let Some((first, _)) = open.first() {
        let lines: Vec<String> = open.iter().map(|(line, what)| format!("line {line}: {what}")).collect();
        return Err(Failure::bad(
            "draft",
            format!("a draft with {} open guesses reads no file\n{}", open.len(), lines.join("\n")),
            "hold each against the instrument, correct it, take its `confirm` line away or fill in its value",
        )
        .at(format!("{}:{first}", arguments.template.display())));
    }
    let expected = arguments.expect.as_deref().map(readings).transpose()?;
    let files = read::shown(&arguments.template, &arguments.files)?;
    print_line("");
    let Some(expected) = expected else {
        print_line("compared   nothing: give `--expect READINGS.toml`, taken from the instrument's screen");
        return Ok(Ended::Done);
    };
    let mut differ = 0_usize;
    for reading in &expected {
        let about = format!(
            "{}{}{}",
            reading.patient.as_ref().map(|patient| format!("{patient} ")).unwrap_or_default(),
            reading.eye.map(|eye| format!("{} ", eye.word())).unwrap_or_default(),
            reading.field
        );
        match compared(reading, &files) {
            Ok(place) => print_line(&format!("as expected  {about} {}  ({place})", reading.value)),
            Err(found) => {
                differ += 1;
                print_line(&format!("DIFFERS      {about}: expected {}, {found}", reading.value));
            }
        }
    }
    print_line(&format!("compared   {} readings, {differ} differ", expected.len()));
    if differ > 0 {
        return Err(Failure::bad(
            "readings",
            format!("{differ} of {} expected readings differ", expected.len()),
            "look at the screen again, then correct the template or the expectation; approve nothing before they agree",
        )
        .at(arguments.template.display().to_string()));
    }
    Ok(Ended::Done)
}

/// Where an expected reading stands as expected.
///
/// # Errors
/// What stands there instead.
fn compared(expected: &ExpectedReading, files: &[Value]) -> Result<String, String> {
    let texts = |value: &Value| value.as_str().map(str::to_owned);
    let exams: Vec<&Value> = files
        .iter()
        .flat_map(|file| ["exams", "list", "facts"].into_iter().filter_map(|part| file.get(part)?.as_array()))
        .flatten()
        .filter(|exam| {
            expected.patient.is_none()
                || exam.get("patient").and_then(|patient| patient.get("number")).and_then(texts)
                    == expected.patient
        })
        .collect();
    let rows: Vec<&Value> = exams
        .iter()
        .filter_map(|exam| exam.get("values")?.as_array())
        .flatten()
        .filter(|row| {
            let eye = row.get("eye").and_then(Value::as_str);
            let field = row.get("field").and_then(Value::as_str);
            field == Some(expected.field.as_str()) && eye == expected.eye.map(crate::model::Eye::word)
        })
        .collect();
    let [row] = rows.as_slice() else {
        return Err(format!("read {} times", rows.len()));
    };
    let value = row.get("value").unwrap_or(&Value::Null);
    let as_expected = match value.as_f64() {
        Some(number) => expected.value.parse::<f64>().is_ok_and(|wanted| number.total_cmp(&wanted).is_eq()),
        None => {
            value.as_str() == Some(expected.value.as_str())
                || row.get("text").and_then(Value::as_str) == Some(expected.value.as_str())
        }
    };
    let place = row.get("place").and_then(Value::as_str).unwrap_or("computed").to_owned();
    if as_expected { Ok(place) } else { Err(format!("read {value} ({place})")) }
}

fn approve(arguments: &Approve) -> Result<Ended, Failure> {
    let root = &arguments.site.site;
    for file in &arguments.templates {
        let inside = file.strip_prefix(root).or_else(|_| file.strip_prefix(".")).unwrap_or(file);
        if FileKind::of(&inside.to_string_lossy()) != Some(FileKind::Mapping) {
            return Err(Failure::bad(
                "file",
                format!("`{}` is no mapping template of this site", file.display()),
                format!("copy it into {} first", root.join("mappings").display()),
            ));
        }
    }
    settings::approve_files(&arguments.templates, &arguments.who, root, arguments.now)
}
