//! Assigns rows to columns without crossing.
//!
//! Takes: the pairs that are possible, each with what it is worth.
//! Gives: the pairs that together are worth most, so that neither rows nor columns are used twice or out of order.
//! Never: depends on the order in which the pairs are given.
//! Tested in: here and `tests/it/pair.rs`, against `scipy.optimize.linear_sum_assignment`.

/// A pair that is possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// Row, counted from 0.
    pub row: usize,
    /// Column, counted from 0.
    pub column: usize,
    /// What pairing them is worth, above leaving both alone; only worths above 0 are ever taken.
    pub worth: f64,
}

/// The pairs (row, column) of the best assignment that keeps the order, by rows.
///
/// Dynamic programming over the possible pairs: the best chain that ends in a pair adds its worth to the best chain
/// that ends in an earlier row and an earlier column.
/// A binary indexed tree over the columns finds that chain, so that `n` possible pairs take `n log n` steps,
/// and rows that can meet only few columns cost little however many there are.
#[must_use]
pub fn assign(mut edges: Vec<Edge>) -> Vec<(usize, usize)> {
    edges.retain(|edge| edge.worth > 0.0 && edge.worth.is_finite());
    // Within a row the last column comes first, so that no pair can follow another of its own row.
    edges.sort_by(|a, b| (a.row, b.column).cmp(&(b.row, a.column)).then(b.worth.total_cmp(&a.worth)));
    let columns = edges.iter().map(|edge| edge.column + 1).max().unwrap_or(0);
    let mut tree: Vec<Option<(f64, usize)>> = vec![None; columns + 1];
    let mut before: Vec<Option<usize>> = Vec::with_capacity(edges.len());
    let mut best: Option<(f64, usize)> = None;
    for (idx, edge) in edges.iter().enumerate() {
        let chain = best_before(&tree, edge.column);
        let total = edge.worth + chain.map_or(0.0, |(total, _)| total);
        before.push(chain.map(|(_, last)| last));
        raise(&mut tree, edge.column, (total, idx));
        if best.is_none_or(|(most, _)| total > most) {
            best = Some((total, idx));
        }
    }
    let mut pairs = Vec::new();
    let mut at = best.map(|(_, idx)| idx);
    while let Some(idx) = at {
        pairs.push((edges[idx].row, edges[idx].column));
        at = before[idx];
    }
    pairs.reverse();
    pairs
}

/// The best chain that ends left of `column`.
fn best_before(tree: &[Option<(f64, usize)>], column: usize) -> Option<(f64, usize)> {
    let mut best: Option<(f64, usize)> = None;
    let mut at = column;
    while at > 0 {
        if let Some(chain) = tree[at].filter(|chain| best.is_none_or(|most| chain.0 > most.0)) {
            best = Some(chain);
        }
        at &= at - 1;
    }
    best
}

fn raise(tree: &mut [Option<(f64, usize)>], column: usize, chain: (f64, usize)) {
    let mut at = column + 1;
    while at < tree.len() {
        if tree[at].is_none_or(|most| chain.0 > most.0) {
            tree[at] = Some(chain);
        }
        at += at & at.wrapping_neg();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(row: usize, column: usize, worth: f64) -> Edge {
        Edge { row, column, worth }
    }

    #[test]
    fn two_good_pairs_go_before_one_better_that_crosses_both() {
        let edges = vec![edge(0, 2, 3.0), edge(0, 0, 2.0), edge(1, 1, 2.0), edge(2, 0, 3.0)];
        assert_eq!(assign(edges), [(0, 0), (1, 1)]);
    }

    #[test]
    fn neither_side_is_used_twice() {
        let edges = vec![edge(0, 0, 1.0), edge(0, 1, 1.5), edge(1, 1, 1.0), edge(1, 0, 0.2)];
        assert_eq!(assign(edges), [(0, 0), (1, 1)]);
    }

    #[test]
    fn nothing_comes_of_nothing() {
        assert_eq!(assign(Vec::new()), []);
        assert_eq!(assign(vec![edge(0, 0, 0.0), edge(1, 1, f64::NAN)]), []);
    }
}
