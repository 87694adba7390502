//! Adding, changing, signing in.

use axiswright::people::{Passphrase, PeopleError, Role, SurgeonKey};

use crate::common::{at, empty, login, right, roles, site, wrong};

#[test]
fn nobody_is_there_until_somebody_is_added() {
    let site = empty();
    assert!(site.people.list().unwrap().is_empty());
    for name in ["admin", "root", "it", ""] {
        assert!(matches!(site.people.verify(name, &right(), at(0)), Err(PeopleError::Refused)), "{name}");
    }
}

#[test]
fn the_right_passphrase_and_only_that_lets_a_person_in() {
    let site = site();
    let nora = site.people.verify("nora", &right(), at(0)).unwrap();
    assert_eq!((nora.login(), nora.display_name()), (&login("nora"), "Nora Pennywhistle"));
    assert!(nora.is(Role::Nurse) && !nora.is(Role::Surgeon) && nora.roles().len() == 1);
    for (name, passphrase) in [
        ("nora", wrong()),
        ("nora", Passphrase::new("")),
        ("Nora", right()),
        ("nobody", right()),
        ("a/../b", right()),
    ] {
        assert!(matches!(site.people.verify(name, &passphrase, at(0)), Err(PeopleError::Refused)), "{name}");
    }
}

#[test]
fn what_is_added_is_checked() {
    let site = site();
    let (nurse, none) = (roles(&[Role::Nurse]), roles(&[]));
    let add =
        |name, shown, roles, words| site.people.add(&login(name), shown, roles, &Passphrase::new(words));
    assert!(matches!(
        add("nora", "Nora Other", &nurse, "marsh tandem oxbow"),
        Err(PeopleError::AccountExists { .. })
    ));
    assert!(matches!(add("ida", "", &nurse, "marsh tandem oxbow"), Err(PeopleError::BadDisplayName)));
    assert!(matches!(add("ida", " Ida", &nurse, "marsh tandem oxbow"), Err(PeopleError::BadDisplayName)));
    assert!(matches!(add("ida", "Ida\n", &nurse, "marsh tandem oxbow"), Err(PeopleError::BadDisplayName)));
    assert!(matches!(add("ida", "Ida Moss", &none, "marsh tandem oxbow"), Err(PeopleError::NoRole { .. })));
    assert!(matches!(add("ida", "Ida Moss", &nurse, "short"), Err(PeopleError::WeakPassphrase { .. })));
    assert!(matches!(
        add("ida", "Ida Moss", &nurse, "ida moss went away"),
        Err(PeopleError::WeakPassphrase { .. })
    ));
    assert_eq!(site.people.list().unwrap().len(), 2);
    add("ida", "Ida Moss", &nurse, "marsh tandem oxbow").unwrap();
    assert_eq!(site.people.list().unwrap().len(), 3);
}

#[test]
fn a_disabled_person_is_refused_like_a_wrong_passphrase_until_enabled() {
    let site = site();
    site.people.disable(&login("nora")).unwrap();
    assert!(site.people.account(&login("nora")).unwrap().is_disabled());
    assert!(matches!(site.people.verify("nora", &right(), at(0)), Err(PeopleError::Refused)));
    assert!(site.people.verify("odo", &right(), at(0)).is_ok());
    site.people.enable(&login("nora")).unwrap();
    site.people.verify("nora", &right(), at(1)).unwrap();
    for refused in [site.people.disable(&login("ida")), site.people.unlock(&login("ida"))] {
        assert!(matches!(refused, Err(PeopleError::NoSuchAccount { .. })));
    }
}

#[test]
fn a_reset_changes_the_passphrase_and_leaves_the_key_locked_as_it_was() {
    let site = site();
    let pem = |label: &str| format!("-----BEGIN {label}-----\nAAAA\n-----END {label}-----\n");
    let key = SurgeonKey::new(&pem("ENCRYPTED PRIVATE KEY"), &pem("CERTIFICATE")).unwrap();
    let refused = site.people.set_key(&login("nora"), key.clone());
    assert!(matches!(refused, Err(PeopleError::BadKey { .. })), "a nurse has no surgeon's key");
    assert_eq!(site.people.key(&login("odo")).unwrap(), None);
    site.people.set_key(&login("odo"), key.clone()).unwrap();
    assert!(site.people.account(&login("odo")).unwrap().has_key());

    assert!(site.people.reset(&login("odo"), &Passphrase::new("odo odo")).is_err());
    site.people.verify("odo", &right(), at(0)).unwrap();
    let new = Passphrase::new("copper lantern weir");
    site.people.reset(&login("odo"), &new).unwrap();
    assert!(matches!(site.people.verify("odo", &right(), at(1)), Err(PeopleError::Refused)));
    site.people.verify("odo", &new, at(2)).unwrap();
    assert_eq!(site.people.key(&login("odo")).unwrap(), Some(key));
}

#[test]
fn nothing_secret_is_shown() {
    let site = site();
    let shown = format!(
        "{:?} {:?} {:?} {:?}",
        site.people,
        site.people.list().unwrap(),
        site.people.verify("odo", &right(), at(0)).unwrap(),
        site.people.verify("odo", &wrong(), at(0)).unwrap_err(),
    );
    for secret in ["argon2", "marsh", "tandem"] {
        assert!(!shown.contains(secret), "{shown}");
    }
}
