//! Every test of this folder names its source.

/// Source: common practice of this project: a test without a source proves nothing.
/// Checked: reads the folder.
#[test]
#[expect(clippy::disallowed_methods, reason = "a test of the folder reads the folder")]
fn every_test_names_its_source() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/published");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "rs") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        for (place, _) in lines.iter().enumerate().filter(|(_, line)| **line == "#[test]") {
            let above: Vec<&str> =
                lines[..place].iter().rev().take_while(|line| line.starts_with("///")).copied().collect();
            let first = above.last().copied().unwrap_or_default();
            assert!(first.starts_with("/// Source:"), "{} line {}", path.display(), place + 1);
            assert!(above.iter().any(|line| line.starts_with("/// Checked:")), "{}", path.display());
            seen += 1;
        }
    }
    assert!(seen > 10);
}
