//! `read`: what a file says in the measurement model, with the place of each value.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{open, system_now};
use super::output::{print_json, print_line};
use super::plan::{print_finding, read_file};
use super::read_values::{Row, entry_rows, exam_rows, eye_rows, fact_rows, spot};
use crate::bridge::Site;
use crate::intake::{
    self, AxisConvention, Brings, Content, FolderRules, Format, Input, IntakeError, Read, ReportTable,
    Template,
};
use crate::model::{Digest, Exam, Eye, Fact, Identity, ListEntry};
use crate::site::{MappingFile, mapping_file, standard_reports};

/// Stack of the thread a file is read on.
const STACK: usize = 8 * 1024 * 1024;

/// Show what a file says, value by value, with where each stands, to be held against the instrument's own screen.
///
/// A DICOM object is recognised by itself. A text file is read by a mapping template: name one, or a site whose approved
/// templates are used. Nothing is kept and nothing is planned. Exit code 0: read; 2: a file is bad, with its reason.
///
/// With --scrub a copy of each file is written in which no person can be found: same layout, same length, same measured
/// values, same fault. It is made to be shown to the maintainers.
#[derive(Debug, Args)]
pub(super) struct ReadArguments {
    /// The files: exports of an instrument, or operating lists.
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
    /// The mapping template for text files; templates/mappings holds examples.
    #[arg(long, value_name = "TEMPLATE.toml", conflicts_with = "site")]
    template: Option<PathBuf>,
    /// Read with the approved mapping templates of this site.
    #[arg(long, value_name = "DIR")]
    site: Option<PathBuf>,
    /// With --site: read as this incoming folder of the site reads, with its device, zone and index.
    #[arg(long, value_name = "NAME", requires = "site")]
    folder: Option<String>,
    /// Write a copy of each file without any person in it, to be shown to the maintainers, into the folder of --out.
    #[arg(long, requires = "out")]
    scrub: bool,
    /// With --scrub: where the copies go. A file that is there already is never overwritten.
    #[arg(long, value_name = "DIR", requires = "scrub")]
    out: Option<PathBuf>,
    /// Print the files as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// How files are read: the templates, and what is declared about the folder they could have come through.
pub(super) struct Reader {
    pub(super) templates: Vec<Template>,
    pub(super) reports: Vec<ReportTable>,
    folders: Vec<FolderRules>,
    pub(super) today: jiff::civil::Date,
    pub(super) from_site: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &ReadArguments) -> Result<Ended, Failure> {
    let reader = reader(arguments)?;
    if let (true, Some(out)) = (arguments.scrub, &arguments.out) {
        return super::scrub::run(&reader, &arguments.files, out, arguments.json);
    }
    let several = arguments.files.len() > 1;
    let mut objects = Vec::new();
    let mut ended = Ended::Done;
    for (number, path) in (1_usize..).zip(&arguments.files) {
        match read(&reader, path) {
            Ok((name, read)) if arguments.json => objects.push(file_json(&name, &read)),
            Ok((name, read)) => {
                if number > 1 {
                    print_line("");
                }
                print_file(&name, &read);
            }
            Err(failure) if !several => return Err(failure),
            Err(failure) => {
                ended = ended.max(failure.ended);
                if arguments.json {
                    objects.push(json!({ "file": path.display().to_string(), "error": failure.as_json() }));
                } else {
                    failure.report(false);
                }
            }
        }
    }
    if arguments.json {
        print_json(&Value::Array(objects));
    }
    Ok(ended)
}

/// Reads files by one template and prints each as the command does; gives them as JSON.
pub(super) fn shown(template: &Path, files: &[PathBuf]) -> Result<Vec<Value>, Failure> {
    let reader = of_template(Some(template))?;
    let mut objects = Vec::new();
    for path in files {
        let (name, read) = read(&reader, path)?;
        if !objects.is_empty() {
            print_line("");
        }
        print_file(&name, &read);
        objects.push(file_json(&name, &read));
    }
    Ok(objects)
}

fn reader(arguments: &ReadArguments) -> Result<Reader, Failure> {
    match &arguments.site {
        Some(root) => of_site(&open(root)?, arguments.folder.as_deref()),
        None => of_template(arguments.template.as_deref()),
    }
}

fn of_template(path: Option<&Path>) -> Result<Reader, Failure> {
    let today = jiff::tz::TimeZone::UTC.to_datetime(system_now()).date();
    let (mut template, mut reports) = (None, vec![standard_reports()]);
    match path.map(mapping).transpose()? {
        None => {}
        Some(MappingFile::Template(one)) => template = Some(*one),
        Some(MappingFile::Reports(table)) => reports.push(table),
    }
    let brings = template.as_ref().map_or(Brings::Measurements, Template::brings);
    let mut folders = vec![FolderRules::undeclared(brings)];
    if brings != Brings::Measurements {
        // A DICOM object among the files is a measurement whatever the template brings.
        folders.push(FolderRules::undeclared(Brings::Measurements));
    }
    Ok(Reader { templates: template.into_iter().collect(), reports, folders, today, from_site: false })
}

fn mapping(path: &Path) -> Result<MappingFile, Failure> {
    let place = path.display().to_string();
    let text = String::from_utf8(read_file(path)?).map_err(|_| {
        Failure::bad("template", "the template is not UTF-8 text", "save it as UTF-8").at(place.clone())
    })?;
    mapping_file(&text, &place).map_err(|faults| match faults.as_slice() {
        [] => Failure::bad("template", "the template cannot be used", "correct it").at(place),
        [first, others @ ..] => {
            let more = match others.len() {
                0 => String::new(),
                count => format!(" (and {count} more)"),
            };
            Failure::bad(first.code(), format!("{first}{more}"), first.hint()).at(first.spot().to_string())
        }
    })
}

fn of_site(site: &Site, folder: Option<&str>) -> Result<Reader, Failure> {
    let standing = site.standing()?;
    let in_force = |name: &str, digest: Digest| {
        standing.approved.get(name).is_some_and(|approved| approved.holds(digest))
    };
    let approved =
        site.settings.templates.iter().filter(|(name, one)| in_force(name, one.reference().digest));
    let templates: Vec<Template> = approved.map(|(_, template)| template.clone()).collect();
    let approved = site.settings.reports.iter().filter(|(name, one)| in_force(name, one.reference().digest));
    let own = approved.map(|(_, table)| table.clone());
    let reports = core::iter::once(standard_reports()).chain(own).collect();
    let folders = match folder {
        None => [Brings::Measurements, Brings::Lists, Brings::Refractions, Brings::Facts]
            .map(FolderRules::undeclared)
            .to_vec(),
        Some(wanted) => {
            let incoming = site.settings.site.incoming();
            let found = incoming.iter().find(|incoming| incoming.folder() == wanted).ok_or_else(|| {
                let known: Vec<String> = incoming.iter().map(|one| format!("`{}`", one.folder())).collect();
                Failure::bad(
                    "folder",
                    format!("the site has no incoming folder `{wanted}`"),
                    format!("name one of {}", known.join(", ")),
                )
            })?;
            vec![found.rules()]
        }
    };
    let today = site.settings.site.time_zone().to_datetime(system_now()).date();
    Ok(Reader { templates, reports, folders, today, from_site: true })
}

fn read(reader: &Reader, path: &Path) -> Result<(String, Read), Failure> {
    let bytes = read_file(path)?;
    let name = name_of(path);
    let read = read_bytes(reader, &bytes, &name)?;
    Ok((name, read))
}

/// The name of a file as data.
pub(super) fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

/// What the bytes of a file say.
pub(super) fn read_bytes(reader: &Reader, bytes: &[u8], name: &str) -> Result<Read, Failure> {
    let mut refused = None;
    for folder in &reader.folders {
        let (today, reports) = (reader.today, reader.reports.as_slice());
        let input = Input { bytes, name, folder, today, reports };
        match apart(name, || intake::read(&input, &reader.templates))? {
            Ok(read) => return Ok(read),
            // It may be a file of another kind: that is what the next folder is for.
            Err(error @ IntakeError::WrongFolder { .. }) => refused = refused.or(Some(error)),
            Err(error) => {
                refused = Some(error);
                break;
            }
        }
    }
    Err(match refused {
        Some(IntakeError::Template { .. }) if reader.templates.is_empty() => no_template(reader, bytes, name),
        Some(error) => error.into(),
        None => no_template(reader, bytes, name),
    })
}

fn no_template(reader: &Reader, bytes: &[u8], name: &str) -> Failure {
    let hint = if reader.from_site {
        "the site has no approved mapping template: see `axiswright settings diff --site DIR`"
    } else {
        "name its mapping template with `--template FILE.toml`, or a site with `--site DIR`; templates/mappings holds examples"
    };
    let message =
        format!("a text file is read by a mapping template, and none was given: {}", intake::describe(bytes));
    Failure::bad("template", message, hint).at(name)
}

/// Works on a file on a thread of its own, so that a fault of a reader is an answer about this file.
pub(super) fn apart<T: Send>(name: &str, work: impl FnOnce() -> T + Send) -> Result<T, Failure> {
    let fault = || {
        Failure::bad(
            "reader-failed",
            "the reader failed on this file",
            "send a copy without the patient (`axiswright read --scrub`) to the maintainers; export the measurement in another format",
        )
        .at(name)
    };
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(STACK);
        let spawned = thread.spawn_scoped(scope, work).map_err(|_| fault())?;
        spawned.join().map_err(|_| fault())
    })
}

