//! What other people's programs read on the paper: poppler's text, fonts and pictures, zbar's code.

use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

use axiswright::model::Eye;
use axiswright::sheet::{clear_code, code, printed_numbers};
use axiswright::units::round;

use crate::demo::{Plans, copy_of_demo, plans, sheets, slips};
use crate::found::{folder, program, run};

/// Text with every run of blanks as one.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The pages of a PDF as poppler reads them, in one of its two orders.
fn pages(pdf: &Path, order: &str) -> Option<Vec<String>> {
    let tool = program("pdftotext", "poppler-utils", "the text of the sheets")?;
    let said = run(Command::new(tool).args([order, "-enc", "UTF-8"]).arg(pdf).arg("-"));
    assert_eq!(said.code, Some(0), "{}", said.all());
    let mut pages: Vec<String> = said.out.split('\u{c}').map(str::to_owned).collect();
    assert_eq!(pages.pop().as_deref(), Some(""));
    Some(pages)
}

fn demo_plans() -> &'static Plans {
    static PLANS: OnceLock<Plans> = OnceLock::new();
    PLANS.get_or_init(|| plans(&copy_of_demo("text").join("site")))
}

/// How often `part` stands in a text, whole: not inside a longer number.
fn count(text: &str, part: &str) -> usize {
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    text.match_indices(part)
        .filter(|(at, _)| {
            let before = digit(text[..*at].chars().next_back()) && digit(part.chars().next());
            let after = digit(text[at + part.len()..].chars().next()) && digit(part.chars().next_back());
            !before && !after
        })
        .count()
}

/// Source: poppler `pdftotext`, in the order of the layout and in that of the content.
/// Checked: every number of the plan, worked out again from the kept evidence, stands in the text of its sheet as often as
/// the plan has it; name, eye, axis, box line; the record's digest is the ledger's. The control looks for the numbers of
/// another sheet.
#[test]
fn every_number_of_a_plan_stands_on_its_sheet() {
    let mut texts = Vec::new();
    for planned in &demo_plans().planned {
        let (Some(layout), Some(raw)) = (pages(&planned.path, "-layout"), pages(&planned.path, "-raw"))
        else {
            return;
        };
        let (layout, raw) = (plain(&layout.join(" ")), plain(&raw.join(" ")));
        let numbers = printed_numbers(&planned.released, &planned.facts);
        assert!(numbers.len() > 30, "{}", numbers.len());
        texts.push((planned, layout, raw, numbers));
    }
    assert_eq!(texts.len(), sheets().len());
    let mut checked = 0;
    for (planned, layout, raw, numbers) in &texts {
        let name = planned.path.display();
        let close = raw.replace(' ', "");
        for (tag, text) in numbers {
            let wanted = plain(text);
            let often = numbers.iter().filter(|(_, other)| plain(other) == wanted).count();
            let stands = if matches!(tag.as_str(), "digest" | "head") {
                count(&close, &wanted.replace(' ', ""))
            } else {
                count(layout, &wanted).max(count(raw, &wanted))
            };
            assert!(stands >= often, "{name}: `{tag}` = `{wanted}` stands {stands} times of {often}");
            checked += 1;
        }
        let digest = numbers.iter().find(|(tag, _)| tag == "digest").unwrap();
        assert_eq!(digest.1, planned.record, "{name}");
        let computation = planned.released.plan().computation();
        assert!(layout.contains(&plain(&computation.lens().unwrap().box_line)), "{name}");
        if let Some(axis) = computation.lens().unwrap().axis {
            assert!(count(layout, &format!("{}°", round::meridian(axis))) > 0, "{name}");
        }
    }
    eprintln!("{checked} numbers on {} sheets", texts.len());
    let others = texts[0].3.iter().filter(|(_, text)| {
        let wanted = plain(text);
        count(&texts[1].1, &wanted).max(count(&texts[1].2, &wanted)) == 0
    });
    assert!(others.count() > 20);
}

