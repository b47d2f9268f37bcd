//! Results as CSV: one row a result, under a header of our column names.

use super::{BenchResult, Raw, Reading};
use crate::catalogue::table::nearest;
use crate::catalogue::{Catalogue, Fault};

/// The columns of a file of results, in the order in which they are written.
pub const COLUMNS: [&str; 13] = [
    "parts",
    "test",
    "setting",
    "value",
    "unit",
    "limited_by",
    "source",
    "date",
    "note",
    Reading::Temperature.column(),
    Reading::Wall.column(),
    Reading::Clock.column(),
    Reading::Voltage.column(),
];
/// Columns without which a row says nothing.
const REQUIRED: [&str; 5] = ["parts", "test", "value", "unit", "source"];
/// What stands between the parts of a whole build.
const BETWEEN_PARTS: char = '+';

pub(super) fn load_csv(
    file: &str,
    text: &str,
    catalogue: &Catalogue,
) -> (Vec<BenchResult>, Vec<Fault>) {
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter(text))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut faults = Vec::new();
    let header = match reader.headers() {
        Ok(header) => header.clone(),
        Err(error) => return (Vec::new(), vec![unreadable(file, &error)]),
    };
    let header: Vec<String> = header.iter().map(str::to_lowercase).collect();
    faults.extend(header_faults(file, &header));
    if !faults.is_empty() {
        return (Vec::new(), faults);
    }
    let mut results = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(unreadable(file, &error));
                continue;
            }
        };
        let line = record.position().map_or(0, csv::Position::line) as usize;
        let field = |name: &str| {
            let column = header.iter().position(|known| known == name);
            column
                .and_then(|column| record.get(column))
                .unwrap_or("")
                .to_owned()
        };
        let parts = field("parts");
        let raw = Raw {
            parts: parts
                .split(BETWEEN_PARTS)
                .map(|part| part.trim().to_owned())
                .filter(|part| !part.is_empty())
                .collect(),
            test: field("test"),
            setting: field("setting"),
            value: field("value"),
            unit: field("unit"),
            limited_by: field("limited_by"),
            source: field("source"),
            date: field("date"),
            note: field("note"),
            readings: Reading::ALL.map(|one| field(one.column())),
        };
        match raw.check(catalogue, (file, line)) {
            Ok(result) => results.push(result),
            Err(wrong) => faults.extend(wrong.into_iter().map(|(field, message, remedy)| Fault {
                file: file.to_owned(),
                line,
                column: 1,
                message: format!("{field}: {message}"),
                remedy,
            })),
        }
    }
    (results, faults)
}

/// The sign between columns that the header has most of; spreadsheets differ by country.
fn delimiter(text: &str) -> u8 {
    let header = text.lines().next().unwrap_or("");
    let count = |sign: &u8| header.bytes().filter(|byte| byte == sign).count();
    // Of equals the last wins: a header of one column has no sign at all, and a comma then.
    [b'\t', b';', b',']
        .into_iter()
        .max_by_key(count)
        .unwrap_or(b',')
}

fn header_faults(file: &str, header: &[String]) -> Vec<Fault> {
    let fault = |message: String, remedy: String| Fault {
        file: file.to_owned(),
        line: 1,
        column: 1,
        message,
        remedy,
    };
    let mut faults = Vec::new();
    for name in header
        .iter()
        .filter(|name| !COLUMNS.contains(&name.as_str()))
    {
        let remedy = match nearest(name, COLUMNS.into_iter()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("known columns: {}", COLUMNS.join(", ")),
        };
        faults.push(fault(format!("unknown column \"{name}\""), remedy));
    }
    for name in REQUIRED
        .iter()
        .filter(|name| !header.iter().any(|known| known == *name))
    {
        let remedy = format!("name it in the first line, such as: {}", COLUMNS.join(","));
        faults.push(fault(format!("there is no column \"{name}\""), remedy));
    }
    faults
}

fn unreadable(file: &str, error: &csv::Error) -> Fault {
    let line = error.position().map_or(1, csv::Position::line) as usize;
    Fault {
        file: file.to_owned(),
        line,
        column: 1,
        message: format!("the line cannot be read as CSV: {error}"),
        remedy: "save the file as CSV in UTF-8".to_owned(),
    }
}

