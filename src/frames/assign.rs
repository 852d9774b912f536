//! Assigns stills to save calls, in order, each at most once.
//!
//! Takes: for each still the calls it could belong to, and what each such pair is worth.
//! Gives: the assignment that is worth most.
//! Never: crosses two pairs: what was saved later was called later.
//! Tested in: `tests/pair.rs`, against `scipy.optimize.linear_sum_assignment`.

/// For each still the call it is assigned to; `options[still]` holds (call, worth) with worth above 0.
///
/// A dynamic programme over the stills in order; a search tree keeps, for every number of calls, the best
/// assignment that uses only calls before it, so the time is `n_pairs x log n_calls`.
#[must_use]
pub fn assign(n_calls: usize, options: &[Vec<(usize, f64)>]) -> Vec<Option<usize>> {
    /// An assignment that ends in this pair: what it is worth, the pair, and the one before.
    struct End {
        worth: f64,
        still: usize,
        call: usize,
        before: Option<usize>,
    }
    let mut ends: Vec<End> = Vec::new();
    // A Fenwick tree of maxima over calls: which `End` is best among calls up to an index.
    let mut tree: Vec<Option<usize>> = vec![None; n_calls + 1];
    for (still, calls) in options.iter().enumerate() {
        let mut new = Vec::new();
        for (call, worth) in calls {
            let mut before: Option<usize> = None;
            let mut at = *call; // calls 0..call stand at 1..=call
            while at > 0 {
                if let Some(end) = tree[at]
                    && before.is_none_or(|best| ends[end].worth > ends[best].worth)
                {
                    before = Some(end);
                }
                at &= at - 1;
            }
            let so_far = before.map_or(0.0, |end| ends[end].worth);
            new.push(End { worth: so_far + worth, still, call: *call, before });
        }
        for end in new {
            let (worth, mut at) = (end.worth, end.call + 1);
            ends.push(end);
            while at <= n_calls {
                if tree[at].is_none_or(|best| worth > ends[best].worth) {
                    tree[at] = Some(ends.len() - 1);
                }
                at += at & at.wrapping_neg();
            }
        }
    }
    let mut assigned = vec![None; options.len()];
    let mut last = (0..ends.len()).max_by(|a, b| ends[*a].worth.total_cmp(&ends[*b].worth).then(b.cmp(a)));
    while let Some(end) = last {
        assigned[ends[end].still] = Some(ends[end].call);
        last = ends[end].before;
    }
    assigned
}
