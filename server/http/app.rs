//! What every handler can reach.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::watch;
use weighhouse_web::pages::Flash;

use crate::chance::Chance;
use crate::clock::Clock;
use crate::config::Config;
use crate::store::Store;
use crate::work::passwords::Passwords;

/// What every handler can reach. Cheap to clone.
#[derive(Clone, Debug)]
pub struct App {
    /// The store.
    pub store: Store,
    /// The time of day.
    pub clock: Clock,
    /// Randomness.
    pub chance: Chance,
    /// What the server was started with.
    pub config: Arc<Config>,
    /// Hashes and checks passwords, few at once.
    pub passwords: Passwords,
    /// True once the server is stopping: streams end then.
    pub stopping: watch::Receiver<bool>,
    flashes: Arc<Mutex<HashMap<[u8; 32], Flash>>>,
}

impl App {
    pub(super) fn new(
        config: Config,
        store: Store,
        clock: Clock,
        chance: Chance,
        stopping: watch::Receiver<bool>,
    ) -> Self {
        let passwords = Passwords::new(config.passwords);
        Self { store, clock, chance, config: Arc::new(config), passwords, stopping, flashes: Arc::default() }
    }

    /// Keeps what the next page of this browser says; a restart forgets it.
    pub(super) fn keep_flash(&self, browser: [u8; 32], flash: Flash) {
        self.flashes.lock().unwrap_or_else(PoisonError::into_inner).insert(browser, flash);
    }

    /// What the last action of this browser did, once.
    pub(super) fn take_flash(&self, browser: &[u8; 32]) -> Option<Flash> {
        self.flashes.lock().unwrap_or_else(PoisonError::into_inner).remove(browser)
    }
}
