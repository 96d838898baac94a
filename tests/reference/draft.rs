//! Holds how well the checker of drafts does on the open sentences of `tests/data/draft`.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first surprise")]

#[path = "draft_corpus.rs"]
mod corpus;

/// What was aimed at; in the guide's table stands what came.
const LEAST: f64 = 0.98;

#[test]
fn the_open_sentences_are_found_linked_and_judged() {
    let known = corpus::figures();
    let (n, says) = corpus::count(&corpus::entries("open.txt"), &known);
    assert!(n.true_numbers > 150, "the reading of the sentences found too few: {}", n.true_numbers);
    let parts = [
        ("found, precision", n.right_found, n.found),
        ("found, recall", n.right_found, n.true_numbers),
        ("hedges and directions", n.right_hedges, n.true_numbers),
        ("linked, precision", n.right_links, n.links),
        ("linked, recall", n.right_links, n.true_links),
        ("verdicts, precision", n.right_verdicts, n.found),
        ("verdicts, recall", n.right_verdicts, n.true_numbers),
    ];
    for (name, right, all) in parts {
        assert!(right as f64 >= LEAST * all as f64, "{name}: {right} of {all}\n{}", says.join("\n"));
    }
}
