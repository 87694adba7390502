//! Documents that are refused: hostile ones, broken ones, ones beyond a limit, and templates that cannot read any.

use axiswright::model::Eye;

use crate::support::{mapping, measurements, read_in, read_with, shown, template};
use crate::xml::{ONE, QUELL, read_quell, six};

fn refused(text: &str) -> String {
    match read_quell(text) {
        Ok(read) => panic!("read: {read:?}"),
        Err(error) => {
            assert!(!error.hint().is_empty());
            shown(&error)
        }
    }
}

fn twin(from: &str, to: &str) -> String {
    assert!(ONE.contains(from), "{from}");
    refused(&ONE.replacen(from, to, 1))
}

#[test]
fn hostile_documents() {
    let doctype = |inside: &str| ONE.replacen("?>\n", &format!("?>\n<!DOCTYPE Export [{inside}]>\n"), 1);
    let mut billion = "<!ENTITY a \"aaaaaaaaaa\">".to_owned();
    for n in 1..10 {
        let before = if n == 1 { "a".to_owned() } else { format!("a{}", n - 1) };
        billion.push_str(&format!("<!ENTITY a{n} \"{}\">", format!("&{before};").repeat(10)));
    }
    let expected = "structure - [line 2] the structure of the file is broken: a document type declaration, which no export needs";
    for text in [
        doctype(&billion).replace("T-1", "&a9;"),
        doctype("<!ENTITY x SYSTEM \"file:///etc/hostname\">").replace("T-1", "&x;"),
        doctype("<!ENTITY % x SYSTEM \"http://localhost/x\"> %x;"),
        doctype(""),
        ONE.replacen("?>\n", "?>\n<!DOCTYPE Export>\n", 1),
        ONE.replacen("?>\n", "?>\n<!DOCTYPE Export SYSTEM \"x.dtd\">\n", 1),
    ] {
        assert_eq!(refused(&text), expected);
    }
    assert!(twin("T-1", "&a9;").contains("[line 6] the structure of the file is broken: the entity `&a9;`"));
    // Declared UTF-8, written in another encoding.
    let (shift_jis, ..) = encoding_rs::SHIFT_JIS.encode(ONE);
    let mut bytes = shift_jis.into_owned();
    let at = bytes.windows(6).position(|six| six == b"Muster").unwrap();
    bytes.splice(at..at + 6, [0x95, 0x5C]);
    let error = read_with(QUELL, "q.xml", &bytes).unwrap_err();
    assert_eq!(shown(&error), "encoding - [line 7] the text is not utf-8: bytes that are no character of it");
    // Twenty thousand levels.
    let deep = format!("{}{}", "<a>".repeat(20_000), "</a>".repeat(20_000));
    assert!(refused(&deep).contains("elements nested deeper than 32"));
    // Power and axis exchanged.
    let exchanged = ONE.replacen("42.56", "X", 1).replacen(">173<", ">42.56<", 1).replacen('X', "173", 1);
    assert_eq!(
        refused(&exchanged),
        "value B11 [line 15, /Export/Exam/Eye[1]/Flat/Power] km.flat.power `173` is not between 20 and 80 D"
    );
}

