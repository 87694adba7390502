//! Budgets: no input makes a reader of text or XML take longer than two seconds or more than 64 MB.
//!
//! Each input is read in a process of its own, so that its highest memory is its own; the process is this test, called
//! with the name of the input.

#![expect(clippy::disallowed_methods, reason = "what a process costs is read where the system tells it")]

use std::process::Command;

use axiswright::intake::{Brings, FolderRules};

use crate::support::{PER_EYE, PER_EYE_FILE, read_in, template};

const MOST_BYTES: usize = 4 * 1024 * 1024;
pub(crate) const MOST_MEMORY_KB: u64 = 64 * 1024;
pub(crate) const MOST_SECONDS: f64 = 2.0;
const ASKED: &str = "AXISWRIGHT_INPUT";

/// As much of a text as goes into the largest file.
fn filled(before: &str, piece: impl Fn(usize) -> String, after: &str) -> Vec<u8> {
    let mut text = String::with_capacity(MOST_BYTES);
    text.push_str(before);
    for number in 0.. {
        let piece = piece(number);
        if text.len() + piece.len() + after.len() > MOST_BYTES {
            break;
        }
        text.push_str(&piece);
    }
    text.push_str(after);
    text.into_bytes()
}

fn lines(count: usize) -> Vec<u8> {
    let mut text = "Id,Born,Time,Eye,R1,A1,R2,A2\n".to_owned();
    for number in 0..count {
        text.push_str(&format!("T-{number},09/04/1951,2026-03-01 09:14,R,7.92,172,7.55,82\n"));
    }
    text.into_bytes()
}

const JOIA: &str = "<Ophthalmology xmlns:c='http://www.joia.or.jp/standardized/namespaces/Common' xmlns:k='http://www.joia.or.jp/standardized/namespaces/KM'><c:Common><c:Company>A</c:Company></c:Common>";
const JOIA_KM: &str = "<k:Measure type='KM'><k:KM><k:R>";

/// Every input by name: the bytes, and whether it is read in the end.
fn input(name: &str) -> Option<(Vec<u8>, bool)> {
    let row = |cells: usize| format!("{}\n", ",".repeat(cells));
    let refused = |bytes| Some((bytes, false));
    match name {
        "nothing but line ends" => refused(filled("", |_| "\n".to_owned(), "")),
        "one line of delimiters" => refused(filled("", |_| ",".to_owned(), "\n")),
        "one line of quotes" => refused(filled("\"", |_| "\"\"".to_owned(), "\"\n")),
        "one line without end" => refused(filled("", |_| "a".to_owned(), "")),
        "rows of empty cells" => refused(filled("", |_| row(400), "")),
        "the longest header" => refused(filled("", |n| format!("{n},"), "\n")),
        "every row" => Some((lines(5_000), true)),
        "every cell" => {
            let (orrin, ..) = encoding_rs::WINDOWS_1252.decode(ORRIN);
            let (head, body) = orrin.split_once("\r\n").unwrap();
            let row = body.lines().next().unwrap();
            let number = row.split('\t').next().unwrap();
            let mut text = format!("{head}\r\n");
            let rows = 100_000 / row.split('\t').count();
            for at in 0..rows {
                text.push_str(&row.replacen(number, &format!("T-{at}"), 1));
                text.push_str("\r\n");
            }
            text.push_str(&format!("Exams\t{rows}\r\n"));
            Some((encoding_rs::WINDOWS_1252.encode(&text).0.into_owned(), true))
        }
        "one row too many" => refused(lines(5_001)),
        "a file of zeros" => refused(vec![0; MOST_BYTES]),
        "bytes of no encoding" => refused(vec![0xC3; MOST_BYTES]),
        "elements" => refused(filled("<a>", |_| "<b/>".to_owned(), "</a>")),
        "elements of other names" => refused(filled("<a>", |n| format!("<b{n}/>"), "</a>")),
        "attributes" => refused(filled(
            "<a>",
            |n| {
                if n % 60 == 0 {
                    "<b ".into()
                } else {
                    format!("a{n}='' {}", if n % 60 == 59 { "/>" } else { "" })
                }
            },
            "",
        )),
        "namespaces" => refused(filled("<a>", |n| format!("<b xmlns:a{n}='urn:{n}'/>"), "</a>")),
        "depth" => refused(filled("", |_| "<a>".to_owned(), "")),
        "references" => refused(filled("<a>", |_| "&amp;".to_owned(), "</a>")),
        "comments" => refused(filled("<a>", |_| "<!---->".to_owned(), "</a>")),
        "one long text" => refused(filled("<a>", |_| "a".to_owned(), "</a>")),
        "one long attribute" => refused(filled("<a b='", |_| "a".to_owned(), "'/>")),
        "one long name" => refused(filled("<", |_| "a".to_owned(), "/>")),
        "a declaration without end" => refused(filled("<?xml ", |_| "a='' ".to_owned(), "")),
        "joia, readings" => refused(filled(
            &format!("{JOIA}{JOIA_KM}"),
            |n| format!("<k:List No='{n}'/>"),
            "</k:R></k:KM></k:Measure></Ophthalmology>",
        )),
        "joia, elements nobody knows" => {
            let names = |n: usize| if n < 20_000 { format!("<x{n}>1</x{n}>") } else { " ".to_owned() };
            let known = "<k:Median><k:R1><k:Radius unit='mm'>7.9</k:Radius></k:R1><k:R2><k:Radius unit='mm'>7.5</k:Radius></k:R2></k:Median></k:R>";
            let text =
                filled(&format!("{JOIA}{JOIA_KM}{known}"), names, "</k:KM></k:Measure></Ophthalmology>");
            refused(text)
        }
        "joia, deep elements nobody knows" => {
            let long = "n".repeat(200);
            let (mut open, mut close) = (String::new(), String::new());
            for _ in 0..24 {
                open.push_str(&format!("<{long}>"));
                close.insert_str(0, &format!("</{long}>"));
            }
            let known = "<k:Median><k:R1><k:Radius unit='mm'>7.9</k:Radius></k:R1><k:R2><k:Radius unit='mm'>7.5</k:Radius></k:R2></k:Median></k:R></k:KM></k:Measure>";
            let mut text = format!("{JOIA}{JOIA_KM}{known}{open}");
            for number in 0..15_000 {
                text.push_str(&format!("<y{number}>1</y{number}>"));
            }
            Some((format!("{text}{close}</Ophthalmology>").into_bytes(), true))
        }
        _ => None,
    }
}

