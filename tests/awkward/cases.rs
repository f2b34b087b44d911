//! Tables with one fault each, with what becomes of each.

/// What is to become of a table.
pub(crate) enum Outcome {
    /// It is read, and is this table (CSV, as docs/files.md has it).
    Read(&'static str),
    /// It is refused; the message has all of these words.
    Refused(&'static [&'static str]),
    /// It is refused with these words; with these options it is read, and is this table.
    Settled(&'static [&'static str], &'static [&'static str], &'static str),
}

/// A table as it comes.
pub(crate) struct Case {
    pub(crate) name: &'static str,
    pub(crate) bytes: Bytes,
    pub(crate) outcome: Outcome,
}

/// How a table is written.
pub(crate) enum Bytes {
    Text(&'static str),
    /// In UTF-16, little-endian, with its mark.
    Utf16(&'static str),
    /// In windows-1252.
    Latin(&'static str),
    /// A workbook: its sheets.
    Sheets(&'static [Sheet]),
}

/// A sheet: cells apart by `|`; `d:` begins a real date or moment, `n:` a real number, `~` a row that is hidden.
pub(crate) struct Sheet {
    pub(crate) name: &'static str,
    pub(crate) hidden: bool,
    pub(crate) rows: &'static str,
}

use Bytes::{Latin, Sheets, Text};
use Outcome::{Read, Refused, Settled};

/// The inspections that nearly all of these tables are.
pub(crate) const TRUTH: &str = "\
engine,valve,date,hours,feature,value
E1,1 intake,2024-01-15,1210,contact_offset,0.98
E1,1 intake,2024-07-30,1883,contact_offset,1.03
E1,1 exhaust,2024-01-15,1210,contact_offset,1.01
E1,1 exhaust,2024-07-30,1883,contact_offset,1.06
";

pub(crate) const fn case(name: &'static str, bytes: Bytes, outcome: Outcome) -> Case {
    Case { name, bytes, outcome }
}

/// One fault each.
pub(crate) fn faults() -> Vec<Case> {
    let mut all = numbers();
    all.extend(dates());
    all.extend(headings());
    all.extend(rows());
    all.extend(workbooks());
    all
}

fn numbers() -> Vec<Case> {
    vec![
        case(
            "decimal commas beside semicolons",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;2024-01-15;1210;contact_offset;0,98\nE1;1 intake;2024-07-30;1883;contact_offset;1,03\nE1;1 exhaust;2024-01-15;1210;contact_offset;1,01\nE1;1 exhaust;2024-07-30;1883;contact_offset;1,06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "decimal commas that split their fields",
            Text("engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0,98\n"),
            Refused(&["7 fields", "6 fields", "decimal comma", "semicolons"]),
        ),
        case(
            "thousands set apart by commas",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,\"1,210\",contact_offset,0.98\nE1,1 intake,2024-07-30,\"1,883\",contact_offset,1.03\nE1,1 exhaust,2024-01-15,\"1,210\",contact_offset,1.01\nE1,1 exhaust,2024-07-30,\"1,883\",contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "thousands set apart by points",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;2024-01-15;1.210;contact_offset;0,98\nE1;1 intake;2024-07-30;1.883;contact_offset;1,03\nE1;1 exhaust;2024-01-15;1.210;contact_offset;1,01\nE1;1 exhaust;2024-07-30;1.883;contact_offset;1,06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "thousands set apart by blanks",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1 210,contact_offset,0.98\nE1,1 intake,2024-07-30,1 883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1 210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1 883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "hours 1,883 and nothing that tells the decimal sign",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,\"1,210\",preload,310\nE1,1 intake,2024-07-30,\"1,883\",preload,305\n",
            ),
            Settled(
                &["1210", "1.210", "--decimal comma", "--decimal point"],
                &["--decimal", "point"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,preload,310\nE1,1 intake,2024-07-30,1883,preload,305\n",
            ),
        ),
        case(
            "hours 1.883 between semicolons and nothing that tells the decimal sign",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;2024-01-15;1.210;preload;310\nE1;1 intake;2024-07-30;1.883;preload;305\n",
            ),
            Settled(
                &["1210", "1.210", "--decimal comma", "--decimal point"],
                &["--decimal", "comma"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,preload,310\nE1,1 intake,2024-07-30,1883,preload,305\n",
            ),
        ),
        case(
            "hours 1,883 beside readings with decimal commas",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;2024-01-15;1,210;contact_offset;0,98\nE1;1 intake;2024-07-30;1,883;contact_offset;1,03\n",
            ),
            Refused(&["1210", "1.210", "--decimal"]),
        ),
        case(
            "a reading of 1.234 among decimal commas",
            Text("lot;part;reading\nA;001;1,204\nA;002;1.234\nA;003;0,998\n"),
            Refused(&["1.234", "1234", "--decimal"]),
        ),
        case(
            "both decimal signs",
            Text("lot;part;reading\nA;001;0,601\nA;002;0.598\nA;003;0,604\n"),
            Refused(&["0.598", "decimal comma, as in the other cells"]),
        ),
        case(
            "some thousands set apart and some not",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,\"1,210\",contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\n",
            ),
            Refused(&["1,210", "--decimal"]),
        ),
        case(
            "units in the cells",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210 h,contact_offset,0.98 mm\nE1,1 intake,2024-07-30,1883 h,contact_offset,1.03 mm\nE1,1 exhaust,2024-01-15,1210 h,contact_offset,1.01 mm\nE1,1 exhaust,2024-07-30,1883 h,contact_offset,1.06 mm\n",
            ),
            Read(TRUTH),
        ),
        case(
            "another unit in a cell",
            Text("lot,part,reading\nA,001,0.601\nA,002,0.0235 in\n"),
            Refused(&["0.0235 in", "a number in mm", "another one than the column's"]),
        ),
    ]
}

fn dates() -> Vec<Case> {
    vec![
        case(
            "dates with a time of day",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15 08:30,1210,contact_offset,0.98\nE1,1 intake,2024-07-30T16:05:00,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15 08:40,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30 16:10,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "day/month/year",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,15/01/2024,1210,contact_offset,0.98\nE1,1 intake,30/07/2024,1883,contact_offset,1.03\nE1,1 exhaust,15/01/2024,1210,contact_offset,1.01\nE1,1 exhaust,30/07/2024,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "month/day/year",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,1/15/2024,1210,contact_offset,0.98\nE1,1 intake,7/30/2024,1883,contact_offset,1.03\nE1,1 exhaust,1/15/2024,1210,contact_offset,1.01\nE1,1 exhaust,7/30/2024,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "dates that are two days each",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,03/04/2024,1210,contact_offset,0.98\nE1,1 intake,05/06/2024,1883,contact_offset,1.03\n",
            ),
            Settled(
                &["2024-04-03", "2024-03-04", "--dates dmy", "--dates mdy"],
                &["--dates", "dmy"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-04-03,1210,contact_offset,0.98\nE1,1 intake,2024-06-05,1883,contact_offset,1.03\n",
            ),
        ),
        case(
            "dates in both orders",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,15/01/2024,1210,contact_offset,0.98\nE1,1 intake,07/30/2024,1883,contact_offset,1.03\n",
            ),
            Refused(&["07/30/2024", "day/month/year"]),
        ),
        case(
            "years of two digits",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,15/01/24,1210,contact_offset,0.98\nE1,1 intake,30/07/24,1883,contact_offset,1.03\n",
            ),
            Settled(
                &["15/01/24", "four digits", "--dates dmy"],
                &["--dates", "dmy"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\n",
            ),
        ),
        case(
            "names of months",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,15-Jan-2024,1210,contact_offset,0.98\nE1,1 intake,30 July 2024,1883,contact_offset,1.03\nE1,1 exhaust,15-Jan-2024,1210,contact_offset,1.01\nE1,1 exhaust,30 July 2024,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "names of months and years of two digits",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,15-Jan-24,1210,contact_offset,0.98\nE1,1 intake,3-Jul-24,1883,contact_offset,1.03\n",
            ),
            Read(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-03,1883,contact_offset,1.03\n",
            ),
        ),
        case(
            "names of months and years of two digits that may be days",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,05-Jan-24,1210,contact_offset,0.98\nE1,1 intake,30-Jul-24,1883,contact_offset,1.03\n",
            ),
            Settled(
                &["05-Jan-24", "2024-01-05", "2005-01-24", "--dates dmy", "--dates ymd"],
                &["--dates", "dmy"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-05,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\n",
            ),
        ),
        case(
            "names of months in other languages",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;15. Januar 2024;1210;contact_offset;0,98\nE1;1 intake;30 juil. 2024;1883;contact_offset;1,03\nE1;1 exhaust;15-ene-2024;1210;contact_offset;1,01\nE1;1 exhaust;30 de julho de 2024;1883;contact_offset;1,06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "days counted by a spreadsheet",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,45306,1210,contact_offset,0.98\nE1,1 intake,45503,1883,contact_offset,1.03\n",
            ),
            Refused(&["45306", "YYYY-MM-DD"]),
        ),
        case(
            "dates that a spreadsheet has turned",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-04-03,1210,contact_offset,0.98\nE1,1 intake,30/07/2024,1883,contact_offset,1.03\n",
            ),
            Refused(&["2024-04-03", "turns the dates it can", "--dates"]),
        ),
    ]
}

