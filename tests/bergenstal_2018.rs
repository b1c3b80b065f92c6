//! The glucose management indicator of Bergenstal et al. (2018), Diabetes Care 41:2275, doi:10.2337/dc18-1581, against
//! its published table, and estimated HbA1c by the line of Nathan et al. (2008), Diabetes Care 31:1473,
//! doi:10.2337/dc08-0545, against that paper's table.

use glidepath::review::{ea1c_percent, gmi_mmol_mol, gmi_percent};

#[test]
fn the_published_tables_are_met_to_their_last_digit() {
    let percent = [
        (100.0, 5.7),
        (125.0, 6.3),
        (150.0, 6.9),
        (175.0, 7.5),
        (200.0, 8.1),
        (225.0, 8.7),
        (250.0, 9.3),
        (275.0, 9.9),
        (300.0, 10.5),
        (350.0, 11.7),
    ];
    for (mean, want) in percent {
        assert!((gmi_percent(mean) - want).abs() <= 0.05, "{mean}");
    }
    let mmol_mol = [
        (5.0, 36.2),
        (6.0, 40.9),
        (7.0, 45.7),
        (8.0, 50.4),
        (9.0, 55.1),
        (10.0, 59.8),
        (12.0, 69.2),
        (14.0, 78.6),
        (16.0, 88.0),
        (18.0, 97.4),
    ];
    for (mean, want) in mmol_mol {
        assert!((gmi_mmol_mol(mean) - want).abs() <= 0.05, "{mean}");
    }
    for (mean, want) in
        [(97.0, 5.0), (126.0, 6.0), (154.0, 7.0), (183.0, 8.0), (212.0, 9.0), (240.0, 10.0), (269.0, 11.0)]
    {
        assert!((ea1c_percent(mean) - want).abs() <= 0.05, "{mean}");
    }
}

#[test]
fn the_two_lines_meet_near_154_and_nowhere_else() {
    assert!((gmi_percent(154.059) - ea1c_percent(154.059)).abs() < 1e-4);
    assert!((ea1c_percent(200.0) - gmi_percent(200.0) - 0.501_8).abs() < 1e-3);
}
