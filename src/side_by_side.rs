//! Work side by side. The core says which pieces of its work do not wait for each other; whether they run on several threads
//! is this file's matter alone: with the feature `side-by-side` they do, without it they run one after the other. Results
//! come back in order and nothing is summed across threads, so they are the same to the last bit either way.

/// What `f` makes of each item, in the items' order.
pub(crate) fn map_in_order<T: Send, R: Send>(
    items: impl IntoIterator<Item = T>,
    f: impl Fn(T) -> R + Send + Sync,
) -> Vec<R> {
    let items: Vec<T> = items.into_iter().collect();
    #[cfg(feature = "side-by-side")]
    if items.len() > 1 && !threads::is_alone() {
        return threads::map(items, f);
    }
    items.into_iter().map(f).collect()
}

/// The same where items are many and small: so `few` of them are one piece of work.
pub(crate) fn map_few_in_order<T: Sync, R: Send>(items: &[T], few: usize, f: impl Fn(&T) -> R + Send + Sync) -> Vec<R> {
    map_in_order(items.chunks(few.max(1)), |few| few.iter().map(&f).collect::<Vec<R>>()).into_iter().flatten().collect()
}

/// What both pieces of work give.
pub(crate) fn both<A: Send, B: Send>(a: impl FnOnce() -> A + Send, b: impl FnOnce() -> B + Send) -> (A, B) {
    #[cfg(feature = "side-by-side")]
    if !threads::is_alone() {
        return rayon::join(a, b);
    }
    (a(), b())
}

/// Does some work on the thread that asks for it, all of it: for a caller who has one piece of work for each core anyway.
pub fn on_one_thread<R>(work: impl FnOnce() -> R) -> R {
    #[cfg(feature = "side-by-side")]
    let _alone = threads::Alone::begin();
    work()
}

#[cfg(feature = "side-by-side")]
mod threads {
    use rayon::iter::{IndexedParallelIterator, IntoParallelIterator, ParallelIterator};
    use std::cell::Cell;

    thread_local! {
        static ALONE: Cell<bool> = const { Cell::new(false) };
    }

    pub fn is_alone() -> bool {
        ALONE.get()
    }

    pub fn map<T: Send, R: Send>(items: Vec<T>, f: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        // Items are few and large.
        items.into_par_iter().with_max_len(1).map(f).collect()
    }

    /// While it lives, this thread shares its work with no other.
    pub struct Alone {
        before: bool,
    }

    impl Alone {
        pub fn begin() -> Self {
            Self { before: ALONE.replace(true) }
        }
    }

    impl Drop for Alone {
        fn drop(&mut self) {
            ALONE.set(self.before);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_on_any_number_of_threads() {
        let work = |n: u64| (0..n % 7 * 1000).fold(n, |a, k| a.wrapping_mul(31).wrapping_add(k));
        let one: Vec<u64> = (0..100).map(work).collect();
        let nested = || map_in_order(0..10, |ten| map_in_order(10 * ten..10 * ten + 10, work)).concat();
        assert_eq!(nested(), one);
        assert_eq!(on_one_thread(nested), one);
        let all: Vec<u64> = (0..100).collect();
        for few in [0, 1, 7, 200] {
            assert_eq!(map_few_in_order(&all, few, |n| work(*n)), one);
        }
        assert_eq!(both(nested, || on_one_thread(nested)), (one.clone(), one));
    }
}
