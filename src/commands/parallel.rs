//! Work on all cores with the order kept and memory bounded.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, mpsc};

/// Items taken up at once.
const AT_ONCE: usize = 512;

/// Applies `work` to every item on `threads` threads and gives the results to `done` in the order of the items. At most
/// `AT_ONCE` (512) items are held at a time. Stops early when `done` fails.
///
/// # Errors
/// The first of `done`.
pub fn ordered<T: Sync, R: Send, E>(
    mut items: impl Iterator<Item = T>,
    threads: usize,
    work: impl Fn(&T) -> R + Sync,
    mut done: impl FnMut(&T, R) -> Result<(), E>,
) -> Result<(), E> {
    loop {
        let chunk: Vec<T> = items.by_ref().take(AT_ONCE).collect();
        if chunk.is_empty() {
            return Ok(());
        }
        let threads = threads.clamp(1, chunk.len());
        if threads == 1 {
            for item in &chunk {
                done(item, work(item))?;
            }
            continue;
        }
        one_chunk(&chunk, threads, &work, &mut done)?;
    }
}

fn one_chunk<T: Sync, R: Send, E>(
    chunk: &[T],
    threads: usize,
    work: &(impl Fn(&T) -> R + Sync),
    done: &mut impl FnMut(&T, R) -> Result<(), E>,
) -> Result<(), E> {
    let next = AtomicUsize::new(0);
    let waiting: Vec<Mutex<Option<R>>> = chunk.iter().map(|_| Mutex::new(None)).collect();
    let (tell, told) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (next, waiting, tell) = (&next, &waiting, tell.clone());
            scope.spawn(move || {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(item) = chunk.get(at) else { break };
                    let result = work(item);
                    if let Ok(mut place) = waiting[at].lock() {
                        *place = Some(result);
                    }
                    if tell.send(()).is_err() {
                        break;
                    }
                }
            });
        }
        drop(tell);
        let mut printed = 0;
        // Each message says that one more is ready, not which; those at the head are printed.
        while printed < chunk.len() && told.recv().is_ok() {
            while printed < chunk.len() {
                let ready = waiting[printed].lock().ok().and_then(|mut r| r.take());
                let Some(result) = ready else { break };
                let printing = done(&chunk[printed], result);
                if printing.is_err() {
                    next.store(chunk.len(), Ordering::Relaxed);
                    return printing;
                }
                printed += 1;
            }
        }
        Ok(())
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
