//! From rows of a spreadsheet to rates at the parts.

use super::*;
use crate::catalogue::load_catalogue;
use crate::rates::result::load_results;
use crate::rates::two_way::Level;

/// Three processors and five cards; two workloads of three and two tests.
const CATALOGUE: &str = r#"
[[workload]]
id = "play-1440p"
unit = "frames/s"
limited_by = ["cpu", "gpu"]
reference = 60
[[workload.test]]
test = "Harrow Fields"
setting = "1440p high"
[[workload.test]]
test = "Ninth Tide"
setting = "1440p high"
weight = 2
[[workload]]
id = "play-2160p"
unit = "frames/s"
limited_by = ["cpu", "gpu"]
reference = 60
[[workload.test]]
test = "Harrow Fields"
setting = "2160p high"
[[part]]
id = "tarn-4"
kind = "cpu"
name = "Tarn 4"
[[part]]
id = "tarn-6"
kind = "cpu"
name = "Tarn 6"
[[part]]
id = "skua-8"
kind = "gpu"
name = "Skua 8"
[[part]]
id = "skua-12"
kind = "gpu"
name = "Skua 12"
[[part]]
id = "skua-16"
kind = "gpu"
name = "Skua 16"
"#;

fn table(rows: &str) -> (RateTable, Catalogue) {
    let (mut catalogue, faults) = load_catalogue(&[("c.toml", CATALOGUE)]);
    assert_eq!(faults, Vec::new());
    let text = format!("parts,test,setting,value,unit,limited_by,source,date\n{rows}");
    let (results, faults) = load_results(&[("m.csv", &text)], &catalogue);
    assert_eq!(faults, Vec::new());
    let table = derive(&catalogue, &results);
    table.apply(&mut catalogue);
    (table, catalogue)
}

fn rate<'c>(catalogue: &'c Catalogue, workload: &str, part: &str) -> Option<&'c Rate> {
    catalogue.parts[&PartId::new(part)]
        .rates
        .get(&WorkloadId::new(workload))
}

#[test]
fn a_workload_is_the_weighted_geometric_mean_of_its_tests() {
    let (_, catalogue) = table(
        "skua-8,Harrow Fields,1440p high,50,fps,,own bench,2026-09\n\
         skua-8,Ninth Tide,1440p high,80,fps,,own bench,2026-10\n",
    );
    let found = rate(&catalogue, "play-1440p", "skua-8").unwrap();
    // 50^(1/3) x 80^(2/3) = 68.399.
    assert_eq!(found.milli, 68_399);
    let evidence = Evidence::Results("2 results in 2 tests, own bench, 2026-10".into());
    assert_eq!(found.evidence, evidence);
    // Two results of one part contradict nothing, so the usual error of a run counts: 3 %/√2.
    assert_eq!(found.error_micro, 21_213);
}

#[test]
fn runs_of_one_test_count_as_one_by_their_harmonic_mean() {
    let (_, catalogue) = table(
        "skua-8,Harrow Fields,2160p high,60,fps,,own bench,2026-09\n\
         skua-8,Harrow Fields,2160p high,30,fps,,own bench,2026-09\n",
    );
    // Over equal numbers of frames, 60 and 30 frames/s are 40.
    let found = rate(&catalogue, "play-2160p", "skua-8").unwrap();
    assert_eq!(found.milli, 40_000);
}

