//! Any order of arrival of the same files ends in the same current sheets.

use std::collections::BTreeMap;

use crate::clinic::{Clinic, Said, exports};

/// A small generator (splitmix64), so that every run walks the same orders.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        usize::try_from((z ^ (z >> 31)) % u64::try_from(limit).unwrap()).unwrap()
    }
}

/// What a site comes to when the files arrive in this order, in groups of at most so many.
fn arrives(seed: u64, most: usize) -> BTreeMap<String, Said> {
    let mut seeded = Seeded(seed);
    let (mut files, list): (Vec<_>, Vec<_>) =
        exports().into_iter().partition(|(folder, ..)| folder != "theatre-lists");
    for last in (1..files.len()).rev() {
        files.swap(last, seeded.below(last + 1));
    }
    // The list comes first, last, or anywhere.
    let at = match seed % 3 {
        0 => 0,
        1 => files.len(),
        _ => seeded.below(files.len() + 1),
    };
    for one in list {
        files.insert(at, one);
    }
    let mut clinic = Clinic::empty();
    let mut left = files.as_slice();
    while !left.is_empty() {
        let (group, rest) = left.split_at((1 + seeded.below(most)).min(left.len()));
        for (folder, name, bytes) in group {
            clinic.put(folder, name, bytes);
        }
        clinic.pass();
        left = rest;
    }
    clinic.said()
}

fn same(seeds: std::ops::Range<u64>, most: usize) {
    let at_once = Clinic::busy().said();
    for seed in seeds {
        assert_eq!(arrives(seed, most), at_once, "seed {seed}, groups of at most {most}");
    }
}

#[test]
fn one_file_per_pass() {
    same(0..1, 1);
}

#[test]
fn in_small_groups() {
    same(1..15, 8);
}

#[test]
fn in_larger_groups() {
    same(15..30, 16);
}

#[test]
fn two_deliveries_of_one_examination_with_other_values() {
    let name = "K2_EL-20417_B_20260302.csv";
    let one = String::from_utf8(crate::clinic::export("halden-k2", name)).unwrap();
    let other = crate::clinic::with(&one, "45,08", "44,98");
    let ends = |files: &[&String]| {
        let mut clinic = Clinic::empty();
        for (folder, name, bytes) in exports().into_iter().filter(|(_, own, _)| own != name) {
            clinic.put(&folder, &name, &bytes);
        }
        for bytes in files {
            clinic.put("halden-k2", name, bytes);
            clinic.pass();
        }
        clinic.said()
    };
    let end = ends(&[&one, &other]);
    assert_eq!(end, ends(&[&other, &one]));
    let flagged: Vec<_> = end["EL-20417 right"].findings.iter().filter(|(code, ..)| code != "L11").collect();
    assert_eq!(flagged, [&("D04".to_owned(), "sign-off".to_owned(), false)]);
    assert_ne!(end, ends(&[&one]));
}

#[test]
fn another_file_ends_elsewhere() {
    // The control: the comparison sees a case, a finding and a sheet.
    let at_once = Clinic::busy().said();
    assert_eq!(at_once.len(), 10);
    let mut clinic = Clinic::busy();
    clinic.put("halden-k2", crate::clinic::SELMA_FILE, crate::clinic::selma());
    clinic.pass();
    assert_ne!(clinic.said(), at_once);
}
