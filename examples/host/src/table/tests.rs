//! Files as they come.

use std::path::PathBuf;

use super::*;
use crate::args::InputArgs;

fn written(content: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("trace.csv");
    std::fs::write(&path, content).unwrap();
    (folder, path)
}

fn trace(content: &str) -> Trace {
    let (_folder, path) = written(content.as_bytes());
    read_trace(&path, &InputArgs::default(), &["plasma_mg_dl"]).unwrap()
}

fn sum(trace: &Trace) -> u64 {
    let counts = &trace.counts;
    trace.readings.len() as u64 + counts.blank + counts.exact_repeats + counts.conflicting_stamps
}

fn times(trace: &Trace) -> Vec<u32> {
    trace.readings.iter().map(|reading| reading.at().secs()).collect()
}

#[test]
fn oddities_are_counted_and_the_rows_add_up() {
    let trace = trace(
        "\u{feff}time;glucose_mmol_l;plasma_mg_dl\r\n\
         2024-03-01 00:00:00;5,5;100\r\n\
         2024-03-01 00:10:00;LOW;\r\n\
         2024-03-01 00:05:00;\"6.1\";101\r\n\
         2024-03-01 00:15:00;;102\r\n\
         2024-03-01 00:20:00;7.0;103;\r\n\
         2024-03-01 00:20:00;7.0;103\r\n\
         2024-03-01 00:20:00;8.0\r\n\
         2024-03-01 00:25:00;High;104\r\n",
    );
    let counts = Counts {
        rows: 8,
        blank: 1,
        exact_repeats: 1,
        conflicting_stamps: 1,
        out_of_order: 1,
        low_text: 1,
        high_text: 1,
        crlf_lines: 9,
        byte_order_mark: true,
        ..Counts::default()
    };
    assert_eq!(trace.counts, counts);
    assert_eq!(sum(&trace), 8);
    let start = times(&trace)[0];
    assert_eq!(times(&trace), [0, 300, 600, 1200, 1500].map(|s| start + s));
    assert_eq!(trace.readings[0].glucose().tenths_mmol_l(), 55);
    assert_eq!(trace.readings[2].status(), glidepath::Status::BelowRange);
    let plasma = trace.column("plasma_mg_dl").unwrap();
    assert_eq!(plasma[..2], [100.0, 101.0]);
    assert!(plasma[2].is_nan() && plasma[3] == 103.0 && plasma[4] == 104.0);
    assert_eq!(trace.interval_s, Some(300));
}

#[test]
fn what_tables_write_for_no_value_is_a_blank() {
    let trace = trace("time,glucose_mg_dl\n600,NA\n900,null\n1200,--\n1500,n/a\n1800,-\n2100,\n2400,100\n");
    assert_eq!((trace.counts.blank, times(&trace)), (6, vec![2400]));
}

#[test]
fn newest_first_is_turned_round() {
    let trace = trace("glucose_mg_dl,TIME\n103,1700000900\n102,1700000600\n101,1700000300\n");
    assert!(trace.counts.newest_first);
    assert_eq!(trace.counts.out_of_order, 0);
    assert_eq!(times(&trace), [1_700_000_300, 1_700_000_600, 1_700_000_900]);
}

/// Six hours around a clock change at 03:00, five minutes apart, in the words of a clock without a zone.
fn set_back_rows() -> String {
    let mut rows = "time,glucose_mg_dl\n".to_owned();
    for n in 0..72 {
        let elapsed = n * 5;
        let wall = if elapsed < 180 { elapsed } else { elapsed - 60 };
        rows += &format!("2023-10-29T{:02}:{:02}:00,{}\n", wall / 60, wall % 60, 100 + n);
    }
    rows
}