#[test]
fn a_four_core_and_a_six_core_processor_differ_little_behind_a_mid_range_card() {
    // Common practice, no source: with a mid-range card, processors of one generation with four and
    // six cores give nearly the same gaming rates. Both builds speak of the card alone.
    let (table, catalogue) = table(
        "tarn-4 + skua-12,Harrow Fields,1440p high,61.2,fps,,own bench,2026-09\n\
         tarn-6 + skua-12,Harrow Fields,1440p high,62.0,fps,,own bench,2026-09\n\
         tarn-4 + skua-12,Ninth Tide,1440p high,74.1,fps,,own bench,2026-09\n\
         tarn-6 + skua-12,Ninth Tide,1440p high,74.6,fps,,own bench,2026-09\n",
    );
    let fit = &table.fits[&WorkloadId::new("play-1440p")];
    assert!(fit.is_stable && fit.disagreements.is_empty());
    assert_eq!(fit.limits, [Kind::Gpu; 4]);
    assert!(rate(&catalogue, "play-1440p", "skua-12").is_some());
    // What the processors can do by themselves is not known from this, and not made up.
    assert!(rate(&catalogue, "play-1440p", "tarn-4").is_none());
}

#[test]
fn a_part_that_no_common_test_connects_is_named_and_has_no_rate() {
    let (table, catalogue) = table(
        "skua-8,Harrow Fields,1440p high,50,fps,,own bench,2026-09\n\
         skua-12,Ninth Tide,1440p high,80,fps,,own bench,2026-10\n",
    );
    assert!(rate(&catalogue, "play-1440p", "skua-8").is_none());
    let fit = &table.fits[&WorkloadId::new("play-1440p")];
    let named: Vec<(&str, String)> = fit
        .unconnected
        .iter()
        .map(|one| (one.part.as_str(), one.tests[0].to_string()))
        .collect();
    assert_eq!(
        named,
        [
            ("skua-12", "Harrow Fields at 1440p high".to_owned()),
            ("skua-8", "Ninth Tide at 1440p high".to_owned()),
        ]
    );
}

#[test]
fn another_resolution_gives_an_estimate_that_is_called_one() {
    let (_, catalogue) = table("skua-8,Harrow Fields,1080p high,100,fps,,own bench,2026-09\n");
    let found = rate(&catalogue, "play-2160p", "skua-8").unwrap();
    assert!(found.evidence.is_estimate());
    // Four times the pixels, twice the step from 1080p to 1440p and a half: by the usual exponent.
    let usual = crate::rates::resolution::Scaling::usual();
    let expected = 100_000.0 * 4.0_f64.powf(-usual.exponent);
    assert!((found.milli as f64 - expected).abs() < 1.0);
    assert!(found.error_micro > 80_000, "{}", found.error_micro);
}

#[test]
fn a_processor_feeds_as_many_frames_at_any_resolution() {
    let (_, catalogue) = table("tarn-6,Harrow Fields,1080p high,140,fps,,own bench,2026-09\n");
    let found = rate(&catalogue, "play-2160p", "tarn-6").unwrap();
    assert_eq!(found.milli, 140_000);
    assert!(found.evidence.is_estimate() && found.error_micro > 60_000);
}

#[test]
fn the_authors_own_pairs_tell_how_much_a_resolution_costs() {
    let mut rows = String::new();
    for (part, low, high) in [
        ("skua-8", 100, 50),
        ("skua-12", 120, 60),
        ("skua-16", 160, 80),
    ] {
        rows += &format!("{part},Ninth Tide,1080p low,{low},fps,,own bench,2026-09\n");
        rows += &format!("{part},Ninth Tide,2160p low,{high},fps,,own bench,2026-09\n");
    }
    rows += "skua-8,Harrow Fields,1080p high,90,fps,,own bench,2026-09\n";
    let (_, catalogue) = table(&rows);
    // Half the frames at four times the pixels, as in all three pairs.
    let found = rate(&catalogue, "play-2160p", "skua-8").unwrap();
    assert_eq!(found.milli, 45_000);
    assert!(found.evidence.text().contains("by the loss in 3 pairs"));
}