/// Source: poppler `pdftotext`.
/// Checked: each page of a sheet names its patient and its eye, never the other eye, and no other patient of the list; no
/// slip names another patient.
#[test]
fn every_page_names_one_patient_and_one_eye() {
    let plans = demo_plans();
    let of = |pdf: &Path| {
        let name = pdf.file_name().unwrap().to_string_lossy().into_owned();
        plans.listed.iter().find(|listed| name.starts_with(listed.case.as_str())).unwrap()
    };
    let mut seen = 0;
    for pdf in sheets().iter().chain(&slips()) {
        let own = of(pdf);
        let Some(pages) = pages(pdf, "-layout") else { return };
        for page in &pages {
            assert!(plain(page).contains(&own.printed), "{}", pdf.display());
            for other in plans.listed.iter().filter(|other| other.number != own.number) {
                // Two of the demo share their family name; their numbers tell them apart.
                let shared = other.family == own.family;
                assert!(shared || !page.contains(&other.family), "{}: {}", pdf.display(), other.family);
                assert!(!page.contains(&other.number), "{}: {}", pdf.display(), other.number);
            }
            seen += 1;
        }
    }
    for planned in &plans.planned {
        let eye = planned.released.plan().computation().eye;
        let other = if eye == Eye::Right { Eye::Left } else { Eye::Right };
        for page in pages(&planned.path, "-layout").unwrap() {
            let page = plain(&page);
            let word = |word: &str| page.split(|c: char| !c.is_alphanumeric()).any(|part| part == word);
            assert!(page.contains(&format!("{} EYE", eye.capitals())), "{}", planned.path.display());
            assert!(word(eye.code()) && !word(other.code()), "{}", planned.path.display());
            assert!(!page.contains(&format!("{} EYE", other.capitals())), "{}", planned.path.display());
        }
    }
    eprintln!("{seen} pages");
}

/// Numbers in dioptres, millimetres or degrees.
fn measures(text: &str) -> Vec<String> {
    let text = plain(text);
    let mut found = Vec::new();
    for (at, digit) in text.char_indices().filter(|(_, c)| c.is_ascii_digit()) {
        let rest = text[at + digit.len_utf8()..].trim_start();
        for unit in ["D", "mm", "µm", "°", "deg", "dpt", "diop"] {
            let word = unit.chars().next_back().is_some_and(char::is_alphanumeric);
            let Some(after) = rest.strip_prefix(unit) else { continue };
            if unit == "deg" || !word || !after.starts_with(char::is_alphanumeric) {
                found.push(text[at..].chars().take(12).collect());
            }
        }
    }
    found
}

/// Source: poppler `pdftotext`.
/// Checked: no slip carries a number in dioptres, millimetres or degrees; the control finds many on every sheet.
#[test]
fn no_slip_carries_a_measure() {
    for pdf in slips() {
        for order in ["-layout", "-raw"] {
            let Some(pages) = pages(&pdf, order) else { return };
            assert_eq!(measures(&pages.join(" ")), Vec::<String>::new(), "{}", pdf.display());
        }
    }
    for pdf in sheets() {
        let found = measures(&pages(&pdf, "-layout").unwrap().join(" "));
        assert!(found.len() > 20, "{}: {found:?}", pdf.display());
    }
}

/// Source: poppler `pdffonts`.
/// Checked: every font of every sheet and slip is embedded, a subset, and maps to Unicode.
#[test]
fn every_font_is_embedded() {
    let Some(tool) = program("pdffonts", "poppler-utils", "the fonts of the sheets") else { return };
    for pdf in sheets().iter().chain(&slips()) {
        let said = run(Command::new(&tool).arg(pdf));
        let lines: Vec<&str> = said.out.lines().skip(2).collect();
        assert!(said.code == Some(0) && !lines.is_empty(), "{}", said.all());
        for line in lines {
            assert!(plain(line).contains(" yes yes yes "), "{}: {line}", pdf.display());
        }
    }
}

/// Source: poppler `pdftoppm` and zbar `zbarimg`.
/// Checked: at 150 dpi the first page of every sheet carries one code, that of the plan, whose beginning stands beside it
/// in clear.
#[test]
fn the_code_is_read_from_the_picture() {
    let (Some(paint), Some(scan)) = (
        program("pdftoppm", "poppler-utils", "the code on the sheets"),
        program("zbarimg", "zbar-tools", "the code on the sheets"),
    ) else {
        return;
    };
    let folder = folder("pictures");
    for planned in &demo_plans().planned {
        let name = planned.facts.case.as_str();
        let to = folder.join(name);
        let painted = run(Command::new(&paint)
            .args(["-r", "150", "-gray", "-png", "-f", "1", "-l", "1", "-singlefile"])
            .arg(&planned.path)
            .arg(&to));
        assert_eq!(painted.code, Some(0), "{}", painted.all());
        let said = run(Command::new(&scan).args(["--raw", "-q"]).arg(to.with_extension("png")));
        let wanted = code(&planned.released, &planned.facts).unwrap();
        assert_eq!(said.out.trim(), wanted, "{name}: {}", said.err);
        if let Some(pages) = pages(&planned.path, "-layout") {
            assert!(plain(&pages[0]).contains(&clear_code(&wanted).unwrap()), "{name}");
        }
    }
}
