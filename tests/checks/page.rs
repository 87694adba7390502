//! The printed list of findings is the code's.

use axiswright::checks::{Settings, findings_page};
use axiswright::finding::Code;

#[test]
fn the_committed_page_is_the_codes() {
    let committed = include_str!("../../docs/FINDINGS.md");
    let printed = findings_page();
    assert!(committed == printed, "docs/FINDINGS.md should be:\n{printed}");
}

#[test]
fn every_code_has_a_line_and_every_limit_a_rule() {
    let printed = findings_page();
    for code in Code::ALL {
        assert!(printed.contains(&format!("| {} | `{}` |", code.reference(), code.slug())), "{code}");
    }
    let settings = Settings::default();
    for (name, limit) in settings.all() {
        let used = Code::ALL.iter().any(|code| settings.of(*code).iter().any(|(own, _)| *own == name));
        assert!(used, "{name} belongs to no rule");
        assert!(limit.value.is_finite());
    }
}

#[test]
fn a_limit_is_set_by_its_name() {
    let mut settings = Settings::default();
    settings.named_mut("a01_refuse").unwrap().value = 1.25;
    assert!((settings.a01_refuse.value - 1.25).abs() < 1e-12);
    assert!(settings.named_mut("a99").is_none());
}
