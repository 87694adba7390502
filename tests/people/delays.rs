//! Delays after wrong passphrases.

use axiswright::people::{LONGEST_DELAY_S, PeopleError};
use jiff::Timestamp;

use crate::common::{at, login, right, site, wrong};

/// When the account is locked until, if it is.
fn locked(result: &Result<axiswright::people::Verified, PeopleError>) -> Option<Timestamp> {
    match result {
        Err(PeopleError::Locked { until }) => Some(*until),
        _ => None,
    }
}

#[test]
fn five_wrong_ones_cost_a_delay_that_doubles() {
    let site = site();
    for n in 0..5 {
        assert!(matches!(site.people.verify("odo", &wrong(), at(n)), Err(PeopleError::Refused)), "{n}");
    }
    assert_eq!(locked(&site.people.verify("odo", &right(), at(5))), Some(at(34)), "the right one waits too");
    assert_eq!(
        site.people.account(&login("odo")).unwrap().failed(),
        5,
        "what is not looked at is not counted"
    );
    assert!(matches!(site.people.verify("odo", &wrong(), at(34)), Err(PeopleError::Refused)));
    assert_eq!(locked(&site.people.verify("odo", &wrong(), at(35))), Some(at(34 + 60)));
    assert!(matches!(site.people.verify("odo", &wrong(), at(94)), Err(PeopleError::Refused)));
    assert_eq!(locked(&site.people.verify("odo", &wrong(), at(95))), Some(at(94 + 120)));

    site.people.verify("nora", &right(), at(95)).unwrap();
    site.people.verify("odo", &right(), at(94 + 120)).unwrap();
    let account = site.people.account(&login("odo")).unwrap();
    assert_eq!((account.failed(), account.locked_until()), (0, None));
}

#[test]
fn the_delay_ends_somewhere_and_it_can_end_it() {
    let site = site();
    let mut now = 0;
    for _ in 0..40 {
        match site.people.verify("odo", &wrong(), at(now)) {
            Err(PeopleError::Locked { until }) => {
                let wait = until.duration_since(at(now)).as_secs();
                assert!(wait <= LONGEST_DELAY_S, "{wait}");
                now += wait;
            }
            other => assert!(matches!(other, Err(PeopleError::Refused))),
        }
    }
    assert!(now > 2 * LONGEST_DELAY_S);
    assert!(locked(&site.people.verify("odo", &right(), at(now - 1))).is_some());
    site.people.unlock(&login("odo")).unwrap();
    site.people.verify("odo", &right(), at(now - 1)).unwrap();
}

#[test]
fn a_name_nobody_has_is_delayed_alike() {
    let site = site();
    for (known, unknown) in (0..8)
        .map(|n| (site.people.verify("odo", &wrong(), at(n)), site.people.verify("nobody", &wrong(), at(n))))
    {
        assert_eq!(locked(&known), locked(&unknown));
        assert_eq!(known.unwrap_err().to_string(), unknown.unwrap_err().to_string());
    }
    assert_eq!(site.people.list().unwrap().len(), 2, "strangers are no accounts");
}

#[test]
fn many_strangers_do_not_make_the_file_grow_without_end() {
    let site = site();
    for n in 0..260 {
        drop(site.people.verify(&format!("guest-{n}"), &wrong(), at(n)));
    }
    let text = std::fs::read_to_string(site.path()).unwrap();
    assert_eq!(text.matches("\"guest-").count(), 200);
    assert!(!text.contains("\"guest-0\"") && text.contains("\"guest-259\""));
}

#[test]
fn many_tries_at_once_are_all_counted() {
    let site = site();
    let looked_at: usize = std::thread::scope(|scope| {
        let tries: Vec<_> =
            (0..20).map(|_| scope.spawn(|| site.people.verify("odo", &wrong(), at(0)))).collect();
        tries
            .into_iter()
            .filter(|_| true)
            .map(|one| usize::from(locked(&one.join().unwrap()).is_none()))
            .sum()
    });
    assert_eq!(looked_at, 5);
    assert!(locked(&site.people.verify("odo", &right(), at(1))).is_some());
}

/// Not a stopwatch but the count of work: a stranger costs what an account costs. Both are measured several times
/// and the better one counts, so that a busy machine does not decide.
#[test]
fn a_stranger_takes_as_long_as_an_account() {
    use axiswright::people::{Cost, People, Role};
    use std::time::Instant;
    let site = site();
    let people = People::open(&site.path(), Cost::standard()).unwrap();
    people.add(&login("ida"), "Ida Moss", &crate::common::roles(&[Role::Nurse]), &right()).unwrap();
    let fastest = |name: &str| {
        let times = (0..4).map(|n| {
            let start = Instant::now();
            assert!(people.verify(name, &wrong(), at(n)).is_err());
            start.elapsed()
        });
        times.min().unwrap().as_secs_f64()
    };
    let (known, unknown, odd) = (fastest("ida"), fastest("nobody"), fastest("No Body!"));
    for other in [unknown, odd] {
        assert!((0.5..2.0).contains(&(other / known)), "{known} s, {unknown} s, {odd} s");
    }
}
