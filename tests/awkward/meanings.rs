//! Columns, rows and signs that change what the readings beside them mean. Passed over, each of these tables gives a wrong result without a word.

use super::cases::Bytes::{Sheets, Text};
use super::cases::Outcome::{Read, Refused, RefusedUnder, Settled};
use super::cases::{Case, Sheet, case};

/// All of them.
pub(crate) fn all() -> Vec<Case> {
    let mut all = work();
    all.extend(names());
    all.extend(readings());
    all.extend(totals());
    all.extend(units());
    all.extend(drawers());
    all.extend(workbooks());
    all.extend(helps());
    all
}

/// Two readings of one valve.
const PLAIN: &str = "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,1.3\nE1,1 intake,2024-07-30,1883,contact_offset,1.01\n";

fn work() -> Vec<Case> {
    vec![
        case(
            "work told by a heading, yes or nothing",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Reshimmed?\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,yes\n",
            ),
            Settled(
                &["\"yes\"", "`Reshimmed?`", "--columns event=\"Reshimmed?\"", "--columns ignore=\"Reshimmed?\""],
                &["--columns", "ignore=Reshimmed?"],
                PLAIN,
            ),
        ),
        case(
            "work told by a heading, nothing done in any row",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Shims changed?\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,N\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,N\n",
            ),
            Read(PLAIN),
        ),
        case(
            "work told in a column of its own words",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Work done\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,2 pieces\n",
            ),
            Refused(&["2 pieces", "`Work done`", "`event`"]),
        ),
        case(
            "a piece that was fitted, told in the remarks",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Remarks\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,tappet noisy\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,fitted 0.45 shim\n",
            ),
            Refused(&["fitted 0.45 shim", "`event`", "--columns ignore=\"Remarks\""]),
        ),
        case(
            "work told beside a column of events that is empty",
            Text(
                "engine,valve,date,hours,feature,value,event,remarks\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,,\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,,re-shimmed\n",
            ),
            Refused(&["re-shimmed", "write it under `event`"]),
        ),
        case(
            "readings before and after work in one row",
            Text(
                "Engine,Valve,Date,Hours,Offset as found (mm),Offset as left (mm)\nE1,1 intake,2024-01-15,1210,1.30,1.01\nE1,1 intake,2024-07-30,1883,1.05,1.05\n",
            ),
            Refused(&["before and after work", "a row of its own", "event"]),
        ),
        case(
            "an event that may stand in a merged cell",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,reshim\n,1 exhaust,,1883,contact_offset,1.02,\n",
            ),
            RefusedUnder(&["--blanks", "above"], &["`reshim` in line 3 may stand in a merged cell", "else `inspect`"]),
        ),
        case(
            "a row that says it does not count",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Status\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,valid\nE1,1 intake,2024-07-30,1883,contact_offset,9.80,void\n",
            ),
            Refused(&["\"void\"", "rows that count", "--columns ignore=\"Status\""]),
        ),
    ]
}

