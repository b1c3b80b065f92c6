//! Sorting by whole numbers, once for all: the standard library's sorts are large, and larger with every type.

use alloc::collections::BinaryHeap;
use alloc::vec::Vec;

/// Numbers in rising order, each with its place before; of equal ones the earlier place first.
pub fn order(numbers: impl Iterator<Item = i64>) -> Vec<(i64, usize)> {
    heap(numbers.zip(0..).collect())
}

fn heap(numbers: Vec<(i64, usize)>) -> Vec<(i64, usize)> {
    BinaryHeap::from(numbers).into_sorted_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_numbers_keep_their_order() {
        assert_eq!(order([3, 1, 3, -2, 1].into_iter()), [(-2, 3), (1, 1), (1, 4), (3, 0), (3, 2)]);
    }
}
