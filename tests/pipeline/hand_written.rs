//! Eight exports of the same tests, each written by hand as its exporter would and by nothing that the others use.

use chrono::{Datelike, NaiveDateTime, Timelike};

/// Moment, serial, whole microamperes, and 0 for a pass, 1 for over limit, 2 for a breakdown without a reading.
type Tests = [(NaiveDateTime, String, u32, usize)];

/// All of them, by name: model M1 at station S1 with 1 500 V of 50 Hz, against a limit of 1.300 mA.
pub(super) fn files(tests: &Tests) -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("lines.jsonl", json_lines(tests)),
        ("document.json", json_document(tests)),
        ("pages.prn", print_file(tests)),
        ("liste.log", german_list(tests)),
        ("elements.xml", xml_elements(tests)),
        ("attributes.xml", xml_attributes(tests)),
        ("units.dat", a_row_a_unit(tests)),
        ("query.txt", framed_table(tests)),
    ]
}

/// A logger of one object a line; Windows line ends.
fn json_lines(tests: &Tests) -> Vec<u8> {
    let mut out = String::new();
    for (at, serial, ua, kind) in tests {
        let reading =
            if *kind == 2 { "null".to_owned() } else { (f64::from(*ua) / 1000.0).to_string() };
        out.push_str(&format!(
            "{{\"testedAt\":\"{}\",\"model\":\"M1\",\"serial\":\"{serial}\",\"station\":\"S1\",\"appliedV\":1500,\"frequencyHz\":50,\"leakageMa\":{reading},\"highLimitMa\":1.3,\"result\":\"{}\"}}\r\n",
            at.format("%Y-%m-%dT%H:%M:%S"),
            ["pass", "over limit", "breakdown"][*kind],
        ));
    }
    out.into_bytes()
}

/// A document with its station in the head, and the measured values one level further down.
fn json_document(tests: &Tests) -> Vec<u8> {
    let mut out =
        "{\n  \"station\": { \"name\": \"S1\" },\n  \"program\": \"line 3\",\n  \"units\": ["
            .to_owned();
    for (n, (at, serial, ua, kind)) in tests.iter().enumerate() {
        let comma = if n == 0 { "" } else { "," };
        let (word, current) = match kind {
            0 => ("OK", format!("\"current_ua\": {ua}, ")),
            1 => ("Fail high", format!("\"current_ua\": {ua}, ")),
            _ => ("Flashover", String::new()),
        };
        out += &format!(
            "{comma}\n    {{ \"serial\": \"{serial}\", \"model\": \"M1\", \"date\": \"{}\", \"time\": \"{}\",\n      \"withstand\": {{ \"voltage_v\": 1500, \"frequency_hz\": 50, {current}\"limit_high_ua\": 1300, \"result\": \"{word}\" }} }}",
            at.date(),
            at.time(),
        );
    }
    out += "\n  ]\n}\n";
    out.into_bytes()
}

/// Pages of 50 rows, each with a title, a form feed, the header again and a rule; numbers to the right.
fn print_file(tests: &Tests) -> Vec<u8> {
    let mut out = Vec::new();
    for (page, rows) in tests.chunks(50).enumerate() {
        if page > 0 {
            out.push(0x0c);
        }
        out.extend(format!("Safety tests of line 3{:>44} {}\r\n\r\n", "page", page + 1).bytes());
        out.extend(b"Date       Time     Model Serial No Station Voltage [V] Freq [Hz] Leakage [mA] High limit [mA] Result\r\n");
        out.extend(b"---------- -------- ----- --------- ------- ----------- --------- ------------ --------------- ----------\r\n");
        for (at, serial, ua, kind) in rows {
            let shown =
                if *kind == 2 { String::new() } else { format!("{}.{:03}", ua / 1000, ua % 1000) };
            let word = match kind {
                0 => "Pass",
                1 => "Over limit",
                _ => "Breakdown",
            };
            out.extend(
                format!(
                    "{}/{:02}/{:02} {:02}:{:02}:{:02} {:<5} {serial:<9} {:<7} {:>11} {:>9} {shown:>12} {:>15} {word}\r\n",
                    at.year(),
                    at.month(),
                    at.day(),
                    at.hour(),
                    at.minute(),
                    at.second(),
                    "M1",
                    "S1",
                    "1500",
                    "50",
                    "1.300",
                )
                .bytes(),
            );
        }
    }
    out
}