fn names() -> Vec<Case> {
    vec![
        case(
            "a cylinder beside its valves",
            Text(
                "Engine,Cylinder,Valve,Date,Hours,Feature,Value\nE1,1,intake,2024-01-15,1210,contact_offset,0.98\nE1,2,intake,2024-01-15,1210,contact_offset,1.01\n",
            ),
            Settled(
                &["`Cylinder`", "line 2", "--columns valve=\"Cylinder+Valve\"", "--columns ignore=\"Cylinder\""],
                &["--columns", "valve=Cylinder+Valve"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,2 intake,2024-01-15,1210,contact_offset,1.01\n",
            ),
        ),
        case(
            "a plant beside its engines",
            Text(
                "Plant;Engine;Valve;Date;Hours;Feature;Value\nNorth;1;1 intake;2024-01-15;1210;contact_offset;0,98\nSouth;1;1 intake;2024-01-15;1210;contact_offset;1,20\n",
            ),
            Settled(
                &["`Plant`", "--columns engine=\"Plant+Engine\""],
                &["--columns", "engine=Plant+Engine"],
                "engine,valve,date,hours,feature,value\nNorth 1,1 intake,2024-01-15,1210,contact_offset,0.98\nSouth 1,1 intake,2024-01-15,1210,contact_offset,1.2\n",
            ),
        ),
        case(
            "a cylinder that tells nothing more",
            Text(
                "Engine,Cylinder,Valve,Date,Hours,Feature,Value\nE1,1,1 intake,2024-01-15,1210,contact_offset,1.30\nE1,1,1 intake,2024-07-30,1883,contact_offset,1.01\n",
            ),
            Read(PLAIN),
        ),
        case(
            "one visit read by two people",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Inspector\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,Ann\nE1,1 intake,2024-01-15,1210,contact_offset,0.99,Ben\n",
            ),
            Read(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-01-15,1210,contact_offset,0.99\n",
            ),
        ),
        case(
            "parts of several boxes",
            Text("lot,box,part,reading\nA,1,1,0.404\nA,1,2,0.405\nA,2,1,0.407\nA,2,2,0.408\n"),
            Settled(
                &["`box`", "--columns part=\"box+part\""],
                &["--columns", "part=box+part"],
                "lot,part,reading\nA,1 1,0.404\nA,1 2,0.405\nA,2 1,0.407\nA,2 2,0.408\n",
            ),
        ),
        case(
            "a drawing's number beside the piece",
            Text("Batch,Part No.,Piece,Thickness (mm)\nA,4711,1,0.403\nA,4711,2,0.401\n"),
            Settled(
                &["`Part No.` and `Piece`", "--columns part=\"Piece\""],
                &["--columns", "part=Piece"],
                "lot,part,reading\nA,1,0.403\nA,2,0.401\n",
            ),
        ),
        case(
            "hours of labour beside the engine's",
            Text(
                "Engine,Valve,Date,Hours,Engine hours,Feature,Value\nE1,1 intake,2024-01-15,2,1210,contact_offset,1.30\nE1,1 intake,2024-07-30,3,1883,contact_offset,1.01\n",
            ),
            Settled(
                &["`Hours` and `Engine hours`", "--columns hours=\"Engine hours\""],
                &["--columns", "hours=Engine hours"],
                PLAIN,
            ),
        ),
    ]
}

fn readings() -> Vec<Case> {
    vec![
        case(
            "the number of a reading beside the reading",
            Text("Lot,Part,Reading No.,Thickness (mm)\nA,1,1,0.403\nA,1,2,0.401\nA,2,1,0.398\nA,2,2,0.402\n"),
            Read("lot,part,reading\nA,1,0.403\nA,1,0.401\nA,2,0.398\nA,2,0.402\n"),
        ),
        case(
            "the number of a reading beside an offset",
            Text(
                "Engine,Valve,Date,Hours,Feature,Reading No.,Offset (mm)\nE1,1 intake,2024-01-15,1210,contact_offset,1,1.30\nE1,1 intake,2024-07-30,1883,contact_offset,1,1.01\n",
            ),
            Settled(&["no column `value`", "--columns value="], &["--columns", "value=Offset (mm)"], PLAIN),
        ),
        case(
            "a second column of readings",
            Text("Packet,Part,Reading,Reading 2\nA,1,0.403,0.402\nA,2,0.401,0.401\n"),
            Settled(
                &["`Reading 2` beside `Reading`", "--columns reading=\"Reading\",reading=\"Reading 2\""],
                &["--columns", "reading=Reading,reading=Reading 2"],
                "lot,part,reading,trial\nA,1,0.403,1\nA,1,0.402,2\nA,2,0.401,1\nA,2,0.401,2\n",
            ),
        ),
        case(
            "a second column of values",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value,Value 2\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,0.99\n",
            ),
            Settled(
                &["`Value 2` beside `Value`", "--columns ignore=\"Value 2\""],
                &["--columns", "value=Value,value=Value 2"],
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-01-15,1210,contact_offset,0.99\n",
            ),
        ),
        case(
            "readings under headings of the shop's own",
            Text("lot,part,X1,X2\nA,1,0.403,0.402\nA,2,0.404,0.401\n"),
            Settled(
                &["no column `reading`", "--columns reading=\"X1\",reading=\"X2\""],
                &["--columns", "reading=X1,reading=X2"],
                "lot,part,reading,trial\nA,1,0.403,1\nA,1,0.402,2\nA,2,0.404,1\nA,2,0.401,2\n",
            ),
        ),
        case(
            "one column given twice",
            Text("lot,a,b,reading\nA,1,2,0.403\n"),
            RefusedUnder(&["--columns", "part=a,part=b"], &["a second heading for `part`", "FIRST+b"]),
        ),
        case(
            "numbered readings with units",
            Text("Packet,Part,Reading 1 (mm),Reading 2 (mm)\nA,1,0.403,0.402\n"),
            Read("lot,part,reading,trial\nA,1,0.403,1\nA,1,0.402,2\n"),
        ),
        case(
            "a cell that is no number in a column a feature",
            Text(
                "Engine,Valve,Date,Hours,Contact offset,Stem wear\nE1,1 intake,2024-01-15,1210,0.98,0.01\nE1,1 intake,2024-07-30,1883,n.m.,0.02\n",
            ),
            Refused(&["\"n.m.\"", "leave the cell empty", "--columns ignore=\"Contact offset\""]),
        ),
        case(
            "a row of units under a column a feature",
            Text("Engine,Valve,Date,Hours,Contact offset,Preload\n,,,h,mm,N\nE1,1 intake,2024-01-15,1210,0.98,400\n"),
            Refused(&["a row of units", "delete it"]),
        ),
        case(
            "limits beside readings",
            Text("Engine,Valve,Date,Hours,Contact offset (mm),Limit (mm)\nE1,1 intake,2024-01-15,1210,0.98,1.60\n"),
            Read("engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\n"),
        ),
        case(
            "dates that a spreadsheet may have turned beside open ones",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-04-03,1210,contact_offset,0.98\nE1,1 intake,05/06/2024,1500,contact_offset,1.00\nE1,1 intake,30/07/2024,1883,contact_offset,1.03\n",
            ),
            Refused(&["2024-04-03", "turns the dates it can", "--dates"]),
        ),
    ]
}

