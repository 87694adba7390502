//! Tables of arcs: what is read, and every way in which one is refused, with its line and key.

use axiswright::plan::{ArcDepth, ArcEnd, ArcIncision, ArcInput};
use axiswright::site::{nomogram, surgeon};

const TABLE: &str = r#"name = "Test"
authors = "nobody"
title = "invented"
published = "nowhere"
mark = "assumed"
age = [{ from_years = 40, below_years = 60 }, { from_years = 60 }]
[[table]]
class = ["with_the_rule", "oblique"]
row = [
    { from_d = 1.0, to_d = 1.5, arc_deg = [60, 50], cuts = [1, 2] },
    { from_d = 1.5, to_d = 2.0, arc_deg = [70, 60], cuts = [1, 1] },
]
"#;

#[test]
fn a_table_is_read_whole() {
    let table = nomogram("t.toml", TABLE).unwrap();
    assert_eq!((table.name.as_str(), table.ages.len(), table.tables[0].rows.len()), ("Test", 2, 2));
    assert_eq!((table.tables[0].rows[0].cells[1].cuts, table.limits.stated), (2, false));
    let stated = TABLE.replace(
        "mark =",
        "input = \"total\"\ncataract_incision = \"none\"\nsingle = \"reach\"\nzone_mm = 10.5\ndepth_percent = 85\n\
         class_limits_deg = { against_to = 15, with_from = 75 }\nmark =",
    );
    let table = nomogram("t.toml", &stated).unwrap();
    assert_eq!((table.input, table.incision), (Some(ArcInput::Total), Some(ArcIncision::None)));
    assert_eq!(table.single.map(|single| single.oblique), Some(ArcEnd::Reach));
    assert_eq!(table.depth, Some(ArcDepth::Percent(85.0)));
    assert!(table.limits.stated);
}

#[test]
fn a_faulty_table_is_refused_at_its_line_and_key() {
    for (old, new, line, key, says) in [
        ("mark = \"assumed\"\n", "", 1, "mark", "how far the table was verified is missing"),
        ("authors = \"nobody\"", "authors = \" \"", 2, "authors", "the authors of the table is empty"),
        ("\"assumed\"", "\"certain\"", 5, "mark", "`certain` is unknown"),
        ("from_years = 60 }", "from_years = 65 }", 6, "age[2].from_years", "belong to no band"),
        ("from_years = 60 }", "from_years = 55 }", 6, "age[2].from_years", "belong to two bands"),
        ("below_years = 60", "below_years = 40", 6, "age[1].below_years", "holds no age"),
        ("from_years = 40, below_years = 60", "from_years = 40", 6, "age[2].from_years", "two bands"),
        ("\"oblique\"", "\"with_the_rule\"", 8, "table[1].class[2]", "has rows already"),
        ("\"oblique\"", "\"skew\"", 8, "table[1].class[2]", "`skew` is unknown"),
        ("from_d = 1.5,", "from_d = 1.6,", 11, "table[1].row[2].from_d", "belongs to no row"),
        ("from_d = 1.5,", "from_d = 1.4,", 11, "table[1].row[2].from_d", "belongs to two rows"),
        ("to_d = 2.0", "to_d = 1.5", 11, "table[1].row[2].to_d", "holds no astigmatism"),
        ("[70, 60]", "[70]", 11, "table[1].row[2].arc_deg", "1 cells for 2 bands of ages"),
        ("cuts = [1, 1]", "cuts = [1, 1, 1]", 11, "table[1].row[2].cuts", "3 cells for 2 bands of ages"),
        ("cuts = [1, 2]", "cuts = [1, 3]", 10, "table[1].row[1].cuts[2]", "`3` is no number of cuts"),
        ("[60, 50]", "[60, 150]", 10, "table[1].row[1].arc_deg[2]", "is outside 1 to 120 deg"),
        ("[60, 50]", "[60, \"long\"]", 10, "table[1].row[1].arc_deg[2]", "is not a plain decimal number"),
        ("mark =", "colour = 1\nmark =", 5, "colour", "unknown key"),
        ("mark =", "zone_mm = 110\nmark =", 5, "zone_mm", "is outside 5 to 13 mm"),
        ("mark =", "depth_um = 60\nmark =", 5, "depth_um", "is outside 200 to 1200 um"),
        ("mark =", "depth_um = 600\ndepth_percent = 90\nmark =", 6, "depth_percent", "stated twice"),
        ("mark =", "single = \"upper\"\nmark =", 5, "single", "`upper` is unknown"),
        (
            "mark =",
            "class_limits_deg = { against_to = 50, with_from = 40 }\nmark =",
            5,
            "class_limits_deg.with_from",
            "the classes overlap",
        ),
    ] {
        assert!(TABLE.contains(old), "{old}");
        let error = nomogram("nomograms/t.toml", &TABLE.replacen(old, new, 1)).expect_err(new);
        assert_eq!(error.key, key, "{error}");
        assert_eq!(error.line, Some(line), "{new}: {error}");
        assert!(error.message.contains(says), "{new}: {error}");
        assert!(!error.hint.is_empty());
    }
}

#[test]
fn a_surgeons_file_names_a_table_and_what_it_leaves_open() {
    let text = "name = \"Dr. A\"\nformula = \"Haigis 2000\"\n[arcs]\nnomogram = \"Test\"\nzone_mm = 11.0\ndepth_um = 600\n\
                single = { with_the_rule = \"superior\", oblique = \"reach\", against_the_rule = \"temporal\" }\n";
    let arcs = surgeon("s.toml", text).unwrap().arcs.unwrap();
    assert_eq!((arcs.nomogram.as_str(), arcs.input), ("Test", None));
    let error = surgeon("s.toml", &text.replace("nomogram = \"Test\"\n", "")).unwrap_err();
    assert_eq!(error.key, "arcs.nomogram");
    let error = surgeon("s.toml", &text.replace("oblique = \"reach\", ", "")).unwrap_err();
    assert_eq!(error.key, "arcs.single.oblique");
}