fn patient_json(identity: &Identity) -> Value {
    json!({
        "number": identity.number.as_ref().map(|number| number.value.as_written()),
        "authority": identity.authority.as_ref().map(|authority| &authority.value),
        "family_name": identity.name.as_ref().map(|name| &name.value.family),
        "given_name": identity.name.as_ref().map(|name| &name.value.given),
        "birth_date": identity.birth_date.as_ref().map(|birth| birth.value.to_string()),
        "sex": identity.sex.as_ref().map(|sex| sex.value.printed()),
    })
}

fn values_json(rows: &[Row]) -> Value {
    rows.iter().map(Row::as_json).collect()
}

fn all_rows(exam: &Exam) -> Vec<Row> {
    let mut rows = exam_rows(exam);
    for (eye, one) in exam.eyes.iter() {
        rows.extend(one.iter().flat_map(|one| eye_rows(eye, one)));
    }
    rows
}

fn exam_json(exam: &Exam) -> Value {
    let instant = exam.taken.as_ref().and_then(|taken| taken.value.instant);
    json!({
        "patient": patient_json(&exam.identity),
        "device": exam.instrument.key,
        "serial": exam.instrument.serial,
        "taken_at": instant.map(|instant| instant.to_string()),
        "axis_convention": AxisConvention::Iso8429.word(),
        "values": values_json(&all_rows(exam)),
    })
}