fn totals() -> Vec<Case> {
    vec![
        case(
            "totals under the parts of a lot",
            Text("lot,part,reading\nA,1,0.403\nA,2,0.401\nA,mean,0.402\nA,s,0.0014\nA,max,0.403\n"),
            Refused(&["\"mean\" under `part`: a row of totals", "\"s\"", "\"max\"", "take the row out"]),
        ),
        case(
            "a total in a drawer",
            Text("piece,thickness,count\n1,0.298,1\n2,0.351,1\nTotal,0.649,2\n"),
            Refused(&["\"Total\" under `piece`", "take the row out"]),
        ),
        case(
            "a total of deliveries",
            Text("Delivery,Outside\nL1,0\nL2,1\nSum,1\n"),
            Refused(&["\"Sum\" under `Delivery`", "take the row out"]),
        ),
        case(
            "a total of a demand",
            Text("name,rate_per_day,correction\n1 exhaust,0.01,0.1\nTotal,0.01,0.1\n"),
            Refused(&["\"Total\" under `name`", "take the row out"]),
        ),
        case(
            "parts called by letters",
            Text("lot,part,reading\nA,n,0.403\nA,s,0.401\n"),
            Read("lot,part,reading\nA,n,0.403\nA,s,0.401\n"),
        ),
    ]
}

fn units() -> Vec<Case> {
    let refused = |unit: &'static [&'static str]| Refused(unit);
    vec![
        case(
            "thousandths of an inch",
            Text("Engine,Valve,Date,Hours,Contact offset (thou)\nE1,1 intake,2024-01-15,1210,38\n"),
            refused(&["a column in `thou`", "convert the column to mm"]),
        ),
        case(
            "hundredths of a millimetre",
            Text("Engine,Valve,Date,Hours,Contact offset (1/100 mm)\nE1,1 intake,2024-01-15,1210,98\n"),
            refused(&["a column in `1/100 mm`", "convert the column to mm"]),
        ),
        case(
            "centimetres",
            Text("lot,part,reading (cm)\nA,1,0.0403\n"),
            refused(&["a column in `cm`", "convert the column to mm"]),
        ),
        case(
            "a side in brackets, which is no unit",
            Text("Engine,Valve,Date,Hours,Contact offset (left)\nE1,1 intake,2024-01-15,1210,0.98\n"),
            Read("engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset_left,0.98\n"),
        ),
    ]
}