/// Results as CSV. With `header`, the names of the columns come first.
pub fn render_csv(results: &[BenchResult], header: bool) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    if header {
        // Writing into memory cannot fail; a lost row would show in the round trip's test.
        let _in_memory = writer.write_record(COLUMNS);
    }
    for result in results {
        let parts: Vec<&str> = result.parts.iter().map(|part| part.as_str()).collect();
        let row = vec![
            parts.join(" + "),
            result.test.name.clone(),
            result.test.setting.clone(),
            result.decimal(),
            result.unit.to_string(),
            result
                .limited_by
                .map_or(String::new(), |kind| kind.to_string()),
            result.source.clone(),
            result.date.map_or(String::new(), |date| date.to_string()),
            result.note.clone(),
        ];
        let readings = Reading::ALL.map(|one| result.readings.decimal(one));
        let row = row.into_iter().chain(readings);
        let _in_memory = writer.write_record(row);
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::super::load_results;
    use super::*;
    use crate::catalogue::load_catalogue;

    fn catalogue() -> Catalogue {
        let text = "[[part]]\nid = \"tarn-8\"\nkind = \"cpu\"\nname = \"Tarn 8\"\n\
            [[part]]\nid = \"skua-12\"\nkind = \"gpu\"\nname = \"Skua 12\"\n";
        load_catalogue(&[("p.toml", text)]).0
    }

    fn load(file: &str, text: &str) -> (Vec<BenchResult>, Vec<String>) {
        let (results, faults) = load_results(&[(file, text)], &catalogue());
        (results, faults.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn results_of_parts_and_builds_read_from_any_spreadsheet() {
        let (results, faults) = load(
            "m.csv",
            "parts;test;setting;value;unit;limited_by;source;date;note\n\
             skua-12;Harrow Fields;1440p high;61.40;fps;;own bench;2026-09;\n\
             tarn-8 + skua-12;Harrow Fields;1080p low;144;frames/s;cpu;own bench;2026-09-30;\"hot; day\"\n",
        );
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(results[0].decimal(), "61.4");
        assert_eq!(results[0].date.unwrap().to_string(), "2026-09-01");
        assert_eq!(results[1].parts.len(), 2);
        assert_eq!(results[1].limited_by, Some(crate::catalogue::Kind::Cpu));
        let (again, faults) = load("m.csv", &render_csv(&results, true));
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(again, results);
        // The same by hand in TOML.
        let toml = "[[result]]\nparts = \"skua-12\"\ntest = \"Harrow Fields\"\nsetting = \"1440p high\"\n\
            value = 61.4\nunit = \"fps\"\nsource = \"own bench\"\ndate = \"2026-09\"\n";
        let (by_hand, faults) = load("m.toml", toml);
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(
            render_csv(&by_hand, false),
            render_csv(&results[..1], false)
        );
    }

    #[test]
    fn readings_have_their_unit_in_the_column_and_what_no_pc_shows_is_a_fault() {
        let (results, faults) = load(
            "m.csv",
            "parts,test,value,unit,source,temperature_c,wall_w,clock_mhz,voltage_v\n\
             tarn-8 + skua-12,Harrow Fields,61.4,fps,own bench,68.5,331,,0.95\n",
        );
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(
            results[0].readings.words(),
            "68.5 °C, 331 W at the wall, 0.95 V"
        );
        assert_eq!(results[0].readings.get(Reading::Clock), None);
        let (again, faults) = load("m.csv", &render_csv(&results, true));
        assert_eq!((again, faults), (results, Vec::new()));
        let (_, faults) = load(
            "m.csv",
            "parts,test,value,unit,source,temperature_c,voltage_v\nskua-12,a,1,fps,me,68 C,950\n",
        );
        assert_eq!(
            faults,
            [
                "m.csv:2:1: temperature_c: \"68 C\" is no number of °C that a PC shows; write digits \
                 with a point, from -20 to 150, without the unit",
                "m.csv:2:1: voltage_v: \"950\" is no number of V that a PC shows; write digits with a \
                 point, from 0.1 to 20, without the unit",
            ]
        );
        let toml = "[[result]]\nparts = \"skua-12\"\ntest = \"a\"\nvalue = 1\nunit = \"fps\"\n\
            source = \"me\"\nwall_w = 331.5\n";
        let (by_hand, faults) = load("m.toml", toml);
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(by_hand[0].readings.get(Reading::Wall), Some(331.5));
    }

    #[test]
    fn every_fault_of_a_row_is_named_at_once() {
        let (results, faults) = load(
            "m.csv",
            "parts,test,value,unit,limited_by,source,date\nskua-21,,0,W,psu,,31.9.2026\n",
        );
        assert_eq!(results, Vec::new());
        assert_eq!(
            faults,
            [
                "m.csv:2:1: parts: no part is called \"skua-21\"; did you mean \"skua-12\"?",
                "m.csv:2:1: test: no test is named; write the test's name",
                "m.csv:2:1: value: \"0\" is no number above zero; write digits with a point, such \
                 as 61.4; leave the row out if the test failed",
                "m.csv:2:1: unit: \"W\" is no unit of a result; write frames/s, points, jobs/h, MB/s \
                 or any other count per s, min or h; ms, s, min, h for durations",
                "m.csv:2:1: date: \"31.9.2026\" is no date; write it as 2026-09-30, or 2026-09 when \
                 the day is not known",
                "m.csv:2:1: source: no source is named; write who measured it, such as \"own bench\"",
            ]
        );
    }

    #[test]
    fn a_file_under_other_columns_is_refused_with_the_right_ones() {
        let (_, faults) = load("m.csv", "part,test,value,unit,source\nskua-12,a,1,fps,me\n");
        assert_eq!(
            faults,
            [
                "m.csv:1:1: unknown column \"part\"; did you mean \"parts\"?",
                "m.csv:1:1: there is no column \"parts\"; name it in the first line, such as: \
                 parts,test,setting,value,unit,limited_by,source,date,note,temperature_c,wall_w,\
                 clock_mhz,voltage_v",
            ]
        );
    }
}