#[test]
fn doubled_and_mixed_elements() {
    for (from, to, expected) in [
        (
            "<Power unit=\"D\">42.56</Power>",
            "<Radius unit=\"mm\">7.93</Radius>",
            "layout - [line 15, /Export/Exam/Eye[1]/Flat/Radius[2]] elements at `q:Flat/q:Radius`: expected one, found `2`",
        ),
        ("<Flat>", "<Flat/><Flat>", "[line 13, /Export/Exam/Eye[1]/Flat[2]] elements at `q:Flat/q:Radius`"),
        ("<Patient>", "<Patient/><Patient>", "elements at `../q:Patient/q:Id`: expected one, found `2`"),
        (
            "side=\"L\"",
            "side=\"R\"",
            "rows of the right eye in one examination: expected one, found `another`",
        ),
        ("index=", "side=\"R\" index=", "an attribute that stands twice in one element"),
        (
            "7.93",
            "7.93<b/>",
            "element at `q:Flat/q:Radius`: expected either a value or other elements, found `both`",
        ),
        ("7.93", "<b>7.93</b>", "expected either a value or other elements"),
        ("<Flat>", "<Flat>7.93", "expected either a value or other elements, found `both`"),
        ("<Eye side=\"R\" index=\"1.3375\">", "<Eye side=\"R\" index=\"1.3375\">x", "found `both`"),
        ("7.93", "7<!-- . -->.93", "text at `q:Flat/q:Radius`: expected one piece"),
        ("7.93", "7\n.93", "text at `q:Flat/q:Radius`: expected one line"),
        ("side=\"R\"", "side=\"\"", "missing L03 [line 12, /Export/Exam/Eye[1]] eye is missing"),
        ("side=\"R\" ", "", "missing L03 [line 12, /Export/Exam/Eye[1]] eye is missing"),
        ("side=\"R\"", "side=\"B\"", "value L03 [line 12, /Export/Exam/Eye[1]/@side] eye `B` is not one of"),
        ("side=\"R\"", "Side=\"R\"", "eye is missing"),
        (
            "unit=\"mm\">7.93",
            "unit=\"D\">7.93",
            "value U02 [line 14, /Export/Exam/Eye[1]/Flat/Radius/@unit] unit of km.flat.radius `D`",
        ),
        (
            "unit=\"mm\">7.93",
            "unit=\"cm\">7.93",
            "unit of km.flat.radius `cm` is not `mm`, which the template declares",
        ),
        ("unit=\"mm\">7.93", ">7.93", "the unit of `km.flat.radius` at `@unit` is missing"),
        ("7.93", "7,93", "is not a number with the decimal sign `.`"),
        ("7.93", "0", "U10"),
        ("7.93", "NaN", "it stands for a missing value the template does not declare"),
        ("<Id>T-1</Id>", "<Id/>", "missing U10 [line 6, /Export/Exam/Patient/Id] patient.number is missing"),
        ("<Id>T-1</Id>", "", "missing U10 [line 12, /Export/Exam/Eye[1]] patient.number is missing"),
        (
            "<Instrument model=\"Quell A4\" serial=\"QA4-0093\"/>",
            "",
            "document: expected `/q:Export/q:Instrument/@serial`, found `none`",
        ),
        ("serial=\"QA4-0093\"", "", "document: expected `/q:Export/q:Instrument/@serial`, found `none`"),
    ] {
        let found = twin(from, to);
        assert!(found.contains(expected), "{to}\n{found}\n{expected}");
    }
    // Two examinations of one time hold one eye twice.
    let (start, rest) = ONE.split_once("  <Exam").unwrap();
    let (exam, end) = rest.split_once("</Exam>\n").unwrap();
    let found = refused(&format!("{start}<Exam{exam}</Exam><Exam{exam}</Exam>{end}"));
    assert!(found.contains("rows of the right eye in one examination"), "{found}");
}

#[test]
fn records_without_a_value() {
    let none = |text: &str| {
        let mut text = text.to_owned();
        for value in ["7.93", "42.56", "173", "7.56", "44.64", "83", "5<", "0.04", "ok<"] {
            let value = value.trim_end_matches('<');
            text = text.replacen(&format!(">{value}<"), "><", 1);
        }
        text
    };
    assert_eq!(
        refused(&none(ONE)),
        "missing U10 [line 12, /Export/Exam/Eye[1]] any measured value is missing"
    );
    assert!(refused(&ONE.replace("Eye", "Aye")).contains("records: expected at least one element at"));
    let limited = QUELL.replace("[number]", "max_records = 1\n[number]");
    let error = shown(&read_with(&limited, "q.xml", ONE.as_bytes()).unwrap_err());
    assert!(
        error.contains("[line 27, /Export/Exam/Eye[2]] records: expected at most 1, found `2`"),
        "{error}"
    );
}