fn drawers() -> Vec<Case> {
    vec![
        case(
            "a drawer with what is in stock",
            Text("Size,Thickness,Stock\n0.35,0.351,0\n0.40,0.402,3\n"),
            Read("size,thickness,count\n0.35,0.351,0\n0.40,0.402,3\n"),
        ),
        case(
            "a drawer whose numbers of pieces nobody can know",
            Text("size,thickness,hold\n0.35,0.351,0\n0.40,0.402,5\n"),
            Settled(
                &["`hold`", "--columns count=\"hold\"", "--columns ignore=\"hold\""],
                &["--columns", "count=hold"],
                "size,thickness,count\n0.35,0.351,0\n0.40,0.402,5\n",
            ),
        ),
        case(
            "a nominal thickness beside the measured one",
            Text("Size,Thickness,Measured thickness,Qty\n0.35,0.35,0.357,1\n0.40,0.40,0.391,1\n"),
            Settled(
                &["`Thickness` and `Measured thickness`", "--columns thickness=\"Measured thickness\""],
                &["--columns", "thickness=Measured thickness"],
                "size,thickness,count\n0.35,0.357,1\n0.40,0.391,1\n",
            ),
        ),
        case(
            "an uncertainty U of a certificate",
            Text("Label;Thickness (mm);U;Qty\n1;0,298;0,002;1\n"),
            Settled(
                &["`U`", "expanded", "--columns u=\"U\""],
                &["--columns", "u=U"],
                "piece,thickness,u,count\n1,0.298,0.002,1\n",
            ),
        ),
        case(
            "an uncertainty with its factor",
            Text("Piece,Thickness (mm),U (k=2)\n1,0.298,0.004\n2,0.351,0.004\n"),
            Refused(&["`U (k=2)`", "divide it by its k"]),
        ),
        case(
            "deliveries with samples of their own",
            Text("Delivery,Sample,Outside,Size\nL1,20,0,500\nL2,20,1,500\n"),
            Settled(
                &["`Sample`", "--columns ignore=\"Sample\""],
                &["--columns", "ignore=Sample"],
                "lot,outside,lot_size\nL1,0,500\nL2,1,500\n",
            ),
        ),
        case(
            "counts with thousands set apart, and nothing that tells by what",
            Text("Delivery;Outside;Lot size\nL1;0;1.000\nL2;1;1.000\n"),
            Settled(
                &["\"1.000\"", "--decimal comma"],
                &["--decimal", "comma"],
                "lot,outside,lot_size\nL1,0,1000\nL2,1,1000\n",
            ),
        ),
        case(
            "a demand with headings in capitals",
            Text("Name;Rate per day;Correction (mm)\n1 exhaust;0,01;0,10\n1 intake;0,02;-0,05\n"),
            Read("name,rate_per_day,correction\n1 exhaust,0.01,0.1\n1 intake,0.02,-0.05\n"),
        ),
    ]
}

fn workbooks() -> Vec<Case> {
    vec![
        case(
            "a unit in the format of a workbook's cells",
            Sheets(&[Sheet {
                name: "readings",
                hidden: false,
                rows: "lot|part|reading\nA|001|f:980:0\" µm\"\nA|002|f:981:0\" µm\"\n",
            }]),
            Refused(&["980 µm", "a number in mm"]),
        ),
        case(
            "the column's own unit in the format of a workbook's cells",
            Sheets(&[Sheet {
                name: "readings",
                hidden: false,
                rows: "lot|part|reading\nA|001|f:0.601:0.000\" mm\"\nA|002|f:0.598:0.000\" mm\"\n",
            }]),
            Read("lot,part,reading\nA,001,0.601\nA,002,0.598\n"),
        ),
        case(
            "a reading with a line through it",
            Sheets(&[Sheet {
                name: "readings",
                hidden: false,
                rows: "lot|part|reading\nA|001|n:0.601\nA|002|s:0.998\n",
            }]),
            Refused(&["struck out", "take the row out"]),
        ),
        case(
            "sizes of a drawer as numbers",
            Sheets(&[Sheet {
                name: "drawer",
                hidden: false,
                rows: "size|thickness|count\nn:0.35|n:0.351|n:4\nn:0.4|n:0.402|n:2\n",
            }]),
            Read("size,thickness,count\n0.35,0.351,4\n0.4,0.402,2\n"),
        ),
        case(
            "hours of a workbook as text, with points that may set thousands apart",
            Sheets(&[Sheet {
                name: "inspections",
                hidden: false,
                rows: "engine|valve|date|hours|feature|value\nE1|1 intake|d:2024-01-15|1.210|contact_offset|n:1.3\nE1|1 intake|d:2024-07-30|1.883|contact_offset|n:1.01\n",
            }]),
            Settled(&["1210", "1.210", "--decimal comma"], &["--decimal", "comma"], PLAIN),
        ),
        case(
            "totals below a workbook's readings",
            Sheets(&[Sheet {
                name: "readings",
                hidden: false,
                rows: "lot|part|reading\nA|001|n:0.601\nA|002|n:0.598\nA|Average|n:0.5995\n|n|n:2\n",
            }]),
            Refused(&["\"Average\"", "\"n\"", "a row of totals"]),
        ),
    ]
}

