//! The table of relaxing incisions that comes with the program, cell by cell, and the length of an arc.

use axiswright::optics::incision::{angle_of_arc, angle_of_chord, arc_of_angle};
use axiswright::optics::posterior::AstigmatismClass::{AgainstTheRule, Oblique, WithTheRule};
use axiswright::units::{Degrees, Millimetre};

fn mm(value: f64) -> Millimetre {
    Millimetre::from_millimetres(value)
}

/// Source: Wallace RB, Surgical correction of astigmatism with incisional techniques: tips and tricks, Springer, doi
/// 10.1007/978-3-319-56565-1_6, table: degrees and number of cuts by age (columns) and astigmatism (rows).
/// Checked: whole table read; copied here once more by hand, apart from the file.
#[test]
fn every_cell_of_the_table() {
    let text = include_str!("../../templates/nomograms/wallace.toml");
    let table = axiswright::site::nomogram("wallace.toml", text).unwrap();
    let with_and_oblique = "60x1 50x1 50x1 40x1 30x1 | 70x1 70x1 70x1 60x1 60x1 | 60x2 60x2 60x2 70x1 70x1 | \
                            70x2 70x2 70x2 60x2 60x2 | 80x2 80x2 80x2 70x2 70x2";
    let against = "60x1 50x1 40x1 40x1 30x1 | 70x1 60x1 60x1 60x1 40x1 | 60x2 80x1 80x1 70x1 60x1 | \
                   70x2 70x2 70x2 60x2 60x2 | 80x2 80x2 80x2 70x2 70x2";
    let bands = [(1.0, 1.5), (1.5, 2.0), (2.0, 2.5), (2.5, 3.0), (3.0, 4.0)];
    let ages: Vec<(u32, Option<u32>)> = table.ages.iter().map(|band| (band.from, band.below)).collect();
    assert_eq!(ages, [(40, Some(50)), (50, Some(60)), (60, Some(70)), (70, Some(80)), (80, None)]);
    for (class, printed) in
        [(WithTheRule, with_and_oblique), (Oblique, with_and_oblique), (AgainstTheRule, against)]
    {
        let rows = &table.tables.iter().find(|table| table.classes.contains(&class)).unwrap().rows;
        assert_eq!(rows.len(), 5);
        for ((row, printed), (from, to)) in rows.iter().zip(printed.split('|')).zip(bands) {
            assert!((row.from.dioptres() - from).abs() < 1e-12 && (row.to.dioptres() - to).abs() < 1e-12);
            let cells: Vec<String> =
                row.cells.iter().map(|cell| format!("{:.0}x{}", cell.arc.degrees(), cell.cuts)).collect();
            let expected: Vec<&str> = printed.split_whitespace().collect();
            assert_eq!(cells, expected, "{class:?} from {from}");
        }
    }
    // What was not in front of us is not in the file.
    assert!(table.input.is_none() && table.incision.is_none() && table.single.is_none());
    assert!(table.zone.is_none() && table.depth.is_none() && !table.limits.stated);
}

/// Source: geometry of the circle: arc = pi D a / 360, chord = D sin(a/2); worked example of 6.0 mm on a circle of 11.5 mm,
/// 59.8 degrees along the arc and 62.9 degrees as a chord.
/// Checked: computed by two routes.
#[test]
fn an_arc_is_longer_than_its_chord() {
    let along = angle_of_arc(mm(6.0), mm(11.5)).unwrap().degrees();
    assert!((along - 360.0 * 6.0 / (core::f64::consts::PI * 11.5)).abs() < 1e-9);
    assert!((along - 59.8).abs() < 0.05);
    assert!((angle_of_chord(mm(6.0), mm(11.5)).unwrap().degrees() - 62.9).abs() < 0.05);
    let back = arc_of_angle(Degrees::from_degrees(along), mm(11.5)).unwrap();
    assert!((back.millimetres() - 6.0).abs() < 1e-9);
    let sixty = arc_of_angle(Degrees::from_degrees(60.0), mm(11.0)).unwrap().millimetres();
    assert!((sixty - 5.7596).abs() < 1e-4, "{sixty}");
}