#[test]
fn each_limit_with_what_it_still_allows() {
    let inside = |extra: &str| ONE.replacen("<Flat>", &format!("{extra}<Flat>"), 1);
    let nested = |levels: usize| inside(&format!("{}{}", "<n>".repeat(levels), "</n>".repeat(levels)));
    let attributes = |count: usize| {
        let all: Vec<String> = (0..count).map(|n| format!("a{n}='1'")).collect();
        inside(&format!("<n {}/>", all.join(" ")))
    };
    let attribute = |bytes: usize| inside(&format!("<n a='{}'/>", "a".repeat(bytes)));
    let text = |bytes: usize| inside(&format!("<n>{}</n>", "a".repeat(bytes)));
    let pieces = |bytes: usize| inside(&format!("<n>{}</n>", "a&amp;".repeat(bytes / 2)));
    let name = |bytes: usize| inside(&format!("<{}/>", "n".repeat(bytes)));
    // A template may ask for more than the usual 256 KiB.
    let large = QUELL.replace("[text]", "max_bytes = 4194304\n[text]");
    let events = |count: usize| inside(&"<n/>".repeat(count / 2));
    for (sound, beyond, words) in [
        // Export, Exam, Eye and 29 more are 32.
        (nested(29), nested(30), "elements nested deeper than 32"),
        (attributes(64), attributes(65), "an element with more than 64 attributes"),
        (attribute(1024), attribute(1025), "the value of an attribute is longer than 1024 bytes"),
        (text(4096), text(4097), "the text of an element is longer than 4096 bytes"),
        (pieces(4096), pieces(4098), "the text of an element is longer than 4096 bytes"),
        (name(256), name(257), "a name longer than 256 bytes"),
        (events(49_000), events(50_000), "more than 50000 pieces of markup"),
    ] {
        let read = read_with(&large, "q.xml", sound.as_bytes());
        assert_eq!(six(&read.unwrap_or_else(|e| panic!("{words}: {e}")), Eye::Right)[0], 7.93);
        let found = shown(&read_with(&large, "q.xml", beyond.as_bytes()).unwrap_err());
        assert!(found.contains(words) && found.starts_with("structure"), "{found}");
    }
    let padded = |bytes: usize| format!("{ONE}{}", " ".repeat(bytes - ONE.len()));
    assert!(read_quell(&padded(262_144)).is_ok());
    assert!(refused(&padded(262_145)).starts_with("too-large"));
    assert!(read_with(&large, "q.xml", padded(4_194_304).as_bytes()).is_ok());
    assert_eq!(read_with(&large, "q.xml", padded(4_194_305).as_bytes()).unwrap_err().slug(), "too-large");
}

#[test]
fn a_file_cut_anywhere_is_refused_or_whole() {
    let whole = read_quell(ONE).unwrap();
    let (folder, quell) = (measurements(), [template(QUELL)]);
    let end = ONE.trim_end().len();
    for at in 0..ONE.len() {
        match read_in(&folder, "q.xml", &ONE.as_bytes()[..at], &quell) {
            Ok(read) => {
                assert!(at >= end, "read when cut at {at}");
                for eye in Eye::BOTH {
                    assert_eq!(six(&read, eye), six(&whole, eye));
                }
            }
            Err(error) => assert!(at < end, "{at}: {error}"),
        }
    }
    let longer = refused(&format!("{ONE}<Export/>"));
    assert!(longer.contains("an element after the end of the root element"), "{longer}");
    assert!(refused(&format!("{ONE}\0")).contains("zero character"));
}

