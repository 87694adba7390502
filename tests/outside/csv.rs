//! Sample exports and the demo's text files against Python's csv module, cell by cell.

use std::collections::BTreeMap;
use std::path::PathBuf;

use axiswright::intake::{Brings, Content, FolderRules, Input, Template, read};
use axiswright::model::{Digest, Exam, Eye, Fact, FactKind, ListEntry, Place, Reading, Spot};
use jiff::civil::date;
use serde_json::{Value, json};

use crate::found::{lines, repo, script};

/// A value of ours at its cell: the text it was read from and, of a measured one, the number.
#[derive(Debug)]
struct Ours {
    text: String,
    number: Option<f64>,
    header: String,
    eye: Option<Eye>,
}

type Cells = BTreeMap<(u64, u64), Ours>;

fn put<T>(
    cells: &mut Cells,
    eye: Option<Eye>,
    reading: Option<&Reading<T>>,
    number: impl Fn(&T) -> Option<f64>,
) {
    let Some(reading) = reading else { return };
    // What a template assigns, and what stands in a preamble line or the file's name, has no cell.
    let Place::File { spot: Spot::Cell { line, column, header }, .. } = &reading.place else { return };
    let ours =
        Ours { text: reading.text.clone(), number: number(&reading.value), header: header.clone(), eye };
    cells.insert((*line, *column), ours);
}

fn identity(cells: &mut Cells, identity: &axiswright::model::Identity) {
    put(cells, None, identity.number.as_ref(), |_| None);
    put(cells, None, identity.name.as_ref(), |_| None);
    put(cells, None, identity.birth_date.as_ref(), |_| None);
    put(cells, None, identity.sex.as_ref(), |_| None);
}

fn exam(cells: &mut Cells, exam: &Exam) {
    identity(cells, &exam.identity);
    put(cells, None, exam.taken.as_ref(), |_| None);
    for (eye, of_eye) in exam.eyes.iter() {
        let Some(of_eye) = of_eye else { continue };
        let eye = Some(eye);
        for k in &of_eye.keratometry {
            // Of readings, each as it stands; their mean has no cell.
            let readings = k.singles.iter().flat_map(|one| [&one.flat, &one.steep]);
            let result = [&k.flat, &k.steep].into_iter().filter(|_| k.singles.is_empty());
            for m in readings.chain(result) {
                put(cells, eye, m.radius.as_ref(), |v| Some(v.millimetres()));
                put(cells, eye, m.power.as_ref(), |v| Some(v.dioptres()));
                put(cells, eye, m.meridian.as_ref(), |v| Some(v.degrees()));
            }
            for single in &k.singles {
                put(cells, eye, single.number.as_ref(), |v| Some(f64::from(*v)));
                put(cells, eye, single.error.as_ref(), |_| None);
            }
            if k.singles.is_empty() {
                put(cells, eye, k.readings.as_ref(), |v| Some(f64::from(*v)));
                put(cells, eye, k.spread.as_ref(), |v| Some(v.dioptres()));
            }
            put(cells, eye, k.quality.as_ref(), |_| None);
        }
        let Some(a) = &of_eye.axial else { continue };
        for reading in [&a.length, &a.depth, &a.lens, &a.white, &a.spread] {
            put(cells, eye, reading.as_ref(), |v| Some(v.millimetres()));
        }
        put(cells, eye, a.cornea.as_ref(), |v| Some(v.micrometres()));
    }
}

fn fact(cells: &mut Cells, fact: &Fact) {
    identity(cells, &fact.identity);
    let (_, word) = fact.kind.words();
    // The map of the template stands between the cell and the word of drops.
    if !matches!(fact.kind, FactKind::Drops(_)) {
        put(cells, Some(fact.eye), Some(&Reading::new((), word, fact.place.clone())), |()| None);
    }
}

fn entry(cells: &mut Cells, entry: &ListEntry) {
    identity(cells, &entry.identity);
    put(cells, None, entry.booking.as_ref(), |_| None);
    put(cells, None, entry.date.as_ref(), |_| None);
    put(cells, None, entry.theatre.as_ref(), |_| None);
    put(cells, None, entry.position.as_ref(), |v| Some(f64::from(*v)));
    put(cells, None, entry.eye.as_ref(), |_| None);
    put(cells, None, entry.procedure.as_ref(), |_| None);
    put(cells, None, entry.surgeon.as_ref(), |_| None);
    put(cells, None, entry.target.as_ref(), |v| Some(v.target.dioptres()));
    put(cells, None, entry.lens.as_ref(), |_| None);
    put(cells, None, entry.incision.as_ref(), |v| Some(v.degrees()));
    put(cells, None, entry.incision_width.as_ref(), |v| Some(v.millimetres()));
    put(cells, None, entry.seat.as_ref(), |_| None);
    put(cells, None, entry.corneal_surgery.as_ref(), |_| None);
    put(cells, None, entry.lens_status.as_ref(), |_| None);
}

