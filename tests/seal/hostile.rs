//! Bytes that are no sheet: an error or a verdict, never a panic, never long.

use axiswright::seal::{Certificate, EncryptedKey, SealError, SigningKey, prepare, verify};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::common::{Site, is_refused, seal_request, sheet};

fn runner(cases: u32) -> TestRunner {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[42; 32]);
    TestRunner::new_with_rng(Config { cases, failure_persistence: None, ..Config::default() }, rng)
}

#[test]
fn garbage_is_an_error() {
    let deep = format!("%PDF-1.7\n1 0 obj\n{}", "[".repeat(1_000_000));
    let wide = format!("%PDF-1.7\n1 0 obj\n[{}]", "0 ".repeat(2_000_000));
    let keys: String = (0..100_000).map(|i| format!("/K{i} 0")).collect();
    let many = format!("%PDF-1.7\n1 0 obj\n<<{keys}>>\nendobj\n");
    let table = "%PDF-1.7\n1 0 obj\nnull\nendobj\nxref\n0 999999999999\n0000000000 65535 f \n".to_owned();
    let stream = "%PDF-1.7\n1 0 obj\n<</Length 99999999999999>>stream\n".to_owned();
    for text in ["", "x", "%PDF-1.7", "%PDF-1.7\n", "%PDF-2.0\n", &deep, &wide, &many, &table, &stream] {
        assert!(matches!(verify(text.as_bytes(), &[]), Err(SealError::Damaged { .. })));
    }
    assert!(matches!(verify(&vec![b' '; 33 << 20], &[]), Err(SealError::TooLarge { .. })));
}

#[test]
fn random_bytes_do_not_panic() {
    runner(2000)
        .run(&prop::collection::vec(any::<u8>(), 0..400), |bytes| {
            let headed = [b"%PDF-1.7\n1 0 obj\n", &bytes[..]].concat();
            prop_assert!(verify(&bytes, &[]).is_err() && verify(&headed, &[]).is_err());
            prop_assert!(prepare(&headed, &seal_request()).is_err());
            prop_assert!(Certificate::from_der(&bytes).is_err());
            let text = String::from_utf8_lossy(&bytes);
            prop_assert!(Certificate::from_pem(&text).is_err() && EncryptedKey::from_pem(&text).is_err());
            prop_assert!(SigningKey::from_pem(&text).is_err());
            Ok(())
        })
        .unwrap();
}

#[test]
fn edited_sheets_do_not_panic_and_do_not_pass() {
    let site = Site::live();
    let sealed = site.sealed(&sheet());
    let approved = site.approved(&sealed);
    let edit = (any::<prop::sample::Index>(), 0..40_usize, prop::collection::vec(any::<u8>(), 0..40));
    runner(1500)
        .run(&edit, |(at, removed, added)| {
            let at = at.index(approved.len());
            let end = (at + removed).min(approved.len());
            let mut edited = approved.clone();
            edited.splice(at..end, added);
            prop_assert!(edited == approved || edited == sealed || is_refused(&site.judge(&edited)));
            Ok(())
        })
        .unwrap();
}