const ORRIN: &[u8] = include_bytes!("../../sample-exports/orrin-b1.txt");

const NAMES: [&str; 25] = [
    "nothing but line ends",
    "one line of delimiters",
    "one line of quotes",
    "one line without end",
    "rows of empty cells",
    "the longest header",
    "every row",
    "every cell",
    "one row too many",
    "a file of zeros",
    "bytes of no encoding",
    "elements",
    "elements of other names",
    "attributes",
    "namespaces",
    "depth",
    "references",
    "comments",
    "one long text",
    "one long attribute",
    "one long name",
    "a declaration without end",
    "joia, readings",
    "joia, elements nobody knows",
    "joia, deep elements nobody knows",
];

/// A line of `/proc/self/status` in kB.
pub(crate) fn memory(key: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix(key)?.strip_prefix(':')).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

/// Seconds this thread has spent on a processor: what others do meanwhile does not count. Source: proc(5), schedstat.
pub(crate) fn on_processor() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    let nanoseconds: u64 = told.split_whitespace().next().unwrap().parse().unwrap();
    std::time::Duration::from_nanos(nanoseconds).as_secs_f64()
}

/// The other side: reads one input and prints what that cost. Does nothing when it is not asked.
#[test]
fn one_input_in_a_process_of_its_own() {
    let Ok(name) = std::env::var(ASKED) else { return };
    let (bytes, sound) = input(&name).unwrap();
    let per_eye = PER_EYE.replace("header_must_contain", "max_bytes = 4194304\nheader_must_contain");
    let key_value = per_eye.replace("id = \"per-eye\"", "id = \"keys\"");
    let key_value = key_value.replace("[csv]\ndelimiter = \",\"", "[key_value]\nseparator = \"=\"");
    let xml = crate::xml::QUELL.replace("[match]\n", "[match]\nmax_bytes = 4194304\n");
    let orrin = include_str!("../../templates/mappings/orrin-b1.toml")
        .replace("[match]\n", "[match]\nmax_bytes = 4194304\n");
    let templates = [template(&per_eye), template(&key_value), template(&orrin), template(&xml)];
    let folder = FolderRules::undeclared(Brings::Measurements);
    // From here on the highest memory counts anew. Source: proc(5), clear_refs.
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
    let before = memory("VmRSS");
    let begun = on_processor();
    let read = read_in(&folder, "x.txt", &bytes, &templates[..3])
        .or_else(|_| read_in(&folder, "x.xml", &bytes, &templates));
    let seconds = on_processor() - begun;
    let peak = memory("VmHWM").saturating_sub(before);
    if let Err(error) = &read {
        let text = error.to_string();
        assert!(text.len() < 4000, "{} {}", text.len(), text.chars().take(300).collect::<String>());
    }
    println!("cost {peak} {seconds} {}", read.is_ok() == sound);
}

#[test]
fn no_input_costs_more_than_its_budget() {
    for name in NAMES {
        let told = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "limits::one_input_in_a_process_of_its_own", "--nocapture"])
            .env(ASKED, name)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&told.stdout);
        let line = text.lines().find_map(|line| line.split_once("cost ")).map(|(_, line)| line.to_owned());
        let line = line.unwrap_or_else(|| panic!("{name}: {text}{}", String::from_utf8_lossy(&told.stderr)));
        let parts: Vec<&str> = line.split_whitespace().collect();
        let (peak, seconds): (u64, f64) = (parts[0].parse().unwrap(), parts[1].parse().unwrap());
        println!("{name}: {peak} kB, {seconds:.2} s, {}", parts[2]);
        assert!(peak <= MOST_MEMORY_KB, "{name}: {peak} kB");
        assert!(seconds <= MOST_SECONDS, "{name}: {seconds} s");
        assert_eq!(parts[2], "true", "{name}: read or refused as it should not be");
    }
}

/// The measure itself: memory that is taken is seen.
#[test]
fn the_measure_sees_memory() {
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
    let before = memory("VmRSS");
    let taken = vec![1_u8; 80 * 1024 * 1024];
    assert!(taken.iter().all(|byte| *byte == 1));
    assert!(memory("VmHWM") - before > MOST_MEMORY_KB);
    assert!(
        read_in(
            &FolderRules::undeclared(Brings::Measurements),
            "x",
            PER_EYE_FILE.as_bytes(),
            &[template(PER_EYE)]
        )
        .is_ok()
    );
}
