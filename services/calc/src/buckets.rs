//! Stock poured together by its last day, the first to expire in use.

use std::{cmp::Reverse, collections::BinaryHeap, mem};

/// What is left in each bucket, buckets in the order of their last days.
///
/// A front goes over the buckets once; what is poured in behind it waits in a heap. So using and
/// pouring cost O(buckets + pours · log pours) in all, however often a pour goes back to a bucket
/// that expires early.
///
/// What is left of the bucket in use is kept by the caller, who gets it from every method and
/// hands it back: most days take from it and touch nothing else.
#[derive(Debug, Default)]
pub(crate) struct Buckets {
    remaining: Vec<f64>,
    /// Every bucket before it is used up or expired, or in use, or waits in `behind`.
    front: usize,
    behind: BinaryHeap<Reverse<usize>>,
    in_use: usize,
}

impl Buckets {
    /// Starts again with these quantities. What is left of the bucket now in use.
    pub(crate) fn fill(&mut self, quantities: &[f64]) -> f64 {
        self.remaining.clear();
        self.remaining.extend_from_slice(quantities);
        self.behind.clear();
        (self.front, self.in_use) = (0, 0);
        self.take_up(0)
    }

    /// Pours into `bucket`, which has not expired and is in use from now on if it expires first.
    pub(crate) fn pour(&mut self, left: f64, bucket: usize, quantity: f64) -> f64 {
        if bucket == self.in_use {
            return left + quantity;
        }
        self.remaining[bucket] += quantity;
        if bucket < self.in_use {
            self.put_back(left);
            return self.take_up(bucket);
        }
        if bucket < self.front {
            self.behind.push(Reverse(bucket));
        }
        left
    }

    /// Leaves the buckets before `alive`, which have expired.
    pub(crate) fn expire(&mut self, left: f64, alive: usize) -> f64 {
        if self.in_use >= alive {
            return left;
        }
        self.front = self.front.max(alive);
        while self.behind.peek().is_some_and(|Reverse(bucket)| *bucket < alive) {
            self.behind.pop();
        }
        self.next_in_line()
    }

    /// Goes on from a bucket that is used up; none where it was the last.
    pub(crate) fn advance(&mut self) -> Option<f64> {
        if self.in_use == self.front {
            self.front += 1;
        }
        let left = self.next_in_line();
        (self.in_use < self.remaining.len()).then_some(left)
    }

    fn next_in_line(&mut self) -> f64 {
        let next = self.behind.pop().map_or(self.front, |Reverse(bucket)| bucket);
        self.take_up(next)
    }

    fn take_up(&mut self, bucket: usize) -> f64 {
        self.in_use = bucket;
        self.remaining.get_mut(bucket).map_or(0.0, mem::take)
    }

    /// The front needs no place in the heap: it comes after all of it.
    fn put_back(&mut self, left: f64) {
        if let Some(remaining) = self.remaining.get_mut(self.in_use) {
            *remaining += left;
        }
        if self.in_use < self.front {
            self.behind.push(Reverse(self.in_use));
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Uses up to `wanted`; how much that was, and in how many steps.
    fn take(stock: &mut Buckets, left: &mut f64, wanted: f64) -> (f64, u32) {
        let (mut open, mut steps) = (wanted, 0);
        while *left < open {
            open -= *left;
            *left = 0.0;
            steps += 1;
            let Some(next) = stock.advance() else { return (wanted - open, steps) };
            *left = next;
        }
        *left -= open;
        (wanted, steps)
    }

    #[test]
    fn going_back_to_an_early_bucket_costs_no_walk_over_what_is_used_up() {
        let mut quantities = vec![1.0; 3000];
        quantities.push(1e9);
        let mut stock = Buckets::default();
        let mut left = stock.fill(&quantities);
        assert_eq!(take(&mut stock, &mut left, 4000.0).1, 3000);
        let mut steps = 0;
        for early in 0..3000 {
            left = stock.expire(left, early);
            left = stock.pour(left, early, 1.0);
            steps += take(&mut stock, &mut left, 4000.0).1;
        }
        assert_eq!(steps, 3000, "one for each bucket that was poured into");
    }

    #[derive(Debug, Clone)]
    enum Step {
        Pour(usize, u32),
        Take(u32),
        Expire(usize),
    }

    fn step() -> impl Strategy<Value = Step> {
        prop_oneof![
            3 => (0usize..12, 0u32..20).prop_map(|(bucket, quantity)| Step::Pour(bucket, quantity)),
            3 => (0u32..40).prop_map(Step::Take),
            1 => (0usize..4).prop_map(Step::Expire),
        ]
    }

    proptest! {
        /// The rule itself, slowly: take from the first bucket that is alive and not empty.
        #[test]
        fn the_first_to_expire_is_used_first(
            filled in prop::collection::vec(0u32..20, 0..12),
            steps in prop::collection::vec(step(), 0..60),
        ) {
            let mut slow = filled.clone();
            let mut stock = Buckets::default();
            let filled: Vec<_> = filled.into_iter().map(f64::from).collect();
            let mut left = stock.fill(&filled);
            let mut alive = 0;
            for step in steps {
                match step {
                    Step::Pour(bucket, quantity) => {
                        if let Some(held) = slow.get_mut(bucket).filter(|_| bucket >= alive) {
                            *held += quantity;
                            left = stock.pour(left, bucket, f64::from(quantity));
                        }
                    }
                    Step::Take(wanted) => {
                        let mut open = wanted;
                        for held in slow.iter_mut().skip(alive) {
                            let taken = open.min(*held);
                            *held -= taken;
                            open -= taken;
                        }
                        let (taken, _) = take(&mut stock, &mut left, f64::from(wanted));
                        prop_assert!((taken - f64::from(wanted - open)).abs() < 1e-9);
                    }
                    Step::Expire(days) => {
                        alive += days;
                        left = stock.expire(left, alive);
                    }
                }
            }
        }
    }
}