#[test]
fn other_tests_lend_an_estimate_by_the_parts_that_were_in_both() {
    let mut rows = String::new();
    for (part, here, there) in [
        ("skua-8", 50, 1_000),
        ("skua-12", 60, 1_200),
        ("skua-16", 80, 1_600),
    ] {
        rows += &format!("{part},Harrow Fields,2160p high,{here},fps,,own bench,2026-09\n");
        rows += &format!("{part},Fold,,{there},points,,own bench,2026-09\n");
    }
    let (mut catalogue, _) = load_catalogue(&[(
        "c.toml",
        &format!("{CATALOGUE}[[part]]\nid = \"skua-20\"\nkind = \"gpu\"\nname = \"Skua 20\"\n"),
    )]);
    rows += "skua-20,Fold,,2000,points,,own bench,2026-09\n";
    let text = format!("parts,test,setting,value,unit,limited_by,source,date\n{rows}");
    let (results, _) = load_results(&[("m.csv", &text)], &catalogue);
    derive(&catalogue, &results).apply(&mut catalogue);
    let found = rate(&catalogue, "play-2160p", "skua-20").unwrap();
    assert_eq!(found.milli, 100_000);
    assert!(found.evidence.is_estimate());
}

#[test]
fn what_the_author_wrote_at_a_part_stays() {
    let written = format!(
        "{CATALOGUE}[part.rates.play-2160p]\nrate = \"33\"\nsource = \"own bench, 2026-11\"\n"
    );
    let (mut catalogue, _) = load_catalogue(&[("c.toml", &written)]);
    let rows = "parts,test,setting,value,unit,source\nskua-16,Harrow Fields,2160p high,80,fps,me\n";
    let (results, _) = load_results(&[("m.csv", rows)], &catalogue);
    let table = derive(&catalogue, &results);
    table.apply(&mut catalogue);
    assert_eq!(
        rate(&catalogue, "play-2160p", "skua-16").unwrap().milli,
        33_000
    );
    let key = (WorkloadId::new("play-2160p"), PartId::new("skua-16"));
    assert!(
        (table.rates[&key].log.exp() - 80.0).abs() < 1e-9,
        "both are shown"
    );
}

#[test]
fn intervals_for_19_of_20_hold_the_truth_in_93_of_100_small_tables_at_least() {
    // Simulated tables with noise of 4 %: the share of 95 % intervals that hold the true ratio.
    // Where few results go beyond the effects, errors alone would be too narrow.
    use crate::rates::two_way::{Cell, TwoWay, Weighting};
    let mut state = 2_026_u64;
    let mut uniform = || {
        // SplitMix64 (Steele, Lea and Flood, OOPSLA 2014), from memory.
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    };
    for (parts, tests, filled, least) in [(5, 3, 0.9, 0.93), (8, 5, 0.7, 0.93), (20, 5, 0.5, 0.93)]
    {
        let (mut inside, mut all) = (0.0, 0.0);
        for _ in 0..200 {
            let mut cells = Vec::new();
            for part in 0..parts {
                for test in 0..tests {
                    // Twelve uniform numbers less six: normal enough.
                    let noise: f64 = (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
                    if uniform() < filled {
                        let log = 0.1 * part as f64 + 0.2 * test as f64 + 0.04 * noise;
                        cells.push(Cell { part, test, log });
                    }
                }
            }
            let fit = TwoWay::fit(&cells, parts, tests, Weighting::Huber);
            let every: Vec<(usize, f64)> = (0..tests).map(|test| (test, 1.0)).collect();
            for part in 0..parts {
                let Ok(Level {
                    log,
                    error: Some(error),
                }) = fit.mean_over(part, &every)
                else {
                    continue;
                };
                let truth = 0.1 * part as f64 + 0.2 * (tests as f64 - 1.0) / 2.0;
                let error = (error * of_few(&fit)).max(LEAST_ERROR);
                all += 1.0;
                if (log - truth).abs() <= 1.96 * error {
                    inside += 1.0;
                }
            }
        }
        let share = inside / all;
        assert!(all > 500.0, "{parts} parts: {all} intervals");
        assert!((least..=0.98).contains(&share), "{parts} parts: {share:.3}");
    }
}