#[test]
fn faults_of_templates_for_documents() {
    for (from, to, expected) in [
        ("q = \"urn", "r = \"urn", "xml.record: the prefix `q` is not declared in `xml.namespaces`"),
        ("q = \"urn:example:quell-a4:export\"", "q = \"\"", "xml.namespaces: the namespace of `q` is empty"),
        ("{ q =", "{ filename = \"urn:f\", q =", "xml.namespaces: `filename` cannot be a prefix"),
        (
            "\"/q:Export/q:Exam/q:Eye\"",
            "\"q:Exam/q:Eye\"",
            "xml.record: `q:Exam/q:Eye` is no path from the root to an element",
        ),
        (
            "\"/q:Export/q:Exam/q:Eye\"",
            "\"/q:Export/@a\"",
            "xml.record: `/q:Export/@a` is no path from the root to an element",
        ),
        ("\"/q:Export/q:Exam/q:Eye\"", "[]", "xml.record: there is no path"),
        (
            "\"/q:Export/q:Exam/q:Eye\"",
            "[\"/q:Export/q:Eye\", \"/Export/q:Eye\"]",
            "xml.record: the paths begin at different roots",
        ),
        (
            "xml_root = \"q:Export\"",
            "xml_root = \"Export\"",
            "match.xml_root: `xml.record` begins at another root",
        ),
        (
            "xml_root = \"q:Export\"",
            "xml_root = \"q:Export/q:Exam\"",
            "match.xml_root: the name of one element is needed",
        ),
        (
            "[\"/q:Export/q:Instrument/@serial\"]",
            "[\"@serial\"]",
            "match.xml_must_contain: `@serial` does not begin at the root",
        ),
        ("[number]", "max_records = 1001\n[number]", "xml.max_records: 1 to 1000 are possible"),
        (
            "xml_root",
            "header_must_contain = [\"a\"]\nxml_root",
            "match.header_must_contain: XML has no header; say `xml_must_contain`",
        ),
        (
            "[xml]",
            "final_newline = \"required\"\n[xml]",
            "text.final_newline: the end tag of the root shows the end of XML",
        ),
        (
            "[number]",
            "[csv]\ndelimiter = \",\"\n[number]",
            "csv: give one of `[csv]`, `[key_value]` and `[xml]`",
        ),
        ("\"@side\"", "\"@z:side\"", "layout.eye_from: the prefix `z` is not declared in `xml.namespaces`"),
        (
            "from = \"@index\"",
            "from = \"localname()\"",
            "field `km.index`: `localname()` can only be the eye of a record",
        ),
        (
            "from = \"q:Readings\"",
            "from = \"q:Readings/\"",
            "field `km.readings`: `` is no name of an element or attribute",
        ),
        (
            "from = \"q:Readings\"",
            "from = \"q:Spread\"",
            "field `km.spread`: reads the same cell as `km.readings`",
        ),
        (
            "from = \"q:Readings\"",
            "from = \"q:Readings\"\nunit_from = \"@unit\"",
            "field `km.readings`: `unit_from` is compared with `unit`, which is not given",
        ),
        ("from = \"/q:Export/@version\"", "from = \"@index\"", "ignore `@index`: is also read by a field"),
    ] {
        assert!(QUELL.contains(from), "{from}");
        let found: Vec<String> =
            mapping(&QUELL.replacen(from, to, 1)).check().iter().map(ToString::to_string).collect();
        assert!(found.iter().any(|fault| fault == expected), "{expected}\n{found:#?}");
    }
    for (from, to, expected) in [
        (
            "encoding = \"utf-8\"",
            "encoding = \"xml-declaration\"",
            "text.encoding: only XML declares its own encoding",
        ),
        (
            "[number]",
            "[number]\ndecimal = \".or,\"",
            "number.decimal: either sign is read in XML only, where no comma parts the cells",
        ),
        (
            "[text]",
            "xml_root = \"a\"\n[text]",
            "match.xml_root: `xml_root` and `xml_must_contain` are for XML",
        ),
        (
            "from = \"R1\"",
            "from = \"R1\"\nunit_from = \"U\"",
            "field `km.flat.radius`: `unit_from` is for XML; in a table the header says the unit",
        ),
    ] {
        let text = crate::support::PER_EYE.replacen(from, to, 1);
        let found: Vec<String> = mapping(&text).check().iter().map(ToString::to_string).collect();
        assert!(found.iter().any(|fault| fault == expected), "{expected}\n{found:#?}");
    }
}