#[test]
fn a_clock_set_back_loses_nothing() {
    let own = trace(&set_back_rows());
    assert_eq!((own.counts.clock_set_back, own.counts.out_of_order, sum(&own)), (1, 0, 72));
    assert!(times(&own).windows(2).all(|pair| pair[1] - pair[0] == 300));
    assert_eq!(own.clock.iso(times(&own)[35].into()), "2023-10-29T02:55:00");
    assert_eq!(own.clock.iso(times(&own)[36].into()), "2023-10-29T02:00:00");

    let (_folder, path) = written(set_back_rows().as_bytes());
    let args = InputArgs { zone: zone("Europe/Vienna"), ..InputArgs::default() };
    let zoned = read_trace(&path, &args, &[]).unwrap();
    assert!(times(&zoned).windows(2).all(|pair| pair[1] - pair[0] == 300));
    assert_eq!(zoned.clock.iso(times(&zoned)[36].into()), "2023-10-29T02:00:00+01:00");
}

#[test]
fn a_late_block_is_no_clock_change() {
    let mut rows = "time,glucose_mg_dl\n".to_owned();
    for minute in (0..60).chain(120..180).chain(60..120).chain(180..300) {
        rows += &format!("2023-10-29T{:02}:{:02}:00,{}\n", minute / 60, minute % 60, 100 + minute % 7);
    }
    let trace = trace(&rows);
    assert_eq!((trace.counts.clock_set_back, trace.counts.out_of_order, sum(&trace)), (0, 60, 300));
    assert!(times(&trace).windows(2).all(|pair| pair[1] - pair[0] == 60));
}

#[test]
fn garbage_is_refused_with_its_place() {
    let cases: &[(&[u8], &str)] = &[
        (b"", "line 1: the file is empty, expected a header row"),
        (b" \n\n", "line 1: the file is empty"),
        (b"time,glucose_mg_dl\n", "no rows with a time after the header row"),
        (b"2024-01-01T00:00:00,100\n", "line 1: found data, expected a header row"),
        (b"\x7fELF\x02\x01\x01\x00\x00", "line 1: the file is binary"),
        (b"PK\x03\x04\x14\0", "is a spreadsheet or an archive, expected text: save it as a table of commas"),
        (b"PAR1\x15\x04", "is Parquet, expected text"),
        (b"a,b\n1,2\n", "line 1: the header row has the columns \"a\", \"b\", expected \"time\""),
        (b"time,b\n1,2\n", "expected glucose_mg_dl or glucose_mmol_l"),
        (
            b"time,glucose_mg_dl\n1900-01-01T00:00:00,100\n",
            "line 2, column \"time\": found \"1900-01-01T00:00:00\", expected a time from 1970",
        ),
        (
            b"time,glucose_mg_dl\nnoon,100\n",
            "line 2, column \"time\": found \"noon\", expected a date and time",
        ),
        (
            b"time,glucose_mg_dl\n1700000000,100\n1700000300,NaN\n",
            "line 3, column \"glucose_mg_dl\": found \"NaN\", expected a number",
        ),
        (
            b"time,glucose_mg_dl\n17000000000,100\n",
            "line 2, column \"time\": found \"2508-09-16T06:13:20\", expected a time from 1970 to 2105",
        ),
        (
            b"time,glucose_mg_dl,glucose_mg_dl\n1700000000,100,105\n",
            "line 1: the header row has the column \"glucose_mg_dl\" twice, expected it once",
        ),
        (b"time,time,glucose_mg_dl\n1700000000,1,100\n", "the column \"time\" twice"),
        (b"time,glucose_mg_dl\n1700000000,-5\n", "line 2, column \"glucose_mg_dl\": found \"-5\""),
        (b"time,glucose_mg_dl\n1700000000,1e30\n", "found \"1e30\", expected a glucose value from 0 to 2000"),
        (b"time,glucose_mg_dl\n1700000000,inf\n", "found \"inf\""),
        (
            b"time,glucose_mg_dl\n1700000000,5.5\n1700000300,6.1\n",
            "line 3, column \"glucose_mg_dl\": no value is over 6.1, expected mg/dL",
        ),
        (
            b"time,glucose_mmol_l\n1700000000,5.5\n1700000300,110\n",
            "line 3, column \"glucose_mmol_l\": found 110, expected mmol/L",
        ),
        (
            b"time,glucose_mmol_l\n1700000000,5,5\n",
            "line 2: more cells than the header row has (2), found \"5\"",
        ),
        (
            b"time,glucose_mg_dl\n1700000000,100\n2024-01-01T00:00:00,100\n",
            "line 3, column \"time\": found \"2024-01-01T00:00:00\" with no zone",
        ),
        (b"time,glucose_mg_dl\n1700000000,\n,\n", "line 3, column \"glucose_mg_dl\": no row has a value"),
        (b"time,glucose_mg_dl\n1700000000,\xff\xfe\n", "line 2, column \"glucose_mg_dl\""),
    ];
    for (content, expected) in cases {
        let (_folder, path) = written(content);
        let failure = read_trace(&path, &InputArgs::default(), &[]).unwrap_err().to_string();
        assert!(failure.contains(expected), "{failure:?} lacks {expected:?}");
        assert!(failure.contains("trace.csv") && !failure.contains('\n'), "{failure:?}");
    }
}

