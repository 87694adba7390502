//! The papers say what the code says: findings, sources, the room table, the proofs, the links.

use std::path::{Component, Path, PathBuf};

use axiswright::cite;
use axiswright::finding::Code;

use crate::repo;
use crate::table::{OUTSIDE, ROOMS};

/// Rows of a Markdown table: lines that begin with a bar, cut into trimmed cells; without heads and rules.
fn rows(page: &str) -> Vec<Vec<String>> {
    page.lines()
        .filter(|line| line.starts_with("| ") && !line.starts_with("| ---"))
        .map(|line| line.trim_matches('|').split(" | ").map(|cell| cell.trim().to_owned()).collect())
        .collect()
}

fn codes_without_a_row(page: &str) -> Vec<String> {
    let rows = rows(page);
    Code::ALL
        .iter()
        .filter(|code| {
            let mine = |row: &&Vec<String>| {
                row.first().is_some_and(|cell| cell == code.reference())
                    && row.get(1).is_some_and(|cell| *cell == format!("`{}`", code.slug()))
            };
            rows.iter().filter(mine).count() != 1
        })
        .map(ToString::to_string)
        .collect()
}

#[test]
fn every_finding_has_its_row() {
    let page = repo::text("docs/FINDINGS.md");
    repo::none(&codes_without_a_row(&page));
    let without: String =
        page.lines().filter(|line| !line.starts_with("| A01 |")).collect::<Vec<_>>().join("\n");
    assert_eq!(codes_without_a_row(&without), ["A01 astigmatism-disagrees"]);
}

