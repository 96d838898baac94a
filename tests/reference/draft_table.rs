//! Prints how well the checker of drafts finds, links and judges the numbers of our sentences, open and sealed:
//! `cargo run -p weighhouse-measure --example draft_table`, with `open` for what went otherwise in the open ones.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "an example prints and may stop"
)]

#[path = "draft_corpus.rs"]
mod corpus;

fn main() {
    let known = corpus::figures();
    let names = std::env::args().skip(1).collect::<Vec<_>>();
    let open_only = names.iter().any(|name| name == "open");
    println!("| | sentences | numbers | found P / R | hedge, direction | linked P / R | verdict P / R |");
    println!("|---|---|---|---|---|---|---|");
    for file in ["open", "sealed"].into_iter().filter(|file| !open_only || *file == "open") {
        let entries = corpus::entries(&format!("{file}.txt"));
        let (n, says) = corpus::count(&entries, &known);
        let share = |a: usize, b: usize| format!("{:.1}%", 100.0 * a as f64 / b.max(1) as f64);
        let both = |a, found, truth| format!("{} / {}", share(a, found), share(a, truth));
        println!(
            "| {file} | {} | {} | {} | {} | {} | {} |",
            entries.len(),
            n.true_numbers,
            both(n.right_found, n.found, n.true_numbers),
            share(n.right_hedges, n.true_numbers),
            both(n.right_links, n.links, n.true_links),
            both(n.right_verdicts, n.found, n.true_numbers),
        );
        if open_only || names.iter().any(|name| name == "all") {
            says.iter().for_each(|line| println!("{line}\n"));
        }
    }
}