struct Kind {
    template: &'static str,
    encoding: &'static str,
    delimiter: &'static str,
    quoted: bool,
    sample: &'static str,
    folder: &'static str,
    /// The first header.
    first: &'static str,
    /// Columns whose cell is no value of its own: joined to another, or what says the eye.
    no_value: &'static [&'static str],
}

const KINDS: [Kind; 5] = [
    Kind {
        template: "halden-k2",
        encoding: "utf-8-sig",
        delimiter: ";",
        quoted: true,
        sample: "sample-exports/halden-k2.csv",
        folder: "demo-data/clinic/incoming/halden-k2",
        first: "Patient no.",
        no_value: &["Eye", "Time"],
    },
    Kind {
        template: "orrin-b1",
        encoding: "cp1252",
        delimiter: "\t",
        quoted: false,
        sample: "sample-exports/orrin-b1.txt",
        folder: "demo-data/clinic/incoming/orrin-b1",
        first: "Pat-ID",
        no_value: &["Given name"],
    },
    Kind {
        template: "theatre-list",
        encoding: "utf-8-sig",
        delimiter: ",",
        quoted: true,
        sample: "sample-exports/theatre-list.csv",
        folder: "demo-data/clinic/incoming/theatre-lists",
        first: "Booking",
        no_value: &["Given name"],
    },
    Kind {
        template: "tarn-k6",
        encoding: "cp932",
        delimiter: ",",
        quoted: true,
        sample: "sample-exports/tarn-k6.csv",
        folder: "",
        first: "患者番号",
        no_value: &["眼", "測定日時"],
    },
    Kind {
        template: "measuring-room",
        encoding: "utf-8-sig",
        delimiter: ",",
        quoted: true,
        sample: "sample-exports/measuring-room.csv",
        folder: "",
        first: "Hospital no.",
        no_value: &["Eye", "Asked by", "Asked at", "Before measuring"],
    },
];

fn template(id: &str) -> Template {
    let text = std::fs::read_to_string(repo(&format!("templates/mappings/{id}.toml"))).unwrap();
    Template::new(&toml::from_str(&text).unwrap(), Digest::of(text.as_bytes())).unwrap()
}

fn files(kind: &Kind) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = Vec::new();
    // Not every layout has a folder in the demo.
    if !kind.folder.is_empty() {
        files.extend(repo(kind.folder).read_dir().unwrap().map(|entry| entry.unwrap().path()));
    }
    files.push(repo(kind.sample));
    files.sort();
    files
}

/// Our values of a file by cell; none when it is refused.
fn ours(file: &std::path::Path, template: &Template) -> Option<Cells> {
    let bytes = std::fs::read(file).unwrap();
    let name = file.file_name().unwrap().to_string_lossy();
    let folder = FolderRules::undeclared(template.brings());
    let input = Input { bytes: &bytes, name: &name, folder: &folder, today: date(2026, 3, 5), reports: &[] };
    let read = read(&input, std::slice::from_ref(template)).ok()?;
    let mut cells = Cells::new();
    match &read.content {
        Content::Exams(exams) => exams.iter().for_each(|one| exam(&mut cells, one)),
        Content::List(list) => list.entries.iter().for_each(|one| entry(&mut cells, one)),
        Content::Facts(facts) => facts.stated.iter().for_each(|one| fact(&mut cells, one)),
    }
    Some(cells)
}

/// Python's cells of a file.
struct Theirs {
    cells: BTreeMap<(u64, u64), (String, Option<f64>)>,
    header_line: u64,
}

fn theirs(line: &Value, first: &str) -> Theirs {
    let cells: BTreeMap<(u64, u64), (String, Option<f64>)> = line
        .as_array()
        .unwrap()
        .iter()
        .map(|cell| {
            let place = (cell[0].as_u64().unwrap(), cell[1].as_u64().unwrap());
            (place, (cell[2].as_str().unwrap().to_owned(), cell[3].as_f64()))
        })
        .collect();
    let (header_line, _) =
        *cells.iter().find(|((_, column), (text, _))| *column == 1 && text == first).unwrap().0;
    Theirs { cells, header_line }
}

