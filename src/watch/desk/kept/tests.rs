//! What is kept for how long, and who waits.

use super::*;
use crate::watch::settings::load_settings;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::channel;
use std::thread::scope;

fn ground(kept: &Kept, settings: &Arc<Settings>, writes: i64) -> Arc<Ground> {
    let day = NaiveDate::from_ymd_opt(2026, 3, 31).unwrap();
    kept.ground(settings, writes, day, BTreeMap::new)
}

fn settings() -> Arc<Settings> {
    let starter = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let settings = load_settings(&starter);
    Arc::new(settings.unwrap_or_else(|faults| panic!("{faults:?}")))
}

#[test]
fn one_works_out_what_many_ask_and_all_have_it() {
    let (kept, settings) = (Kept::default(), settings());
    let ground = ground(&kept, &settings, 1);
    let worked = AtomicUsize::new(0);
    scope(|threads| {
        for _ in 0..8 {
            threads.spawn(|| {
                let value = kept.solve(&ground, "a".to_owned(), || {
                    std::thread::sleep(Duration::from_millis(50));
                    worked.fetch_add(1, Ordering::SeqCst);
                    Ok(7_u32)
                });
                assert_eq!(*value.unwrap(), 7);
            });
        }
    });
    assert_eq!(worked.load(Ordering::SeqCst), 1);
}

#[test]
fn what_rests_on_another_ground_is_worked_out_anew_and_what_fails_is_not_kept() {
    let (kept, settings) = (Kept::default(), settings());
    let solve = |writes, value: Told<u32>| {
        let ground = ground(&kept, &settings, writes);
        kept.solve(&ground, "a".to_owned(), || value)
            .map(|value| *value)
    };
    let broken = || Refusal::new(RefusalKind::Broken, "no", "");
    assert_eq!(solve(1, Err(broken())), Err(broken()));
    assert_eq!(solve(1, Ok(1)), Ok(1));
    assert_eq!(solve(1, Ok(2)), Ok(1));
    assert_eq!(solve(2, Ok(3)), Ok(3));
    kept.let_go();
    assert!(!kept.is_keeping());
    assert_eq!(solve(2, Ok(4)), Ok(4));
}

#[test]
fn beyond_the_bound_questions_are_refused_and_looks_are_not() {
    let (kept, settings) = (Kept::default(), settings());
    let ground = ground(&kept, &settings, 1);
    scope(|threads| {
        let (begin, begun) = channel();
        let mut ends = Vec::new();
        for number in 0..AT_ONCE {
            let (end, ended) = channel::<()>();
            ends.push(end);
            let (kept, ground, begin) = (&kept, &ground, begin.clone());
            threads.spawn(move || {
                kept.solve(ground, format!("long {number}"), || {
                    begin.send(()).unwrap();
                    Ok(ended.recv().is_ok())
                })
                .unwrap();
            });
        }
        (0..AT_ONCE).for_each(|_| begun.recv().unwrap());
        let look = kept.look(&ground, "look".to_owned(), || Ok(1_u32));
        assert_eq!(*look.unwrap(), 1);
        let more = (0..WAITING_MAX + 1).map(|number| {
            let (kept, ground) = (&kept, &ground);
            threads.spawn(move || kept.solve(ground, format!("more {number}"), || Ok(0_u32)))
        });
        let more: Vec<_> = more.collect();
        let kinds = more.into_iter().map(|one| one.join().unwrap());
        let kinds = kinds.map(|told| told.map_err(|refusal| refusal.kind).err());
        assert_eq!(
            kinds.collect::<Vec<_>>(),
            vec![Some(RefusalKind::Busy); WAITING_MAX + 1]
        );
        drop(ends);
    });
    let after = kept.solve(&ground, "after".to_owned(), || Ok(5_u32));
    assert_eq!(*after.unwrap(), 5);
}

#[test]
fn while_a_dated_answer_is_worked_out_anew_others_are_told_the_one_before() {
    let (kept, settings) = (Kept::default(), settings());
    let dated = |ground: &Arc<Ground>, value: u32| {
        let found = kept.solve_dated(ground, "a".to_owned(), || Ok(value));
        found.map(|found| (*found.value, found.others_wait))
    };
    let first = ground(&kept, &settings, 1);
    assert_eq!(dated(&first, 1), Ok((1, false)));
    let second = ground(&kept, &settings, 2);
    let anew = kept.solve_dated(&second, "a".to_owned(), || {
        assert_eq!(dated(&second, 7), Ok((1, false)));
        // One without a date waits, and in vain here: nobody else goes on.
        Ok(2_u32)
    });
    let anew = anew.unwrap();
    assert_eq!((*anew.value, anew.others_wait), (2, true));
    assert_eq!(dated(&second, 7), Ok((2, false)));
    // Worked out in one go while the ledger moved on: told, and not taken for what is now.
    let slow = kept.solve_dated(&second, "b".to_owned(), || {
        ground(&kept, &settings, 3);
        Ok(5_u32)
    });
    assert!(!slow.unwrap().others_wait);
    let third = ground(&kept, &settings, 3);
    let b = kept.solve_dated(&third, "b".to_owned(), || Ok(6_u32));
    assert_eq!(*b.unwrap().value, 6);
}

#[test]
fn what_nobody_asked_for_or_rests_on_other_settings_is_not_told_again() {
    let (kept, one) = (Kept::default(), settings());
    let begin = |settings: &Arc<Settings>, writes: i64| {
        let ground = ground(&kept, settings, writes);
        kept.solve_dated(&ground, "a".to_owned(), || Ok(writes))
            .unwrap();
        ground
    };
    begin(&one, 1);
    // Between the two nobody asked.
    ground(&kept, &one, 2);
    let third = ground(&kept, &one, 3);
    assert!(kept.state().entries.is_empty());
    drop(third);
    begin(&one, 4);
    let other = ground(&kept, &settings(), 4);
    assert!(kept.state().entries.is_empty());
    let inside = kept.solve_dated(&other, "a".to_owned(), || {
        kept.let_go();
        Ok(9)
    });
    assert_eq!(*inside.unwrap().value, 9);
    assert!(
        !kept.is_keeping(),
        "what was let go of meanwhile does not come back"
    );
}