fn entry_json(entry: &ListEntry) -> Value {
    json!({
        "patient": patient_json(&entry.identity),
        "eye": entry.eye.as_ref().map(|eye| eye.value.word()),
        "date": entry.date.as_ref().map(|date| date.value.to_string()),
        "place": spot(&entry.place),
        "values": values_json(&entry_rows(entry)),
    })
}

fn fact_json(fact: &Fact) -> Value {
    json!({
        "patient": patient_json(&fact.identity),
        "eye": fact.eye.word(),
        "by": fact.by,
        "place": spot(&fact.place),
        "values": values_json(&fact_rows(fact)),
    })
}

fn file_json(name: &str, read: &Read) -> Value {
    let (mut exams, mut list, mut facts): (Vec<Value>, Vec<Value>, Vec<Value>) = Default::default();
    match &read.content {
        Content::Exams(read) => exams = read.iter().map(exam_json).collect(),
        Content::List(read) => list = read.entries.iter().map(entry_json).collect(),
        Content::Facts(read) => facts = read.stated.iter().map(fact_json).collect(),
    }
    facts.extend(read.stated.iter().map(fact_json));
    let not_understood: Vec<Value> = read
        .not_understood
        .iter()
        .map(|note| json!({ "what": note.what, "why": note.why, "place": spot(&note.place) }))
        .collect();
    json!({
        "file": name,
        "digest": read.digest.hex(),
        "template": read.template.as_ref().map(|template| json!({
            "id": template.id,
            "revision": template.revision,
            "digest": template.digest.hex(),
        })),
        "exams": exams,
        "list": list,
        "facts": facts,
        "not_understood": not_understood,
        "findings": read.findings.iter().map(|finding| finding.as_json(None)).collect::<Vec<_>>(),
    })
}