fn headings() -> Vec<Case> {
    vec![
        case(
            "headings in capitals",
            Text(
                "ENGINE,VALVE,DATE,HOURS,FEATURE,VALUE\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "units in the headings",
            Text(
                "Engine,Valve,Date,hours (h),Feature,value [mm]\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "headings in other words",
            Text(
                "Engine No.,Valve name,Date of reading,Hours run,Feature,Measured value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "further columns",
            Text(
                "engine,valve,date,hours,feature,value,remarks,inspector,supplier\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,ok,Ann,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,,Ben,Northfield\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01,\"a bit, worn\",Ann,\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06,,Ben,\n",
            ),
            Read(TRUTH),
        ),
        case(
            "a column a feature",
            Text(
                "engine,valve,date,hours,contact offset (mm),stem wear (mm)\nE1,1 intake,2024-01-15,1210,0.98,0.01\nE1,1 intake,2024-07-30,1883,1.03,\n",
            ),
            Read(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-01-15,1210,stem_wear,0.01\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\n",
            ),
        ),
        case(
            "a column a feature of a name nobody can know",
            Text("engine,valve,date,hours,sink\nE1,1 intake,2024-01-15,1210,0.98\nE1,1 intake,2024-07-30,1883,1.03\n"),
            Settled(
                &["feature", "value", "--columns"],
                &["--columns", "feature=sink"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,sink,0.98\nE1,1 intake,2024-07-30,1883,sink,1.03\n",
            ),
        ),
        case(
            "a heading of the shop's own",
            Text(
                "engine,valve,date,run,feature,found\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Settled(
                &["--columns hours=", "--columns value=", "`found`"],
                &["--columns", "value=found,hours=run"],
                TRUTH,
            ),
        ),
        case(
            "a slip in a heading",
            Text(
                "engine,valve,date,hours,feature,value,evnet\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,reshim\n",
            ),
            Refused(&["evnet", "did you mean `event`?", "--columns event=\"evnet\""]),
        ),
        case(
            "two headings that may be the hours",
            Text(
                "engine,valve,date,Hours,HOURS (h),feature,value\nE1,1 intake,2024-01-15,1210,210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,883,contact_offset,1.03\n",
            ),
            Refused(&["`Hours` and `HOURS (h)`", "--columns hours="]),
        ),
        case(
            "a column in inches",
            Text("lot,part,reading (in)\nA,001,0.0236\nA,002,0.0235\n"),
            Refused(&["a column in inches", "reading in mm", "--units in"]),
        ),
        case(
            "a column without a heading",
            Text(
                "engine,valve,date,hours,feature,value,\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,reshim\n",
            ),
            Refused(&["a column without a heading", "name it, or delete it"]),
        ),
        case(
            "a re-shimming told in the remarks alone",
            Text(
                "engine,valve,date,hours,feature,value,remarks\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,0.97,re-shimmed both sides\n",
            ),
            Refused(&["re-shimmed both sides", "`event`", "--columns ignore="]),
        ),
    ]
}

fn rows() -> Vec<Case> {
    vec![
        case(
            "titles above the header",
            Text(
                "Workshop 3\nPrinted on 2024-08-01\n\nengine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "the header once more on the second page",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nengine,valve,date,hours,feature,value\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "cells in which nothing was read",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,2 intake,2024-01-15,1210,contact_offset,n/a\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,2 intake,2024-07-30,1883,contact_offset,-\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,2 exhaust,2024-01-15,1210,contact_offset,\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "an event in a row without a reading",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,,reshim\n",
            ),
            Refused(&["an empty cell", "value"]),
        ),
        case(
            "a sign for nothing under event",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,none\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,none\n",
            ),
            Refused(&["\"none\"", "leave it empty"]),
        ),
        case(
            "an event written otherwise",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,0.97,Re-shimmed\n",
            ),
            Refused(&["\"Re-shimmed\"", "did you mean `reshim`?"]),
        ),
        case(
            "a row of totals",
            Text("lot,part,reading\nA,001,0.601\nA,002,0.598\nmean,,0.5995\n"),
            Refused(&["an empty cell", "part"]),
        ),
        case(
            "names that merged cells leave empty",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\n,,2024-07-30,1883,contact_offset,1.03\n,1 exhaust,2024-01-15,1210,contact_offset,1.01\n,,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Settled(&["an empty cell", "--blanks above"], &["--blanks", "above"], TRUTH),
        ),
        case(
            "a quote that is not closed",
            Text(
                "engine,valve,date,hours,feature,value,remarks\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\"a bit worn\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,\n",
            ),
            Refused(&["a quoted field that runs over the end of its line", "is a quote missing"]),
        ),
        case(
            "text in windows-1252",
            Latin("lot,part,reading\nMüller,001,0.601\nMüller,002,0.598\n"),
            Settled(
                &["not UTF-8", "--encoding windows-1252"],
                &["--encoding", "windows-1252"],
                "lot,part,reading\nMüller,001,0.601\nMüller,002,0.598\n",
            ),
        ),
    ]
}

fn workbooks() -> Vec<Case> {
    vec![
        case(
            "a workbook with a title, real dates with times, numbers as text",
            Sheets(&[Sheet {
                name: "Export",
                hidden: false,
                rows: "Inspections of 2024\n\nEngine|Valve|Date|Hours (h)|Feature|Value (mm)\nE1|1 intake|d:2024-01-15T08:30:00|n:1210|contact_offset|0.98\nE1|1 intake|d:2024-07-30T16:05:00|n:1883|contact_offset|1.03\nE1|1 exhaust|d:2024-01-15T08:40:00|n:1210|contact_offset|1.01\nE1|1 exhaust|d:2024-07-30T16:10:00|n:1883|contact_offset|1.06\n",
            }]),
            Read(TRUTH),
        ),
        case(
            "an old copy on a hidden sheet",
            Sheets(&[
                Sheet { name: "old", hidden: true, rows: "lot|part|reading\nA|001|n:9.9\n" },
                Sheet { name: "new", hidden: false, rows: "lot|part|reading\nA|001|n:0.601\nA|002|n:0.598\n" },
            ]),
            Read("lot,part,reading\nA,001,0.601\nA,002,0.598\n"),
        ),
        case(
            "rows that a filter hides",
            Sheets(&[Sheet {
                name: "readings",
                hidden: false,
                rows: "lot|part|reading\nA|001|n:0.601\n~A|002|n:0.598\n",
            }]),
            Read("lot,part,reading\nA,001,0.601\nA,002,0.598\n"),
        ),
        case(
            "two sheets that may be it",
            Sheets(&[
                Sheet { name: "2023", hidden: false, rows: "lot|part|reading\nA|001|n:0.611\n" },
                Sheet { name: "2024", hidden: false, rows: "lot|part|reading\nA|001|n:0.601\nA|002|n:0.598\n" },
            ]),
            Settled(
                &["`2023`, `2024`", "--sheet NAME"],
                &["--sheet", "2024"],
                "lot,part,reading\nA,001,0.601\nA,002,0.598\n",
            ),
        ),
        case(
            "dates of a workbook that were turned when it was opened",
            Sheets(&[Sheet {
                name: "inspections",
                hidden: false,
                rows: "engine|valve|date|hours|feature|value\nE1|1 intake|d:2024-04-03|n:1210|contact_offset|n:0.98\nE1|1 intake|30/07/2024|n:1883|contact_offset|n:1.03\n",
            }]),
            Refused(&["2024-04-03", "turns the dates it can", "--dates"]),
        ),
    ]
}
