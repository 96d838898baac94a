//! The demo's bench week in a store, loaded through the doors of the service, and its truth beside it.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::Timestamp;
use weighhouse::chance::Chance;
use weighhouse::clock::Clock;
use weighhouse::config::PasswordCost;
use weighhouse::store::quotes::Quote;
use weighhouse::store::rulings::Verdict;
use weighhouse::store::{Store, editions, people, pieces};
use weighhouse::work::bench_week;
use weighhouse::work::editions::Frozen;
use weighhouse::work::evidence::{Evidence, PassEvidence};
use weighhouse::work::figures::ledger;
use weighhouse::work::passwords::Passwords;
use weighhouse::work::quotes;
use weighhouse::work::rule::{self, NewRuling};
use weighhouse_demo::{Demo, DemoPass, PassTruth};
use weighhouse_web::marks::Standing;

/// What the demo command loads.
const SEED: u64 = 1;
/// When it is loaded.
pub const NOW_US: i64 = 1_795_000_000_000_000;
/// Hashes in well under a millisecond: for tests only.
const CHEAP: PasswordCost = PasswordCost { memory_kib: 32, rounds: 1, lanes: 1 };

/// The demo's own week, loaded once for all tests.
pub static WEEK: LazyLock<Week> = LazyLock::new(|| Week::load(SEED));

/// The week as it was made, and what the service makes of it.
pub struct Week {
    /// Registers, passes and what is true of them.
    pub demo: Demo,
    /// What every page of the piece rests on, as the demo's team left it.
    pub evidence: Evidence,
    /// Its editions, the newest first.
    pub editions: Vec<Frozen>,
    /// Its quoted numbers with the change of each over another.
    pub quotes: Vec<(Quote, Option<f64>)>,
    /// The figures of the piece, by name.
    pub figures: BTreeMap<String, Standing>,
    /// The evidence once every pass with a planted fault is set aside: what the answers rest on.
    pub ruled: Evidence,
}

/// A pass as it was made, and as the service sees it.
pub struct Both<'a> {
    pub made: &'a DemoPass,
    pub truth: &'a PassTruth,
    pub seen: &'a PassEvidence,
}

impl Week {
    /// Loads the week of a seed into a store of its own, which is gone when this returns.
    fn load(seed: u64) -> Self {
        tokio::runtime::Runtime::new().unwrap().block_on(async {
            let folder = tempfile::tempdir().unwrap();
            let now = Timestamp::from_microsecond(NOW_US).unwrap();
            let demo = weighhouse_demo::bench_week(seed, now);
            let clock = Clock::by_hand(now.as_microsecond());
            let store = Store::open(&folder.path().join("demo.db"), clock).await.unwrap();
            let passwords = Passwords::new(CHEAP);
            bench_week::load(&store, &Chance::system(), &passwords, demo.clone(), |_| {}).await.unwrap();
            let piece = pieces::all(&mut store.read().await.unwrap()).await.unwrap().remove(0);
            let evidence = Evidence::of_piece(&store, piece.id).await.unwrap().unwrap();
            let ledger = ledger::ledger(&store, piece.id).await.unwrap();
            let frozen = editions::of_piece(&mut store.read().await.unwrap(), piece.id).await.unwrap();
            let editions = frozen.iter().map(|edition| Frozen::of(edition).unwrap()).collect();
            let quoted = ledger.quotes.clone();
            let quotes =
                quoted.iter().map(|quote| (quote.clone(), quotes::over(&quote.fields, &quoted))).collect();
            let figures =
                ledger.figures.into_iter().map(|f| (f.figure.fields.name, f.state.standing)).collect();
            set_aside(&store, &demo, &evidence).await;
            let ruled = Evidence::of_piece(&store, piece.id).await.unwrap().unwrap();
            store.close().await;
            Self { demo, evidence, editions, quotes, figures, ruled }
        })
    }

    /// Every pass, in the order in which they were recorded.
    pub fn passes(&self) -> Vec<Both<'_>> {
        passes(&self.demo, &self.evidence)
    }
}

fn passes<'a>(demo: &'a Demo, evidence: &'a Evidence) -> Vec<Both<'a>> {
    let cells = evidence.cells.values();
    let seen: BTreeMap<&str, &PassEvidence> =
        cells.flat_map(|cell| &cell.passes).map(|pass| (pass.row.capture.as_str(), pass)).collect();
    let made = demo.passes.iter().zip(&demo.truth.passes);
    made.map(|(made, truth)| Both { made, truth, seen: seen[made.file_name.as_str()] }).collect()
}

/// Rules as a reviewer who finds every planted fault.
async fn set_aside(store: &Store, demo: &Demo, evidence: &Evidence) {
    let owner = people::all(&mut store.read().await.unwrap()).await.unwrap().remove(0).id;
    for pass in passes(demo, evidence).iter().filter(|pass| pass.truth.fault.is_some()) {
        let row = &pass.seen.row;
        let ruling = NewRuling {
            verdict: Verdict::SetAside,
            reason: "disturbed".to_owned(),
            saw: pass.seen.flags.iter().map(|flag| flag.kind.key().to_owned()).collect(),
            version: rule::version(row),
        };
        rule::rule(store, owner, &row.key, ruling).await.unwrap();
    }
}