/// Sources declared in a text that its `ALL` leaves out.
fn sources_left_out(text: &str) -> Vec<String> {
    let declared =
        text.lines().filter_map(|line| line.strip_prefix("pub const ")?.strip_suffix(": Source = Source {"));
    let all = text.split_once("pub const ALL").map_or("", |(_, rest)| rest);
    declared
        .filter(|name| !all.lines().any(|line| line.trim().trim_end_matches(',') == *name))
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_source_is_listed_and_printed() {
    let text = repo::text("src/cite/sources.rs");
    repo::none(&sources_left_out(&text));
    let declared = text.matches(": Source = Source {").count();
    assert_eq!(declared, cite::ALL.len());
    assert_eq!(rows(&cite::sources_page()).len(), declared + 1, "one row each, and the head");
    let mut short: Vec<&str> = cite::ALL.iter().map(|source| source.short).collect();
    short.sort_unstable();
    short.dedup();
    assert_eq!(short.len(), declared, "two sources have one short name");
    let spoilt = text.replace("    HAIGIS_2000,\n", "");
    assert_eq!(sources_left_out(&spoilt), ["HAIGIS_2000"]);
}

#[test]
fn the_committed_page_of_sources_is_the_codes() {
    let printed = cite::sources_page();
    assert!(repo::text("docs/SOURCES.md") == printed, "docs/SOURCES.md should be:\n{printed}");
}

/// The rows of the room table as the architecture page must print them: room, rooms it may name, crates, acts.
fn room_rows() -> Vec<[String; 4]> {
    let ticked = |names: Vec<&str>| {
        if names.is_empty() {
            return "-".to_owned();
        }
        names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(" ")
    };
    ROOMS
        .iter()
        .map(|room| {
            let own = |place: &&str| place.split('/').next() == Some(room.name);
            let crates: Vec<&str> = OUTSIDE
                .iter()
                .filter(|outside| outside.places.iter().any(own))
                .map(|outside| outside.name)
                .collect();
            let acts = if room.effects { "yes" } else { "no" };
            [format!("`{}`", room.name), ticked(room.names.to_vec()), ticked(crates), acts.to_owned()]
        })
        .collect()
}

fn printed_room_rows(page: &str) -> Vec<[String; 4]> {
    rows(page)
        .into_iter()
        .filter(|row| row.len() == 5 && matches!(row[4].as_str(), "yes" | "no"))
        .map(|row| [row[0].clone(), row[2].clone(), row[3].clone(), row[4].clone()])
        .collect()
}

#[test]
fn the_architecture_page_prints_the_table_that_is_enforced() {
    let page = repo::text("docs/ARCHITECTURE.md");
    let printed = printed_room_rows(&page);
    for row in room_rows() {
        assert!(
            printed.contains(&row),
            "docs/ARCHITECTURE.md lacks: | {} | … | {} |",
            row[0],
            row[1..].join(" | ")
        );
    }
    assert_eq!(printed.len(), ROOMS.len());
    let spoilt = page.replace("| `units` `cite` | - | no |", "| `units` `cite` `model` | - | no |");
    assert_ne!(printed_room_rows(&spoilt), printed);
}

/// Proofs a page names (`tests/…/….rs::name`) that are not there. `text_of` gives the text of a file.
fn proofs_missing(page: &str, text_of: &dyn Fn(&str) -> Option<String>) -> Vec<String> {
    page.split('`')
        .skip(1)
        .step_by(2)
        .filter_map(|ticked| ticked.split_once(".rs::"))
        .filter(|(file, name)| {
            let text = text_of(&format!("{file}.rs"));
            !text.is_some_and(|text| text.contains(&format!("fn {name}(")))
        })
        .map(|(file, name)| format!("{file}.rs has no `{name}`"))
        .collect()
}

fn text_if_there(name: &str) -> Option<String> {
    std::fs::read_to_string(repo::top().join(name)).ok()
}

#[test]
fn every_proof_named_in_a_paper_is_there() {
    let mut named = 0;
    for file in papers() {
        let page = repo::text(&file);
        named += page.matches(".rs::").count();
        repo::none(&proofs_missing(&page, &text_if_there));
    }
    assert!(named > 10, "{named}");
    let page = "`tests/house/papers.rs::no_such_test` and `tests/none.rs::a`";
    assert_eq!(proofs_missing(page, &text_if_there).len(), 2);
}

fn papers() -> Vec<String> {
    repo::files()
        .into_iter()
        .filter(|file| Path::new(file).extension().is_some_and(|ending| ending == "md"))
        .collect()
}

/// Links of a page to files that are not there.
fn dead_links(file: &str, page: &str) -> Vec<String> {
    page.split("](")
        .skip(1)
        .filter_map(|rest| rest.split_once(')'))
        .map(|(target, _)| target.split('#').next().unwrap())
        .filter(|target| !target.is_empty() && !target.contains("://"))
        .filter(|target| {
            let mut path = PathBuf::from(file);
            path.pop();
            for part in Path::new(target).components() {
                match part {
                    Component::ParentDir => {
                        path.pop();
                    }
                    Component::CurDir => {}
                    Component::Normal(_) | Component::RootDir | Component::Prefix(_) => path.push(part),
                }
            }
            !repo::top().join(path).exists()
        })
        .map(|target| format!("{file}: `{target}` is not there"))
        .collect()
}

#[test]
fn every_link_leads_somewhere() {
    let faults: Vec<String> = papers().iter().flat_map(|file| dead_links(file, &repo::text(file))).collect();
    repo::none(&faults);
    assert_eq!(dead_links("docs/A.md", "[x](../LICENSE-MIT) [y](NONE.md#z) [z](#here)").len(), 1);
}

/// Papers the project always has.
const PAPERS: &[&str] = &[
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "docs/ARCHITECTURE.md",
    "docs/DESIGN.md",
    "docs/FINDINGS.md",
    "docs/GLOSSARY.md",
    "docs/KNOWN-LIMITS.md",
    "docs/LEDGER.md",
    "docs/SOURCES.md",
];

#[test]
fn the_papers_are_there_and_changed_numbers_have_their_heading() {
    let papers = papers();
    for wanted in PAPERS {
        assert!(papers.iter().any(|file| file == wanted), "{wanted}");
    }
    assert!(repo::text("CHANGELOG.md").contains("### Changed numbers"));
}

/// Hosts of package registries, each in two halves so that this list is no find.
const HOSTS: [(&str, &str); 5] =
    [("crates", ".io"), ("pypi", ".org"), ("npmjs", ".com"), ("npmjs", ".org"), ("debian", ".org")];

fn hosts(text: &str) -> Vec<String> {
    HOSTS.iter().map(|(a, b)| format!("{a}{b}")).filter(|host| text.contains(host)).collect()
}

#[test]
fn registries_are_called_by_name_and_not_by_host() {
    let faults: Vec<String> = repo::files()
        .into_iter()
        .filter(|file| !["Cargo.lock", "fuzz/Cargo.lock"].contains(&file.as_str()))
        .flat_map(|file| {
            let bytes = std::fs::read(repo::top().join(&file)).unwrap();
            hosts(&String::from_utf8_lossy(&bytes))
                .into_iter()
                .map(move |host| format!("{file}: names {host}"))
        })
        .collect();
    repo::none(&faults);
    assert_eq!(hosts(&format!("index of {}{}", "pypi", ".org")).len(), 1);
}