fn print_file(name: &str, read: &Read) {
    print_line(&format!("file       {name}"));
    print_line(&format!("digest     {}", read.digest));
    match (&read.template, read.format) {
        (Some(template), _) => {
            print_line(&format!("read by    template {}, revision {}", template.id, template.revision));
        }
        (None, Format::Joia) => print_line("read by    the reader of the JOIA format"),
        (None, Format::Dicom | Format::Mapped) => print_line("read by    the DICOM reader"),
    }
    match &read.content {
        Content::Exams(exams) => {
            print_line(&format!(
                "axes       {}, as they stand: none is turned",
                AxisConvention::Iso8429.word()
            ));
            exams.iter().for_each(print_exam);
        }
        Content::List(list) => {
            let complete = if list.complete {
                "names every operation of its theatre and day"
            } else {
                "is not complete"
            };
            print_line(&format!("list       {} line(s); it {complete}", list.entries.len()));
            for entry in &list.entries {
                print_line("");
                print_plain(&entry_rows(entry));
            }
            for fact in &read.stated {
                print_line("");
                print_line(&format!("the list about the {} eye", fact.eye));
                print_plain(&fact_rows(fact));
            }
        }
        Content::Facts(facts) => {
            print_line(&format!("facts      {} statement(s)", facts.stated.len()));
            for fact in &facts.stated {
                print_line("");
                print_line(&format!("about the {} eye", fact.eye));
                print_plain(&fact_rows(fact));
            }
        }
    }
    print_line("");
    if read.not_understood.is_empty() {
        print_line("not understood   nothing: every part of the file was used or is known to be of no use");
    } else {
        print_line("not understood");
        for note in &read.not_understood {
            print_line(&format!("  {}: {} ({})", note.what, note.why, spot(&note.place)));
        }
    }
    if !read.findings.is_empty() {
        print_line("findings");
        for finding in &read.findings {
            print_finding(finding, None);
        }
    }
}

fn print_plain(rows: &[Row]) {
    let width = rows.iter().map(|row| row.field.chars().count()).max().unwrap_or(0);
    for row in rows {
        let [shown, stood, derived] = cell(row);
        let derived = if derived.is_empty() { derived } else { format!("; {derived}") };
        print_line(&format!("  {:<width$}  {shown:<28}  {stood}{derived}", row.field));
    }
}

fn print_exam(exam: &Exam) {
    print_line("");
    let serial = exam.instrument.serial.as_ref().map(|serial| format!(", serial number {serial}"));
    print_line(&format!("examination by {}{}", exam.instrument.key, serial.unwrap_or_default()));
    match exam.taken.as_ref().map(|taken| taken.value.instant) {
        Some(Some(instant)) => print_line(&format!("  at {instant}")),
        Some(None) => print_line("  the zone of its clock is not known"),
        None => print_line("  no time is stated"),
    }
    print_plain(&exam_rows(exam));
    let [right, left] =
        Eye::BOTH.map(|eye| exam.eyes.of(eye).as_ref().map_or_else(Vec::new, |one| eye_rows(eye, one)));
    print_eyes(&right, &left);
}

/// A value as lines: what it is, the text and the place it stood at, what was done to it.
fn cell(row: &Row) -> [String; 3] {
    let place = row.place.clone().unwrap_or_default();
    let stood = row.text.as_ref().map_or_else(|| place.clone(), |text| format!("`{text}`, {place}"));
    [row.shown.clone(), stood, row.derived.clone().unwrap_or_default()]
}

/// Both eyes side by side, each value with its place below it.
fn print_eyes(right: &[Row], left: &[Row]) {
    let mut names: Vec<(Option<&str>, &str)> = Vec::new();
    for row in right.iter().chain(left) {
        let name = (row.surface, row.field.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let of = |rows: &[Row], name: &(Option<&str>, &str)| {
        let row = rows.iter().find(|row| (row.surface, row.field.as_str()) == *name);
        row.map_or_else(|| ["-".to_owned(), String::new(), String::new()], cell)
    };
    let cells: Vec<_> = names.iter().map(|name| (name, of(right, name), of(left, name))).collect();
    let first = names.iter().map(|(_, field)| field.chars().count()).max().unwrap_or(0).max(8);
    let second =
        cells.iter().flat_map(|(_, right, _)| right).map(|text| text.chars().count()).max().unwrap_or(0);
    let second = second.max(8);
    print_line("");
    print_line(&format!("  {:<first$}  {:<second$}  LEFT (OS)", "", "RIGHT (OD)"));
    let mut surface = None;
    for ((of_surface, field), right, left) in &cells {
        if *of_surface != surface {
            surface = *of_surface;
            if let Some(surface) = surface {
                print_line(&format!("  {surface} keratometry"));
            }
        }
        let mut heading = *field;
        for (right, left) in right.iter().zip(left) {
            if !(right.is_empty() && left.is_empty()) {
                print_line(&format!("  {heading:<first$}  {right:<second$}  {left}"));
            }
            heading = "";
        }
    }
}
