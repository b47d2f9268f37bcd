//! The report as Markdown.

use crate::child::Measured;
use crate::{Cores, Growth, POLLS, Series};
use std::fmt::Write as _;
use std::io::Write as _;

/// What the figures cannot show by themselves.
const BOUNDS: &str = "
A first poll stores a row of `offer`, one of `observation` and, of a known part, one of
`matching`, with their indices, checks and foreign keys. It cannot take less time than *rows*, so
it cannot be faster than the script by more than script / rows. Reading the records comes on top
of that on one core, most of all reading their titles, which the script does not do; on two cores
it goes on while they are stored, and the slower half counts. A later poll knows a record again
that the ledger has, by a digest, and reads and stores it no more: of the same offers there is
left to find the records in the document, to digest them, and to count what is absent. Then JSON
and XML take longer than CSV, for their syntax. The script reads one way of writing a price and
trusts it, and holds the whole feed in memory.
";

pub fn render(all: &[Series], growths: &[Growth], n_offers: u32, seed: u64) -> String {
    let mut text = format!(
        "# Intake: how fast a poll takes a feed in\n\n\
         Written by `cargo bench --bench intake`; what is measured, and how, stands in\n\
         [`intake/main.rs`](intake/main.rs). {n_offers} offers, seed {seed}, on one core and on two of: {}.\n\
         {}; SQLite {} here.\n\n\
         *Poll* is this program from the bytes of the feed to the commit: decode, normalise, match,\n\
         doubt, store. *Script* is [`peer.py`](peer.py), the same job in Python's standard library.\n\
         *Rows* is the bare insertion of the rows that the poll stored. A poll is of offers that are\n\
         `new`, all the `same` as before, or `changed` in one price of ten.\n\n\
         | cores | feed | poll of offers | poll, s | offers/s | script, s | script / poll | rows, s | poll / rows |\n\
         | --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n",
        machine(),
        python(),
        rusqlite::version(),
    );
    for series in all {
        for (name, row) in POLLS.iter().zip(&series.polls) {
            let (poll, script) = (row.poll, row.script);
            let (rows, ratio) = match row.rows {
                Some(rows) => (
                    format!("{:.2}", rows.seconds),
                    format!("{:.1}", poll.seconds / rows.seconds),
                ),
                None => (String::new(), String::new()),
            };
            let _ = writeln!(
                text,
                "| {} | {} | {name} | {:.2} | {:.0} | {:.2} | {:.1} | {rows} | {ratio} |",
                match series.cores {
                    Cores::One => "one",
                    Cores::Two => "two",
                },
                series.format.name(),
                poll.seconds,
                poll.offers as f64 / poll.seconds,
                script.seconds,
                script.seconds / poll.seconds,
            );
        }
    }
    text.push_str(BOUNDS);
    text.push_str(
        "\nPeak memory of a first poll of CSV, in MiB:\n\n\
         | offers | poll | script |\n| ---: | ---: | ---: |\n",
    );
    for growth in growths {
        let mebibytes = |measured: Measured| measured.peak_kib as f64 / 1024.0;
        let _ = writeln!(
            text,
            "| {} | {:.1} | {:.1} |",
            growth.n_offers,
            mebibytes(growth.poll),
            mebibytes(growth.script)
        );
    }
    text
}

pub fn show(text: &str) -> std::io::Result<()> {
    std::io::stdout().write_all(text.as_bytes())
}

/// Ratios are what counts; the kind of processor says enough.
fn machine() -> String {
    format!("an {} processor", std::env::consts::ARCH)
}

fn python() -> String {
    let output = std::process::Command::new("python3")
        .args(["-c", "import platform, sqlite3; print('Python', platform.python_version(), 'with SQLite', sqlite3.sqlite_version)"])
        .output();
    output.map_or_else(
        |error| error.to_string(),
        |output| String::from_utf8_lossy(&output.stdout).trim().to_owned(),
    )
}