#[test]
fn an_endless_record_is_left_early() {
    for start in ["", "time,glucose_mg_dl\n1700000000,", "time,glucose_mg_dl\n1700000000,\""] {
        let mut content = start.as_bytes().to_vec();
        content.resize(8 << 20, b'7');
        let (_folder, path) = written(&content);
        let failure = read_trace(&path, &InputArgs::default(), &[]).unwrap_err().to_string();
        let line = 1 + start.matches('\n').count();
        assert!(failure.contains(&format!("line {line}: longer than 1024 KiB")), "{failure}");
    }
}

#[test]
fn fingersticks_prefer_the_reference_column() {
    let (_folder, path) = written(b"time,glucose_mg_dl,reference_mg_dl\n600,120,\n300,110,99\n900,130,101\n");
    let sticks = read_fingersticks(&path, &InputArgs::default()).unwrap();
    let values: Vec<_> = sticks.values.iter().map(|s| (s.at().secs(), s.glucose().mg_dl())).collect();
    assert_eq!(values, [(300, 99.0), (900, 101.0)]);
    assert_eq!(sticks.counts.blank, 1);
}

#[test]
fn offsets_that_change_on_the_way_keep_the_wearers_clock() {
    let trace = trace(
        "time,glucose_mg_dl\n2023-10-29T01:00:00+01:00,103\n2023-10-29T02:30:00+02:00,102\n\
         2023-10-29T01:30:00+02:00,101\n,\n",
    );
    let shown: Vec<String> = times(&trace).iter().map(|at| trace.clock.iso((*at).into())).collect();
    // 02:30 in summer is half an hour past midnight in UTC, 01:00 in winter is midnight
    assert_eq!(
        shown,
        ["2023-10-29T01:30:00+02:00", "2023-10-29T01:00:00+01:00", "2023-10-29T02:30:00+02:00"]
    );
    assert_eq!((trace.counts.blank, sum(&trace)), (1, 4));
}

#[test]
fn a_column_whose_name_goes_over_lines_is_named_on_one() {
    let (_folder, path) = written(b"glucose,start time,\"end time\n(local)\"\n100,1709251200,1709251200\n");
    let refused = read_trace(&path, &InputArgs::default(), &[]).unwrap_err().to_string();
    assert!(
        refused.contains(r"--time-column $'end time\012(local)'") && !refused.contains('\n'),
        "{refused}"
    );
}

#[test]
fn dates_that_alone_do_not_tell_may_stand_among_others() {
    let trace = trace(
        "time,glucose\n2024-06-05 23:50,100\n05/06/2024 23:55,101\n2024-06-06 00:00,102\n06/06/2024 00:05,103\n\
         2024-06-06 00:10,104\n13/06/2024 00:00,105\n",
    );
    let start = times(&trace)[0];
    assert_eq!(times(&trace), [0, 300, 600, 900, 1200, 605_400].map(|s| start + s));
    assert_eq!(trace.counts.dates_read_as, Some("day before month"));
    assert_eq!((trace.counts.out_of_order, trace.counts.clock_set_back), (0, 0));
}