/// Refused before, and now with what to do.
fn helps() -> Vec<Case> {
    vec![
        case(
            "a quoted remark of two lines",
            Text(
                "engine,valve,date,hours,feature,value,remarks\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,\"first line\nsecond line, with comma\"\nE1,1 intake,2024-07-30,1883,contact_offset,1.01,\n",
            ),
            Read(PLAIN),
        ),
        case(
            "a row that ends too soon",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\n",
            ),
            Refused(&["6 fields", "1 field is missing", "`,`"]),
        ),
        case(
            "two tables side by side",
            Text(
                "engine,valve,date,hours,feature,value,engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,E2,1 intake,2024-01-15,900,contact_offset,1.01\n",
            ),
            Refused(&["two tables side by side", "below the first"]),
        ),
        case(
            "one feature in two columns",
            Text("Engine,Valve,Date,Hours,Offset cold (mm),offset_cold\nE1,1 intake,2024-01-15,1210,0.98,0.99\n"),
            Refused(&["`Offset cold (mm)` and `offset_cold`", "--columns ignore=\"offset_cold\""]),
        ),
        case(
            "a mere look under event, in words of one's own",
            Text(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,1.30,\nE1,1 intake,2024-07-30,1883,contact_offset,1.31,routine check\nE1,1 intake,2025-07-30,2883,contact_offset,1.01,Reshim 0.40->0.35\n",
            ),
            Refused(&["\"routine check\"", "did you mean `inspect`?", "did you mean `reshim`?"]),
        ),
        case(
            "dates whose order the heading says",
            Text(
                "engine,valve,Date (dd/mm/yyyy),hours,feature,value\nE1,1 intake,03/04/2024,1210,contact_offset,0.98\n",
            ),
            Read("engine,valve,date,hours,feature,value\nE1,1 intake,2024-04-03,1210,contact_offset,0.98\n"),
        ),
        case(
            "limits by their short names",
            Text("lot,part,reading,LSL,USL\nA,1,0.601,0.57,0.63\nA,2,0.598,0.57,0.63\n"),
            Read("lot,part,reading,lower,upper\nA,1,0.601,0.57,0.63\nA,2,0.598,0.57,0.63\n"),
        ),
        case(
            "a tolerance beside the readings",
            Text("lot,part,reading,Tolerance\nA,1,0.601,±0.03\nA,2,0.598,±0.03\n"),
            Refused(&["`Tolerance`", "`lower` and `upper`"]),
        ),
        case(
            "a rate by the year",
            Text("Name,Rate per year,Correction (mm)\n1 exhaust,3.6,0.10\n"),
            Refused(&["no column `rate_per_day`"]),
        ),
        case(
            "headings in another language",
            Text("Motor;Ventil;Datum;Betriebsstunden;Merkmal;Messwert\nE1;1 Ein;2024-01-15;1210;Versatz;0,98\n"),
            Refused(&["`Motor`, `Ventil`, `Datum`", "--columns engine=\"Motor\""]),
        ),
        case(
            "cells that hold more or less than a number",
            Text("lot,part,reading\nA,1,0.98*\nA,2,<0.02\nA,3,~1.0\nA,4,0.98/1.02\n"),
            Refused(&["what stands behind it", "a bound is no reading", "write 1.0", "several numbers in one cell"]),
        ),
    ]
}