impl Theirs {
    fn header(&self, column: u64) -> &str {
        &self.cells[&(self.header_line, column)].0
    }
}

/// The eye the row or the column of a cell belongs to, as Python sees it.
fn eye_of(theirs: &Theirs, (line, column): (u64, u64)) -> Option<Eye> {
    let mut headers = theirs.cells.range((theirs.header_line, 0)..=(theirs.header_line, u64::MAX));
    let eye =
        headers.find(|(_, (text, _))| matches!(text.as_str(), "Eye" | "眼")).map(|((_, column), _)| *column);
    let word = eye.map(|c| theirs.cells[&(line, c)].0.as_str());
    let header = theirs.header(column);
    match (word, header.split(' ').next()) {
        (Some("OD" | "R" | "右"), _) | (None, Some("R")) => Some(Eye::Right),
        (Some("OS" | "L" | "左"), _) | (None, Some("L")) => Some(Eye::Left),
        _ => None,
    }
}

/// Compares a file; the number of cells that agree.
fn compare(name: &str, kind: &Kind, ours: &Cells, theirs: &Theirs) -> usize {
    for (place, value) in ours {
        let (text, number) = &theirs.cells[place];
        assert_eq!(value.header, theirs.header(place.1), "{name} {place:?}");
        // Joined columns: the value has the text of its first cell at its beginning.
        assert!(
            value.text.trim() == text.trim() || value.text.starts_with(text.trim()),
            "{name} {place:?}: `{}` for `{text}`",
            value.text
        );
        if let Some(own) = value.number {
            let wanted = number.unwrap_or_else(|| panic!("{name} {place:?}: `{text}` is no number"));
            // A meridian of 0 is 180, a place of 0 on the limbus is 360.
            let circles =
                wanted.abs() < 1e-12 && [180.0, 360.0].iter().any(|whole: &f64| (own - whole).abs() < 1e-12);
            let wanted = if circles { own } else { wanted };
            assert!((own - wanted).abs() < 1e-12, "{name} {place:?}: {own} for {wanted}");
        }
        if let Some(eye) = value.eye {
            assert_eq!(eye_of(theirs, *place), Some(eye), "{name} {place:?}");
        }
    }
    let width = |line: u64| theirs.cells.range((line, 0)..=(line, u64::MAX)).count();
    for (place @ (line, column), (text, _)) in &theirs.cells {
        let in_data = *line > theirs.header_line && width(*line) == width(theirs.header_line);
        let empty = matches!(text.trim(), "" | "---");
        let header = theirs.header(*column);
        // Both rows of an examination say who the patient is; the first is kept, the second was compared.
        let said_before = ours.iter().any(|((above, c), o)| {
            c == column && above < line && o.number.is_none() && o.text.starts_with(text)
        });
        if in_data && !empty && !said_before && !kind.no_value.contains(&header) {
            assert!(ours.contains_key(place), "{name} {place:?} `{text}` under `{header}` was not read");
        }
    }
    ours.len()
}

/// Source: Python's `csv` module and `float`, by `read_cells.py`.
/// Checked: in the samples and every readable text file of the demo each value by its cell: header, text, number, eye; and
/// no cell with something in it is passed over.
#[test]
fn cells_are_those_of_a_second_reader() {
    let (mut cells, mut read, mut refused) = (0, 0, Vec::new());
    for kind in &KINDS {
        let template = template(kind.template);
        assert_eq!(template.brings() == Brings::Lists, kind.template == "theatre-list");
        let files = files(kind);
        let told = lines(files.iter().map(|file| {
            let (encoding, delimiter) = (kind.encoding, kind.delimiter);
            let told =
                json!({"file": file, "encoding": encoding, "delimiter": delimiter, "quoted": kind.quoted});
            told
        }));
        let Some(read_there) = script("read_cells.py", &[], &told, "text exports against Python's csv")
        else {
            return;
        };
        for (file, line) in files.iter().zip(&read_there) {
            let name = file.file_name().unwrap().to_string_lossy().into_owned();
            let Some(ours) = ours(file, &template) else {
                refused.push(name);
                continue;
            };
            cells += compare(&name, kind, &ours, &theirs(line, kind.first));
            read += 1;
        }
    }
    eprintln!("{cells} cells of {read} files; refused by us: {refused:?}");
    // The one that is cut off before its end.
    assert_eq!(refused, ["K2_EL-20479_B_20260302.csv"]);
    assert!(cells > 500 && read >= 19, "{cells} in {read}");
}
