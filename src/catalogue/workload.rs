//! Workloads: the uses that are measured, and the tests that measure them.

use super::id::WorkloadId;
use super::kind::Kind;
use super::load::{read_kind, read_rate_value};
use super::part::Catalogue;
use super::table::Table;
use std::cmp::Ordering;
use std::fmt;

/// One use that is measured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Workload {
    pub id: WorkloadId,
    pub name: String,
    /// Unit of its rates, such as frames/s.
    pub unit: String,
    /// The kinds whose parts limit it.
    pub limited_by: Vec<Kind>,
    /// The rate that counts as 100, in thousandths of the unit.
    pub reference_milli: i64,
    /// The tests that measure it; without any, rates are written at the parts.
    pub tests: Vec<WeightedTest>,
}

/// A test and what it counts beside the others of its workload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeightedTest {
    pub test: TestId,
    /// A whole number above zero.
    pub weight: i64,
}

/// A test at a setting, such as a game's built-in run at "1440p high".
///
/// Two ids are one when they differ in case, blanks and dashes alone.
#[derive(Debug, Clone)]
pub struct TestId {
    pub name: String,
    pub setting: String,
    folded: (String, String),
}

impl TestId {
    pub fn new(name: &str, setting: &str) -> TestId {
        let fold = |text: &str| -> String {
            text.chars()
                .filter(|one| !one.is_whitespace() && !matches!(one, '-' | '_'))
                .flat_map(char::to_lowercase)
                .collect()
        };
        TestId {
            name: name.trim().to_owned(),
            setting: setting.trim().to_owned(),
            folded: (fold(name), fold(setting)),
        }
    }

    /// True when both are of one test, at whatever setting.
    pub fn is_same_test(&self, other: &TestId) -> bool {
        self.folded.0 == other.folded.0
    }
}

impl PartialEq for TestId {
    fn eq(&self, other: &TestId) -> bool {
        self.folded == other.folded
    }
}

impl Eq for TestId {}

impl PartialOrd for TestId {
    fn partial_cmp(&self, other: &TestId) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for TestId {
    fn cmp(&self, other: &TestId) -> Ordering {
        self.folded.cmp(&other.folded)
    }
}

impl fmt::Display for TestId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if !self.setting.is_empty() {
            write!(f, " at {}", self.setting)?;
        }
        Ok(())
    }
}

/// Reads a `[[workload]]`; one whose id is taken is a fault.
pub(super) fn read_workload(mut table: Table<'_, '_>, known: &Catalogue) -> Option<Workload> {
    let document = table.document();
    let id = table.required_text("id");
    let name = table.text("name");
    let unit = table.required_text("unit");
    table.require("limited_by");
    let limited_by = table.texts("limited_by").and_then(|kinds| {
        let kinds: Vec<Option<Kind>> = kinds
            .value
            .iter()
            .map(|kind| read_kind(&table, kind))
            .collect();
        kinds.into_iter().collect::<Option<Vec<Kind>>>()
    });
    table.require("reference");
    let reference_milli = read_rate_value(&mut table, "reference");
    let tests = read_tests(&mut table);
    table.finish();
    let id = id?;
    let workload = Workload {
        id: WorkloadId::new(&id.value),
        name: name.map_or_else(|| id.value.clone(), |name| name.value),
        unit: unit?.value,
        limited_by: limited_by?,
        reference_milli: reference_milli?,
        tests,
    };
    if known.workloads.contains_key(&workload.id) {
        let message = format!("workload \"{}\" is defined twice", id.value);
        document.fault(&id.span, message, "give each workload an id of its own");
    }
    Some(workload)
}

fn read_tests(table: &mut Table<'_, '_>) -> Vec<WeightedTest> {
    let mut tests: Vec<WeightedTest> = Vec::new();
    for mut test in table.tables("test") {
        let name = test.required_text("test");
        let setting = test.text("setting").map_or(String::new(), |at| at.value);
        let weight = test
            .integer("weight", 1..1_000_001)
            .map_or(1, |at| at.value);
        let (document, span) = (test.document(), test.span());
        test.finish();
        let Some(name) = name else { continue };
        let id = TestId::new(&name.value, &setting);
        if tests.iter().any(|known| known.test == id) {
            let message = format!("the test \"{id}\" is named twice");
            document.fault(&span, message, "give it one weight, once");
            continue;
        }
        tests.push(WeightedTest { test: id, weight });
    }
    tests
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_test_is_known_however_it_is_spelt() {
        let test = TestId::new("Harrow Fields", "1440p high");
        assert_eq!(test, TestId::new("harrow-fields", " 1440P  High"));
        assert_ne!(test, TestId::new("Harrow Fields", "1080p high"));
        assert!(test.is_same_test(&TestId::new("HARROW FIELDS", "")));
        assert_eq!(test.to_string(), "Harrow Fields at 1440p high");
    }
}
