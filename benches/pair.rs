//! Pairs 10,000 stills with 10,000 calls, and beside it measures the sparse assignment against a plain one.
//!
//! Prints seconds and ratios; run with `cargo bench --bench pair`.
// A bench prints its timing, and its made-up numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::cast_possible_truncation)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::time::Instant;

use chrono::TimeDelta;
use zonecall::clock::{Sample, Span};
use zonecall::exam::call::{Act, Call, View};
use zonecall::exam::context::Context;
use zonecall::exam::event::Frame;
use zonecall::exam::fold::{Exam, LoggedCall};
use zonecall::exam::seq::Seq;
use zonecall::frames::assign::{Edge, assign};
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

/// Even spread from 0 to 1 out of a counter (splitmix64's finish).
fn noise(counter: u64) -> f64 {
    let mut bits = counter.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((bits ^ (bits >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// `n` save calls about ten seconds apart, and as many stills by a clock that is off and drifts.
fn made_up(n: usize) -> (Exam, Vec<Frame>) {
    let mut exam = support::exam(&[]);
    let start = exam.header.started_at;
    let instant = |at_s: f64| start + TimeDelta::microseconds((at_s * 1e6) as i64);
    let (mut at_s, mut frames) = (0.0, Vec::new());
    for idx in 0..n {
        at_s += 4.0 + 12.0 * noise(2 * idx as u64);
        let mut context = Context::default();
        let zone = ["1A", "1B", "2A", "2B", "3A", "3B"][idx % 6].into();
        let view = View { limb: Some("LF".into()), zone: Some(zone), ..View::default() };
        context.apply(&Act::View(view), &[]);
        let call = Call {
            act: Act::Save,
            corrects: false,
            reach: None,
            words: String::new(),
            span: Span::default(),
            confidence: 0.9,
        };
        exam.calls.push(LoggedCall {
            seq: Seq(idx as u64),
            heard_seq: Seq(idx as u64),
            sample: Sample((at_s * 16_000.0) as u64),
            said_at: instant(at_s),
            call,
            act: Act::Save,
            context,
            withdrawn_by: None,
            corrected_by: Vec::new(),
            problems: Vec::new(),
        });
        let saved_s = at_s * (1.0 + 40e-6) - 197.3 + noise(2 * idx as u64 + 1) - 0.5;
        frames.push(Frame {
            instance_number: Some(idx as i64),
            ..support::still::saved(&idx.to_string(), instant(saved_s.floor()))
        });
    }
    (exam, frames)
}

/// The whole table of best totals, without any thinning: the plain way.
fn plain(rows: &[f64], columns: &[f64], reach_s: f64) -> f64 {
    let mut above = vec![0.0_f64; columns.len() + 1];
    for row in rows {
        let mut line = vec![0.0_f64; columns.len() + 1];
        for (idx, column) in columns.iter().enumerate() {
            let off = (row - column) / reach_s;
            line[idx + 1] = above[idx + 1].max(line[idx]).max(above[idx] + (1.0 - off * off).max(0.0));
        }
        above = line;
    }
    above[columns.len()]
}

/// The same by `assign`, with the edges found through the order.
fn sparse(rows: &[f64], columns: &[f64], reach_s: f64) -> f64 {
    let worth = |row: usize, column: usize| {
        let off = (rows[row] - columns[column]) / reach_s;
        1.0 - off * off
    };
    let mut edges = Vec::new();
    for (row, at_s) in rows.iter().enumerate() {
        let first = columns.partition_point(|column| *column < at_s - reach_s);
        let near = columns[first..].iter().take_while(|column| **column <= at_s + reach_s).count();
        edges.extend((first..first + near).map(|column| Edge { row, column, worth: worth(row, column) }));
    }
    assign(edges).into_iter().map(|(row, column)| worth(row, column)).sum()
}

fn main() {
    for n in [100, 1000, 10_000] {
        let (exam, frames) = made_up(n);
        let begun = Instant::now();
        let pairing = pair(&exam, &frames);
        let seconds = begun.elapsed().as_secs_f64();
        let right =
            pairing.frames.iter().enumerate().filter(|(idx, frame)| frame.tie == Tie::Save(*idx)).count();
        println!("pair: {n} stills with {n} calls: {seconds:.3} s, {right} paired with their own call");
    }
    let n = 3000_u32;
    let mut rows: Vec<f64> = (0..n).map(|idx| 10.0 * f64::from(idx) + 6.0 * noise(idx.into())).collect();
    let mut columns: Vec<f64> =
        rows.iter().enumerate().map(|(idx, at_s)| at_s + noise(idx as u64 + 99) - 0.5).collect();
    rows.sort_by(f64::total_cmp);
    columns.sort_by(f64::total_cmp);
    let begun = Instant::now();
    let whole = plain(&rows, &columns, 2.0);
    let plain_s = begun.elapsed().as_secs_f64();
    let begun = Instant::now();
    let thin = sparse(&rows, &columns, 2.0);
    let sparse_s = begun.elapsed().as_secs_f64();
    assert!((whole - thin).abs() < 1e-6 * whole, "both must find the same total: {whole} {thin}");
    println!(
        "assign: {n} x {n}: {sparse_s:.5} s, plain table {plain_s:.5} s, ratio {:.4}",
        sparse_s / plain_s
    );
}
