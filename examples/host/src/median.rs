//! The middle of some values.

/// The median, of an even number the mean of the two in the middle; none of nothing.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some(f64::midpoint(*low, *high))
}
