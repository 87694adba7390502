use axiswright::seal::{
    Authority, AuthorityRequest, Certificate, Credential, LeafRequest, Role, SealError, SigningKey, UtcTime,
};

use crate::common::{Site, key};

fn year(year: u16) -> UtcTime {
    UtcTime::new(year, 1, 1, 0, 0, 0).unwrap()
}

fn authority_named(site: &str, test: bool) -> Result<Authority, SealError> {
    let request = AuthorityRequest {
        site,
        test,
        not_before: year(2026),
        not_after: year(2051),
        serial_entropy: [0xff; 16],
    };
    Authority::create(key(1), &request)
}

fn surgeon(authority: &Authority, person: &str) -> Result<Certificate, SealError> {
    let request = LeafRequest {
        person: Some(person),
        not_before: year(2026),
        not_after: year(2031),
        serial_entropy: [0; 16],
    };
    authority.issue(&key(2).public_key(), &request)
}

#[test]
fn certificates_name_site_person_and_role() {
    let site = Site::live();
    let authority = site.authority.certificate();
    assert_eq!(
        (authority.signer().as_str(), authority.role()),
        ("Documents authority, Hillside Eye Clinic", Role::Authority)
    );
    let bridge = site.bridge.certificate();
    assert_eq!((bridge.signer().as_str(), bridge.role()), ("Bridge seal, Hillside Eye Clinic", Role::Seal));
    let surgeon = site.surgeon.certificate();
    assert_eq!((surgeon.common_name(), surgeon.role()), ("Dr Ilse Anvärd", Role::Approval));
    assert!(!surgeon.is_test());
    assert_eq!((surgeon.not_before(), surgeon.not_after()), (year(2026), year(2031)));
    assert!(surgeon.is_issued_by(authority) && authority.is_issued_by(authority));
    assert!(!authority.is_issued_by(surgeon) && !surgeon.is_issued_by(bridge));
    assert!(!surgeon.is_issued_by(Site::other().authority.certificate()));
}

#[test]
fn test_sites_say_so_in_every_certificate() {
    let site = Site::new("Hillside Eye Clinic", true, 1);
    for certificate in [site.authority.certificate(), site.bridge.certificate(), site.surgeon.certificate()] {
        assert!(certificate.is_test());
        assert!(certificate.common_name().starts_with("TEST "));
        assert_eq!(certificate.site(), "Hillside Eye Clinic");
    }
}

#[test]
fn pem_and_der_come_back() {
    let site = Site::live();
    let certificate = site.surgeon.certificate();
    assert_eq!(Certificate::from_der(certificate.der()).unwrap(), *certificate);
    assert_eq!(Certificate::from_pem(&certificate.to_pem().unwrap()).unwrap(), *certificate);
    assert_eq!(certificate.fingerprint(), axiswright::seal::sha256(certificate.der()));
}

#[test]
fn the_same_input_gives_the_same_certificate() {
    assert_eq!(Site::live().bridge.certificate().der(), Site::live().bridge.certificate().der());
}

#[test]
fn every_changed_byte_is_unreadable_or_breaks_the_issue() {
    let site = Site::live();
    let der = site.surgeon.certificate().der();
    for i in 0..der.len() {
        let mut changed = der.to_vec();
        changed[i] ^= 0x20;
        let stands =
            Certificate::from_der(&changed).is_ok_and(|c| c.is_issued_by(site.authority.certificate()));
        assert!(!stands, "byte {i}");
    }
}

#[test]
fn impossible_names_are_refused() {
    let long = "x".repeat(65);
    for site in
        ["", "  ", " Hillside", "Hill\nside", "Hill\u{202e}side", "Test clinic", "TEST", long.as_str()]
    {
        assert!(matches!(authority_named(site, false), Err(SealError::Text { .. })), "{site:?}");
    }
    let authority = authority_named(&"y".repeat(64), false).unwrap();
    let long = "z".repeat(60);
    for person in
        ["", "Dr\0", "test person", "bridge SEAL", "Documents Authority", "a\u{200b}b", long.as_str()]
    {
        assert!(matches!(surgeon(&authority, person), Err(SealError::Text { .. })), "{person:?}");
    }
    for person in ["Ng", "Ελένη Παπαδοπούλου", "O'Neill-Ødegård, Åsa", "क्\u{200d}ष", &"z".repeat(59)]
    {
        assert_eq!(surgeon(&authority, person).unwrap().common_name(), person);
    }
    let test = authority_named("Contest Hill", true).unwrap();
    assert_eq!(surgeon(&test, "Ng").unwrap().common_name(), "TEST Ng");
}

#[test]
fn impossible_validities_are_refused() {
    let authority = authority_named("Hillside Eye Clinic", false).unwrap();
    for (from, to) in [(2025, 2030), (2026, 2052), (2030, 2030), (2031, 2030)] {
        let request = LeafRequest {
            person: None,
            not_before: year(from),
            not_after: year(to),
            serial_entropy: [3; 16],
        };
        let issued = authority.issue(&key(2).public_key(), &request);
        assert!(matches!(issued, Err(SealError::Validity { .. })), "{from} {to}");
    }
}

#[test]
fn a_credential_must_fit_together() {
    let (site, other) = (Site::live(), Site::other());
    let certificate = site.bridge.certificate().clone();
    let trusted = site.authority.certificate().clone();
    let made = |key: SigningKey, certificate: &Certificate, authority: &Certificate| {
        Credential::new(key, certificate.clone(), authority.clone())
    };
    assert!(made(key(2), &certificate, &trusted).is_ok());
    assert!(matches!(made(key(9), &certificate, &trusted), Err(SealError::Mismatch { .. })));
    assert!(matches!(
        made(key(2), &certificate, other.authority.certificate()),
        Err(SealError::Mismatch { .. })
    ));
    assert!(matches!(made(key(1), &trusted, &trusted), Err(SealError::Mismatch { .. })));
    assert!(Authority::from_parts(key(1), trusted.clone()).is_ok());
    assert!(Authority::from_parts(key(2), trusted).is_err());
    assert!(Authority::from_parts(key(2), certificate).is_err());
}
