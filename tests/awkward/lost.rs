//! Tables in which something would be lost in silence: a column that tells things apart or tells of work, a row that is none.

use crate::run;
use rust_xlsxwriter::Workbook;
use std::path::Path;

/// What `tidy` makes of a table, or says of it.
fn tidied(at: &Path, options: &[&str]) -> Result<String, String> {
    let output = run(at, &[&["tidy", "table", "out.csv", "--quiet", "--force"], options].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    match output.status.code() {
        Some(0) => Ok(std::fs::read_to_string(at.join("out.csv")).unwrap()),
        _ => Err(said),
    }
}

#[test]
fn what_would_be_lost_is_refused_with_what_settles_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    // A table, words of its refusal, and the option that settles it (none where the table is to be mended).
    let cases: [(&str, &str, &[&str], Option<&str>); 19] = [
        (
            "work in a column of its own, by its heading",
            "engine,valve,date,hours,feature,value,Reshimmed?\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,0.95,yes\n",
            &["\"yes\"", "Reshimmed?"],
            Some("ignore=Reshimmed?"),
        ),
        (
            "work by yes and no",
            "Engine,Valve,Date,Hours,Feature,Value,Shims changed?\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,N\nE1,1 intake,2024-07-30,1883,contact_offset,0.95,Y\n",
            &["Shims changed?", "event"],
            Some("ignore=Shims changed?"),
        ),
        (
            "work in remarks",
            "engine,valve,date,hours,feature,value,Remarks\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,ok\nE1,1 intake,2024-07-30,1883,contact_offset,0.95,fitted 0.45\n",
            &["fitted 0.45", "event"],
            Some("ignore=Remarks"),
        ),
        (
            "work in another language",
            "engine,valve,date,hours,feature,value,Bemerkung\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,0.95,neue Scheibe eingebaut\n",
            &["neue Scheibe eingebaut"],
            Some("ignore=Bemerkung"),
        ),
        (
            "a valve of a cylinder",
            "Engine,Cylinder,Valve,Date,Hours,Feature,Value\nE1,1,intake,2024-01-15,1210,contact_offset,0.98\nE1,2,intake,2024-01-15,1210,contact_offset,1.02\n",
            &["Cylinder", "line 2", "1 intake"],
            Some("ignore=Cylinder"),
        ),
        (
            "parts of boxes",
            "lot,Box,part,reading\nA,1,1,0.601\nA,2,1,0.598\n",
            &["\"2\" under `Box`"],
            Some("ignore=Box"),
        ),
        (
            "one cell of a feature that is no number",
            "Engine,Valve,Date,Hours,Contact offset (mm),Stem wear (mm)\nE1,1 intake,2024-01-15,1210,0.98,0.01\nE1,1 intake,2024-07-30,1883,n.m.,0.02\n",
            &["n.m."],
            None,
        ),
        (
            "a mean among parts",
            "lot,part,reading\nA,1,0.601\nA,2,0.598\nA,mean,0.5995\n",
            &["mean", "row of totals"],
            None,
        ),
        (
            "a mean in German",
            "lot;part;reading\nA;1;0,601\nA;2;0,598\nA;Mittelwert;0,5995\n",
            &["Mittelwert", "row of totals"],
            None,
        ),
        (
            "a drawer's total",
            "size,thickness,count\n0.20,0.20,3\n0.30,0.30,2\nTotal,0.50,5\n",
            &["Total", "row of totals"],
            None,
        ),
        (
            "a sum of deliveries",
            "lot,outside,lot_size\nD1,0,400\nD2,1,400\nSum,1,800\n",
            &["Sum", "row of totals"],
            None,
        ),
        (
            "a total of a demand",
            "name,rate_per_day,correction\nv1,0.01,0.2\nTotal,0.01,0.2\n",
            &["Total", "row of totals"],
            None,
        ),
        (
            "a second column of readings",
            "lot,part,Reading,Reading 2\nA,1,0.601,0.602\nA,2,0.598,0.599\n",
            &["Reading 2", "further column of readings"],
            Some("ignore=Reading 2"),
        ),
        (
            "thousandths of an inch",
            "Engine,Valve,Date,Hours,Contact offset (thou)\nE1,1 intake,2024-01-15,1210,38.6\n",
            &["a column in thou", "convert"],
            None,
        ),
        (
            "hundredths of a millimetre",
            "Engine,Valve,Date,Hours,Contact offset [1/100 mm]\nE1,1 intake,2024-01-15,1210,98\n",
            &["a column in 1/100 mm"],
            None,
        ),
        (
            "a drawing's number beside the piece",
            "Lot,Part No.,Piece,Reading\nA,4711,1,0.601\nA,4711,2,0.598\n",
            &["`Part No.` and `Piece`", "--columns part="],
            Some("part=Piece"),
        ),
        (
            "the size on the packet beside what was measured",
            "Piece,Thickness,Measured thickness\nS1,0.40,0.412\n",
            &["`Thickness` and `Measured thickness`"],
            Some("thickness=Measured thickness"),
        ),
        (
            "an expanded uncertainty",
            "piece,thickness,U\nS1,0.412,0.004\n",
            &["expanded uncertainty", "k = 2"],
            Some("u=U"),
        ),
        (
            "a second column of values",
            "engine,valve,date,hours,feature,Value,Value 2\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,0.99\n",
            &["Value 2"],
            Some("ignore=Value 2"),
        ),
    ];
    for (name, table, words, settled) in cases {
        std::fs::write(at.join("table"), table).unwrap();
        let said = tidied(at, &[]).expect_err(name);
        for word in words {
            assert!(said.contains(word), "{name}: no {word:?} in {said}");
        }
        if let Some(option) = settled {
            tidied(at, &["--columns", option]).unwrap_or_else(|said| panic!("{name}, {option}: {said}"));
        }
    }
    std::fs::write(at.join("table"), "lot,part,X1,X2\nA,1,0.601,0.602\nA,2,0.598,0.599\n").unwrap();
    let said = tidied(at, &["--columns", "reading=X1,reading=X2"]).expect_err("two headings for a column");
    assert!(said.contains("`X1` and `X2` for `reading`"), "{said}");
}

