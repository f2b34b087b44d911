//! Tables as programs write them, with what becomes of each.

use super::cases::Bytes::{Sheets, Text, Utf16};
use super::cases::Outcome::{Read, Refused};
use super::cases::{Case, Sheet, TRUTH, case};

/// The ten commonest.
pub(crate) fn commonest() -> Vec<Case> {
    vec![
        case(
            "export: a spreadsheet where commas are decimal signs",
            Text(
                "\u{feff}Engine;Valve;Date;Hours (h);Feature;Value (mm)\r\nE1;1 intake;15.01.2024;1.210;contact_offset;0,98\r\nE1;1 intake;30.07.2024;1.883;contact_offset;1,03\r\nE1;1 exhaust;15.01.2024;1.210;contact_offset;1,01\r\nE1;1 exhaust;30.07.2024;1.883;contact_offset;1,06\r\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a spreadsheet where points are",
            Text(
                "Engine,Valve,Date,Hours,Feature,Value\r\nE1,1 intake,1/15/2024,\"1,210\",contact_offset,0.98\r\nE1,1 intake,7/30/2024,\"1,883\",contact_offset,1.03\r\nE1,1 exhaust,1/15/2024,\"1,210\",contact_offset,1.01\r\nE1,1 exhaust,7/30/2024,\"1,883\",contact_offset,1.06\r\n,,,,,\r\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a data frame with its index",
            Text(
                ",engine,valve,date,hours,feature,value\n0,E1,1 intake,2024-01-15,1210,contact_offset,0.98\n1,E1,1 intake,2024-07-30,1883,contact_offset,1.03\n2,E1,1 exhaust,2024-01-15,1210,contact_offset,1.01\n3,E1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a database",
            Text(
                "\"ENGINE_ID\",\"VALVE_NAME\",\"DATE\",\"HOURS\",\"FEATURE\",\"VALUE\",\"EVENT\"\n\"E1\",\"1 intake\",\"2024-01-15 00:00:00.000\",1210,\"contact_offset\",0.98,NULL\n\"E1\",\"1 intake\",\"2024-07-30 00:00:00.000\",1883,\"contact_offset\",1.03,NULL\n\"E1\",\"1 exhaust\",\"2024-01-15 00:00:00.000\",1210,\"contact_offset\",1.01,NULL\n\"E1\",\"1 exhaust\",\"2024-07-30 00:00:00.000\",1883,\"contact_offset\",1.06,NULL\n",
            ),
            Read(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01,\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06,\n",
            ),
        ),
        case(
            "export: cells pasted from a spreadsheet",
            Text(
                "Engine\tValve\tDate\tHours\tFeature\tValue\nE1\t1 intake\t15/01/2024\t1210\tcontact_offset\t0.98\nE1\t1 intake\t30/07/2024\t1883\tcontact_offset\t1.03\nE1\t1 exhaust\t15/01/2024\t1210\tcontact_offset\t1.01\nE1\t1 exhaust\t30/07/2024\t1883\tcontact_offset\t1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: the separator on top",
            Text(
                "sep=;\nengine;valve;date;hours;feature;value\nE1;1 intake;2024-01-15;1210;contact_offset;0,98\nE1;1 intake;2024-07-30;1883;contact_offset;1,03\nE1;1 exhaust;2024-01-15;1210;contact_offset;1,01\nE1;1 exhaust;2024-07-30;1883;contact_offset;1,06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a maintenance system, fields apart by strokes",
            Text(
                "Order|Engine No|Valve|Inspection date|Engine hours|Feature|Reading|Inspector\n10021|E1|1 intake|15-JAN-2024|1210|contact_offset|0.98|A. Berg\n10022|E1|1 intake|30-JUL-2024|1883|contact_offset|1.03|A. Berg\n10023|E1|1 exhaust|15-JAN-2024|1210|contact_offset|1.01|A. Berg\n10024|E1|1 exhaust|30-JUL-2024|1883|contact_offset|1.06|A. Berg\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a workbook with a column a feature",
            Sheets(&[
                Sheet { name: "Cover", hidden: false, rows: "Inspections of workshop 3\nPrinted|d:2024-08-01\n" },
                Sheet {
                    name: "Data",
                    hidden: false,
                    rows: "Engine|Valve|Date|Running hours|Contact offset (mm)|Stem wear (mm)|Remarks\nE1|1 intake|d:2024-01-15|n:1210|n:0.98|n:0.01|\nE1|1 intake|d:2024-07-30|n:1883|n:1.03|n:0.02|ok\n",
                },
            ]),
            Read(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-01-15,1210,stem_wear,0.01\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 intake,2024-07-30,1883,stem_wear,0.02\n",
            ),
        ),
        case(
            "export: Unicode text of a spreadsheet",
            Utf16(
                "Engine\tValve\tDate\tHours\tFeature\tValue\r\nE1\t1 intake\t2024-01-15\t1210\tcontact_offset\t0,98\r\nE1\t1 intake\t2024-07-30\t1883\tcontact_offset\t1,03\r\nE1\t1 exhaust\t2024-01-15\t1210\tcontact_offset\t1,01\r\nE1\t1 exhaust\t2024-07-30\t1883\tcontact_offset\t1,06\r\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a measuring device",
            Text(
                "Device 7, micrometer 0-25 mm\nPrinted;15.01.2024 08:12\n\nNo.;Lot;Part No.;Value (mm);Judged\n1;A;001;0,601;OK\n2;A;002;0,598;OK\n3;A;003;0,604;OK\n",
            ),
            Read("lot,part,reading\nA,001,0.601\nA,002,0.598\nA,003,0.604\n"),
        ),
    ]
}

/// Others.
pub(crate) fn further() -> Vec<Case> {
    vec![
        case(
            "export: a statistics program, NA for nothing",
            Text(
                "\"\",\"engine\",\"valve\",\"date\",\"hours\",\"feature\",\"value\",\"event\"\n\"1\",\"E1\",\"1 intake\",2024-01-15,1210,\"contact_offset\",0.98,NA\n\"2\",\"E1\",\"1 intake\",2024-07-30,1883,\"contact_offset\",1.03,NA\n\"3\",\"E1\",\"1 exhaust\",2024-01-15,1210,\"contact_offset\",1.01,NA\n\"4\",\"E1\",\"1 exhaust\",2024-07-30,1883,\"contact_offset\",1.06,NA\n",
            ),
            Read(
                "engine,valve,date,hours,feature,value,event\nE1,1 intake,2024-01-15,1210,contact_offset,0.98,\nE1,1 intake,2024-07-30,1883,contact_offset,1.03,\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01,\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06,\n",
            ),
        ),
        case(
            "export: a web service, moments with their zone",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15T08:30:00+01:00,1210,contact_offset,0.98\nE1,1 intake,2024-07-30T08:30:00+01:00,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15T08:30:00+01:00,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30T08:30:00+01:00,1883,contact_offset,1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a web service, moments in universal time",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15T23:30:00Z,1210,contact_offset,0.98\nE1,1 intake,2024-07-30T23:30:00Z,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15T23:30:00Z,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30T23:30:00Z,1883,contact_offset,1.06\n",
            ),
            Refused(&["universal time", "write the date alone"]),
        ),
        case(
            "export: a web form, with the time it was sent",
            Text(
                "Timestamp,Engine,Valve,Date,Hours,Feature,Value,E-mail\n2024/08/01 9:12:33,E1,1 intake,2024-01-15,1210,contact_offset,0.98,a@shop.example\n2024/08/01 9:12:33,E1,1 intake,2024-07-30,1883,contact_offset,1.03,a@shop.example\n2024/08/01 9:12:33,E1,1 exhaust,2024-01-15,1210,contact_offset,1.01,a@shop.example\n2024/08/01 9:12:33,E1,1 exhaust,2024-07-30,1883,contact_offset,1.06,a@shop.example\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: headings over two lines",
            Text(
                "\"Engine\",\"Valve\",\"Date\",\"Running\nhours\",\"Feature\",\"Value\n(mm)\"\n\"E1\",\"1 intake\",\"2024-01-15\",\"1210\",\"contact_offset\",\"0.98\"\n\"E1\",\"1 intake\",\"2024-07-30\",\"1883\",\"contact_offset\",\"1.03\"\n\"E1\",\"1 exhaust\",\"2024-01-15\",\"1210\",\"contact_offset\",\"1.01\"\n\"E1\",\"1 exhaust\",\"2024-07-30\",\"1883\",\"contact_offset\",\"1.06\"\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: thousands apart by apostrophes",
            Text(
                "engine;valve;date;hours;feature;value\nE1;1 intake;15.01.2024;1'210;contact_offset;0.98\nE1;1 intake;30.07.2024;1'883;contact_offset;1.03\nE1;1 exhaust;15.01.2024;1'210;contact_offset;1.01\nE1;1 exhaust;30.07.2024;1'883;contact_offset;1.06\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: powers of ten",
            Text(
                "engine,valve,date,hours,feature,value\nE1,1 intake,2024-01-15,1.210E+03,contact_offset,9.8000E-01\nE1,1 intake,2024-07-30,1.883E+03,contact_offset,1.0300E+00\nE1,1 exhaust,2024-01-15,1.210E+03,contact_offset,1.0100E+00\nE1,1 exhaust,2024-07-30,1.883E+03,contact_offset,1.0600E+00\n",
            ),
            Read(TRUTH),
        ),
        case(
            "export: a cross-table with a column a date",
            Text(
                "engine,valve,feature,2024-01-15,2024-07-30\nE1,1 intake,contact_offset,0.98,1.03\nE1,1 exhaust,contact_offset,1.01,1.06\n",
            ),
            Refused(&["no column `date`", "a column for each date", "a row for each date"]),
        ),
        case(
            "export: a row of units under the headings",
            Text(
                "engine,valve,date,hours,feature,value\n,,,h,,mm\nE1,1 intake,2024-01-15,1210,contact_offset,0.98\nE1,1 intake,2024-07-30,1883,contact_offset,1.03\nE1,1 exhaust,2024-01-15,1210,contact_offset,1.01\nE1,1 exhaust,2024-07-30,1883,contact_offset,1.06\n",
            ),
            Refused(&["a row of units", "delete it"]),
        ),
        case(
            "export: fields apart by blanks",
            Text(
                "engine  valve      date        hours  feature         value\nE1      1 intake   2024-01-15  1210   contact_offset  0.98\nE1      1 intake   2024-07-30  1883   contact_offset  1.03\nE1      1 exhaust  2024-01-15  1210   contact_offset  1.01\nE1      1 exhaust  2024-07-30  1883   contact_offset  1.06\n",
            ),
            Refused(&["apart by blanks", "commas, semicolons or tabs"]),
        ),
        case(
            "export: JSON",
            Text(
                "[{\"engine\":\"E1\",\"valve\":\"1 intake\",\"date\":\"2024-01-15\",\"hours\":1210,\"feature\":\"contact_offset\",\"value\":0.98}]\n",
            ),
            Refused(&["found JSON", ".csv"]),
        ),
        case(
            "export: a page in HTML that is named a workbook",
            Text("<html><body><table><tr><th>engine</th><th>valve</th></tr></table></body></html>\n"),
            Refused(&["HTML", "save it as .xlsx or .csv"]),
        ),
        case(
            "export: an OpenDocument workbook",
            Text(
                "PK\u{3}\u{4}\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0mimetypeapplication/vnd.oasis.opendocument.spreadsheet",
            ),
            Refused(&["OpenDocument", "save it as .xlsx or .csv"]),
        ),
        case(
            "export: a workbook in which all is text",
            Sheets(&[Sheet {
                name: "Sheet1",
                hidden: false,
                rows: "Engine|Valve|Date|Hours|Feature|Value\nE1|1 intake|15.01.2024|1210|contact_offset|0,98\nE1|1 intake|30.07.2024|1883|contact_offset|1,03\nE1|1 exhaust|15.01.2024|1210|contact_offset|1,01\nE1|1 exhaust|30.07.2024|1883|contact_offset|1,06\n",
            }]),
            Read(TRUTH),
        ),
        case(
            "export: a workbook with an empty row between engines and a summary beside",
            Sheets(&[
                Sheet { name: "Summary", hidden: false, rows: "Feature|Mean\ncontact_offset|n:1.02\n" },
                Sheet {
                    name: "Readings 2024",
                    hidden: false,
                    rows: "Engine|Valve|Date|Hours|Feature|Value\nE1|1 intake|d:2024-01-15T00:00:00|n:1210|contact_offset|n:0.98\nE1|1 intake|d:2024-07-30T00:00:00|n:1883|contact_offset|n:1.03\n\nE1|1 exhaust|d:2024-01-15T00:00:00|n:1210|contact_offset|n:1.01\nE1|1 exhaust|d:2024-07-30T00:00:00|n:1883|contact_offset|n:1.06\n",
                },
            ]),
            Read(TRUTH),
        ),
    ]
}