/// A list of a German program of long ago: one byte a letter, decimal commas, the station above the list.
fn german_list(tests: &Tests) -> Vec<u8> {
    let pad = |text: &str, width: usize| {
        let mut text = text.to_owned();
        while text.chars().count() < width {
            text.push(' ');
        }
        text
    };
    let mut out = String::from("Prüfplatz: S1\n\n");
    let widths = [12, 10, 6, 12, 15, 15, 18, 18, 12];
    let head = [
        "Datum",
        "Uhrzeit",
        "Typ",
        "Seriennr.",
        "Spannung [kV]",
        "Frequenz [Hz]",
        "Ableitstrom [mA]",
        "Obergrenze [mA]",
        "Ergebnis",
    ];
    for (name, width) in head.iter().zip(widths) {
        out += &pad(name, width);
    }
    out.push('\n');
    for (at, serial, ua, kind) in tests {
        let milli = |x: u32| format!("{},{:03}", x / 1000, x % 1000);
        let cells = [
            at.format("%d.%m.%Y").to_string(),
            at.format("%H:%M:%S").to_string(),
            "M1".into(),
            serial.clone(),
            "1,50".into(),
            "50".into(),
            if *kind < 2 { milli(*ua) } else { String::new() },
            milli(1300),
            ["gut", "zu hoch", "Durchschlag"][*kind].into(),
        ];
        for (cell, width) in cells.iter().zip(widths) {
            out += &pad(cell, width);
        }
        out = out.trim_end().to_owned() + "\n";
    }
    out.chars().map(|c| u8::try_from(u32::from(c)).expect("Latin letters")).collect()
}

/// An element for each value, with its unit beside it.
fn xml_elements(tests: &Tests) -> Vec<u8> {
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- exported -->\n<tests station=\"S1\">\n",
    );
    for (at, serial, ua, kind) in tests {
        out += "  <test>\n";
        out += &format!("    <date>{}</date><time>{}</time>\n", at.date(), at.time());
        out += &format!("    <model>M1</model>\n    <serial>{serial}</serial>\n");
        out +=
            "    <voltage unit=\"kV\">1.5</voltage>\n    <frequency unit=\"Hz\">50</frequency>\n";
        if *kind == 2 {
            out += "    <leakage unit=\"&#181;A\"/>\n";
        } else {
            out += &format!("    <leakage unit=\"&#181;A\">{ua}</leakage>\n");
        }
        out += "    <highLimit unit=\"mA\">1.300</highLimit>\n";
        out += &format!(
            "    <result><![CDATA[{}]]></result>\n  </test>\n",
            ["PASS", "OVER LIMIT", "BREAKDOWN"][*kind]
        );
    }
    out += "</tests>\n";
    out.into_bytes()
}

/// A record in attributes alone, below a head; declared and written in one byte a letter.
fn xml_attributes(tests: &Tests) -> Vec<u8> {
    let mut out: Vec<u8> = b"<?xml version='1.0' encoding='ISO-8859-1'?><Report><Station id='S1'/><Site>N\xfcrnberg</Site><Units>".to_vec();
    for (at, serial, ua, kind) in tests {
        out.extend(
            format!(
                "<Unit SerialNumber='{serial}' Type='M1' Date='{}' Time='{}'",
                at.date(),
                at.time()
            )
            .into_bytes(),
        );
        out.extend(b" SetVoltageV='1500' FrequencyHz='50' HighLimitMA='1.3'");
        if *kind != 2 {
            out.extend(format!(" LeakageMA='{}'", f64::from(*ua) / 1e3).into_bytes());
        }
        let word: &[u8] = [&b"pass"[..], b"fail high", b"breakdown"][*kind];
        out.extend(b" Result='");
        out.extend(word);
        out.extend(b"'/>");
    }
    out.extend(b"</Units></Report>");
    out
}

/// One row a unit: its withstand test, and beside it what its insulation resistance was.
fn a_row_a_unit(tests: &Tests) -> Vec<u8> {
    let mut lines = vec![
        "Serial No;Model;Station;Date;Time;ACW V;ACW Hz;ACW mA;ACW high limit mA;ACW result;IR V;IR MΩ".to_owned(),
    ];
    for (at, serial, ua, kind) in tests {
        let acw = match kind {
            2 => ";1.300;BREAKDOWN".to_owned(),
            1 => format!("{:.3};1.300;FAIL HIGH", f64::from(*ua) * 0.001),
            _ => format!("{:.3};1.300;PASS", f64::from(*ua) * 0.001),
        };
        lines.push(format!(
            "{serial};M1;S1;{};{};1500;50;{acw};500;{}",
            at.date(),
            at.time(),
            900 + ua % 7
        ));
    }
    lines.join("\n").into_bytes()
}

/// What a database prints: bars between the cells and around the table, rules of dashes.
fn framed_table(tests: &Tests) -> Vec<u8> {
    let rule = "+---------------------+-------+--------+---------+---------+------+------------+---------------+------------+\n";
    let mut out = rule.to_owned();
    out += "| tested_at           | model | serial | station | set_v   | hz   | reading_ma | high_limit_ma | outcome    |\n";
    out += rule;
    for (at, serial, ua, kind) in tests {
        let reading = match kind {
            2 => String::new(),
            _ => format!("{:.3}", f64::from(*ua) / 1000.0),
        };
        out += &format!(
            "| {} | M1    | {serial} | S1      | 1500    | 50   | {reading:>10} |         1.300 | {:<10} |\n",
            at.format("%Y-%m-%d %H:%M:%S"),
            ["pass", "over limit", "breakdown"][*kind],
        );
    }
    out += rule;
    out += &format!("({} rows)\n", tests.len());
    out.into_bytes()
}