#[test]
fn what_can_mean_one_thing_only_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for (table, truth) in [
        // The number of a reading is none.
        ("Lot,Part,Reading No.,Thickness\nA,1,1,0.601\nA,2,1,0.598\n", "lot,part,reading\nA,1,0.601\nA,2,0.598\n"),
        ("Size,Thickness,Stock\n0.20,0.20,3\n0.35,0.35,0\n", "size,thickness,count\n0.20,0.2,3\n0.35,0.35,0\n"),
        ("Size,Thickness,On hand\n0.20,0.20,3\n", "size,thickness,count\n0.20,0.2,3\n"),
        (
            "Lot,Part,Reading 1 (mm),Reading 2 (mm)\nA,1,0.601,0.602\n",
            "lot,part,reading,trial\nA,1,0.601,1\nA,1,0.602,2\n",
        ),
        ("Name,Rate per day,Correction\nv1,0.01,0.2\n", "name,rate_per_day,correction\nv1,0.01,0.2\n"),
    ] {
        std::fs::write(at.join("table"), table).unwrap();
        let read = tidied(at, &[]).unwrap_or_else(|said| panic!("{table}{said}"));
        assert_eq!(read, truth, "{table}");
    }
}

/// A number in a cell is what a spreadsheet makes of a size that somebody types.
#[test]
fn a_drawer_in_a_workbook_has_its_sizes_as_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    for (column, heading) in (0..).zip(["size", "thickness", "count"]) {
        sheet.write_string(0, column, heading).unwrap();
    }
    for (row, size) in (1..).zip([0.2, 0.35]) {
        sheet.write_number(row, 0, size).unwrap().write_number(row, 1, size).unwrap();
        sheet.write_number(row, 2, 3.0).unwrap();
    }
    workbook.save(at.join("table")).unwrap();
    assert_eq!(tidied(at, &[]).unwrap(), "size,thickness,count\n0.2,0.2,3\n0.35,0.35,3\n");
}
