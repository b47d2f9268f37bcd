//! What single expressions mean; tests/suite/schedules.rs holds them against croniter.

use super::*;

fn at(text: &str) -> DateTime<Utc> {
    let at = DateTime::parse_from_rfc3339(text).unwrap();
    at.with_timezone(&Utc)
}

/// The next times after an instant, as the clock of the zone shows them.
fn next(expression: &str, zone: Tz, after: &str, n: usize) -> Vec<String> {
    let schedule = Schedule::parse(expression, zone).unwrap();
    let mut from = at(after);
    let mut due = Vec::new();
    for _ in 0..n {
        from = schedule.next_after(from).unwrap();
        let local = from.with_timezone(&zone);
        due.push(local.format("%d %H:%M:%S%:::z").to_string());
    }
    due
}

fn check(expression: &str, after: &str, expected: &str) {
    let schedule = Schedule::parse(expression, Tz::UTC).unwrap();
    let next = schedule.next_after(at(after)).unwrap();
    assert_eq!(next, at(expected), "{expression}");
}

#[test]
fn weekdays_and_day_fields_mean_what_posix_says() {
    // POSIX.1-2017 crontab(1p); pitfall D03. 2026-01-01 is a Thursday.
    for (expression, after, expected) in [
        (
            "*/15 * * * *",
            "2026-01-01T00:00:00Z",
            "2026-01-01T00:15:00Z",
        ),
        (
            "0 7 * * 1-5",
            "2026-01-02T08:00:00Z",
            "2026-01-05T07:00:00Z",
        ),
        ("0 0 * * 0", "2026-01-01T00:00:00Z", "2026-01-04T00:00:00Z"),
        ("0 0 * * 7", "2026-01-01T00:00:00Z", "2026-01-04T00:00:00Z"),
        (
            "30 4 1,15 * 5",
            "2026-01-01T05:00:00Z",
            "2026-01-02T04:30:00Z",
        ),
        (
            "30 4 1,15 * 5",
            "2026-01-10T00:00:00Z",
            "2026-01-15T04:30:00Z",
        ),
        ("0 0 29 2 *", "2026-01-01T00:00:00Z", "2028-02-29T00:00:00Z"),
        (
            "5 0 * jan,feb *",
            "2026-02-28T12:00:00Z",
            "2027-01-01T00:05:00Z",
        ),
        // crontab(5): a field that begins with `*` is no restriction that could be the "either".
        (
            "0 0 */2 * 1",
            "2026-01-10T00:00:00Z",
            "2026-01-19T00:00:00Z",
        ),
        (
            "0 0 ? * sat-sun",
            "2026-01-01T00:00:00Z",
            "2026-01-03T00:00:00Z",
        ),
        (
            "0 0 * * 6-7",
            "2026-01-03T00:00:00Z",
            "2026-01-04T00:00:00Z",
        ),
        ("@weekly", "2026-01-01T00:00:00Z", "2026-01-04T00:00:00Z"),
    ] {
        check(expression, after, expected);
    }
}

#[test]
fn six_fields_begin_with_seconds_and_seven_end_with_years() {
    for (expression, after, expected) in [
        (
            "30 0 7 * * *",
            "2026-01-01T07:00:00Z",
            "2026-01-01T07:00:30Z",
        ),
        (
            "*/20 * * * * *",
            "2026-01-01T07:00:41Z",
            "2026-01-01T07:01:00Z",
        ),
        // The weekday's numbers do not change their meaning with the number of fields.
        (
            "0 0 7 * * 1",
            "2026-01-01T00:00:00Z",
            "2026-01-05T07:00:00Z",
        ),
        (
            "0 0 7 1 1 * 2028,2031",
            "2026-01-01T00:00:00Z",
            "2028-01-01T07:00:00Z",
        ),
        (
            "0 0 7 1 1 * *",
            "2026-01-01T08:00:00Z",
            "2027-01-01T07:00:00Z",
        ),
    ] {
        check(expression, after, expected);
    }
    let over = Schedule::parse("0 0 7 1 1 * 2026", Tz::UTC).unwrap();
    assert_eq!(over.next_after(at("2026-06-01T00:00:00Z")), None);
}

