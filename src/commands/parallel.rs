//! Work on all cores with the order kept and memory bounded.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::{Mutex, PoisonError, mpsc};

/// Items under way for each thread: taken up and not yet given on.
const EACH: usize = 16;

/// Applies `work` to every item on `threads` threads and gives the results to `done` in the order of the items. At most
/// 16 items a thread are held at a time. Stops early when `done` fails.
///
/// # Errors
/// The first of `done`.
///
/// # Panics
/// When `work` does.
pub fn ordered<T: Send, R: Send, E>(
    mut items: impl Iterator<Item = T>,
    threads: usize,
    work: impl Fn(&T) -> R + Sync,
    mut done: impl FnMut(&T, R) -> Result<(), E>,
) -> Result<(), E> {
    if threads <= 1 {
        return items.try_for_each(|item| {
            let result = work(&item);
            done(&item, result)
        });
    }
    std::thread::scope(|scope| {
        let (give, take) = mpsc::channel::<(usize, T)>();
        let (tell, told) = mpsc::channel();
        let take = std::sync::Arc::new(Mutex::new(take));
        for _ in 0..threads {
            let (take, tell, work) = (take.clone(), tell.clone(), &work);
            scope.spawn(move || {
                loop {
                    let next = take.lock().unwrap_or_else(PoisonError::into_inner).recv();
                    let Ok((at, item)) = next else { break };
                    // A panic is handed on: whoever waits for this result would wait for ever.
                    let result = catch_unwind(AssertUnwindSafe(|| work(&item)));
                    if tell.send((at, item, result)).is_err() {
                        break;
                    }
                }
            });
        }
        drop((take, tell));
        let mut ready = BTreeMap::new();
        let (mut given, mut printed) = (0, 0);
        loop {
            let room = printed + threads * EACH - given;
            for item in items.by_ref().take(room) {
                // Nobody takes it when all workers have gone, which the next line notices.
                let _ = give.send((given, item));
                given += 1;
            }
            if printed == given {
                return Ok(());
            }
            let Ok((at, item, result)) = told.recv() else {
                return Ok(());
            };
            ready.insert(at, (item, result));
            while let Some((item, result)) = ready.remove(&printed) {
                done(&item, result.unwrap_or_else(|panic| resume_unwind(panic)))?;
                printed += 1;
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::ordered;

    #[test]
    fn order_is_kept_on_any_number_of_threads() {
        for threads in [1, 2, 5] {
            let mut seen = Vec::new();
            let done: Result<(), ()> = ordered(
                0..1500,
                threads,
                |&i| {
                    if i % 97 == 0 {
                        std::thread::sleep(std::time::Duration::from_millis(2));
                    }
                    i * 2
                },
                |_, r| {
                    seen.push(r);
                    Ok(())
                },
            );
            assert_eq!(done, Ok(()));
            assert_eq!(seen, (0..1500).map(|i| i * 2).collect::<Vec<_>>());
        }
    }

    #[test]
    fn a_failing_receiver_ends_it() {
        let mut count = 0;
        let done = ordered(
            0..100_000,
            3,
            |&i| i,
            |_, _| {
                count += 1;
                if count == 10 { Err("enough") } else { Ok(()) }
            },
        );
        assert_eq!(done, Err("enough"));
        assert_eq!(count, 10);
    }
}