// Pitfall D01. Berlin's clocks: tzdata 2026, forward on 2026-03-29 and back on 2026-10-25.
#[test]
fn a_time_of_day_is_due_once_when_clocks_change() {
    let berlin = Tz::Europe__Berlin;
    assert_eq!(
        next("30 2 * * *", berlin, "2026-03-28T00:00:00Z", 3),
        ["28 02:30:00+01", "29 03:00:00+02", "30 02:30:00+02"]
    );
    assert_eq!(
        next("30 2 * * *", berlin, "2026-10-24T12:00:00Z", 2),
        ["25 02:30:00+02", "26 02:30:00+01"]
    );
    // Asked between the two, and within the second hour.
    for after in ["2026-10-25T00:45:00Z", "2026-10-25T01:10:00Z"] {
        assert_eq!(next("30 2 * * *", berlin, after, 1), ["26 02:30:00+01"]);
    }
    // Several times in the gap are made up for by one run; what is due at its end is the same run.
    assert_eq!(
        next("0,20,40 2,3 * * *", berlin, "2026-03-29T00:30:00Z", 3),
        ["29 03:00:00+02", "29 03:20:00+02", "29 03:40:00+02"]
    );
    // A gap at midnight does not lose the day.
    assert_eq!(
        next("0 0 * * *", Tz::Africa__Cairo, "2026-04-23T12:00:00Z", 2),
        ["24 01:00:00+03", "25 00:00:00+03"]
    );
}

// Pitfall D02.
#[test]
fn a_rhythm_keeps_real_time_when_clocks_change() {
    for start in ["2026-03-28T22:10:00Z", "2026-10-24T22:10:00Z"] {
        let schedule = Schedule::parse("*/30 * * * *", Tz::Europe__Berlin).unwrap();
        let mut last = schedule.next_after(at(start)).unwrap();
        for _ in 0..20 {
            let next = schedule.next_after(last).unwrap();
            assert_eq!(next - last, TimeDelta::minutes(30), "{last}");
            last = next;
        }
    }
    assert_eq!(
        next("0 * * * *", Tz::Europe__Berlin, "2026-10-24T23:30:00Z", 3),
        ["25 02:00:00+02", "25 02:00:00+01", "25 03:00:00+01"]
    );
}

#[test]
fn what_is_no_expression_is_refused_by_field() {
    for (text, field) in [
        ("60 * * * *", "minute"),
        ("* 24 * * *", "hour"),
        ("* * 0 * *", "day"),
        ("* * 32 * *", "day"),
        ("* * * 13 *", "month"),
        ("* * * * 8", "weekday"),
        ("*/0 * * * *", "minute"),
        ("1,,2 * * * *", "minute"),
        ("a * * * *", "minute"),
        ("5-1 * * * *", "minute"),
        ("+5 * * * *", "minute"),
        ("*/ * * * *", "minute"),
        ("0 0 L * *", "day"),
        ("60 0 0 * * *", "second"),
        ("0 0 0 * * * 26", "year"),
        ("0 0 0 * * * 2200", "year"),
        ("99999999999 * * * *", "minute"),
    ] {
        match Schedule::parse(text, Tz::UTC) {
            Err(ScheduleFault::Field { field: found, .. }) => assert_eq!(found, field, "{text}"),
            other => panic!("{text}: {other:?}"),
        }
    }
    let fault = |text: &str| Schedule::parse(text, Tz::UTC).unwrap_err();
    assert_eq!(fault("* * * *"), ScheduleFault::Fields(4));
    assert_eq!(fault(""), ScheduleFault::Fields(0));
    assert_eq!(fault("* * * * * * * *"), ScheduleFault::Fields(8));
    assert_eq!(fault("0 0 30 2 *"), ScheduleFault::Never);
    assert!(matches!(fault("@reboot"), ScheduleFault::Name(_)));
}
