//! What every handler can reach.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::watch;
use weighhouse_web::pages::{Flash, Secret};

use crate::chance::Chance;
use crate::clock::Clock;
use crate::config::Config;
use crate::store::Store;
use crate::work::passwords::Passwords;
use crate::work::take_in::TakeIn;

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
    /// Takes logs in, few at once.
    pub take_in: TakeIn,
    /// True once the server is stopping: streams end then.
    pub stopping: watch::Receiver<bool>,
    addr: SocketAddr,
    flashes: Arc<Mutex<HashMap<[u8; 32], Flash>>>,
    secrets: Arc<Mutex<HashMap<[u8; 32], Secret>>>,
}

impl App {
    pub(super) fn new(
        config: Config,
        addr: SocketAddr,
        store: Store,
        clock: Clock,
        chance: Chance,
        stopping: watch::Receiver<bool>,
    ) -> Self {
        let passwords = Passwords::new(config.passwords);
        let take_in = TakeIn::new(store.clone());
        let (flashes, secrets) = Default::default();
        let config = Arc::new(config);
        Self { addr, store, clock, chance, config, passwords, take_in, stopping, flashes, secrets }
    }

    /// The address that people type, without a slash at its end.
    pub fn address(&self) -> String {
        let typed = self.config.public.as_ref().map(|public| public.origin.clone());
        typed.unwrap_or_else(|| format!("http://{}", self.addr))
    }

    /// Keeps what the next page of this browser says; a restart forgets it.
    pub(super) fn keep_flash(&self, browser: [u8; 32], flash: Flash) {
        self.flashes.lock().unwrap_or_else(PoisonError::into_inner).insert(browser, flash);
    }

    /// What the last action of this browser did, once.
    pub(super) fn take_flash(&self, browser: &[u8; 32]) -> Option<Flash> {
        self.flashes.lock().unwrap_or_else(PoisonError::into_inner).remove(browser)
    }

    /// Keeps a link or key that the next page of people shows this browser, once.
    pub(super) fn keep_secret(&self, browser: [u8; 32], secret: Secret) {
        self.secrets.lock().unwrap_or_else(PoisonError::into_inner).insert(browser, secret);
    }

    /// The link or key that was made just now, once, on the page that shows its kind.
    pub(super) fn take_secret(&self, browser: &[u8; 32], shows: fn(&Secret) -> bool) -> Option<Secret> {
        let mut kept = self.secrets.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.get(browser).is_some_and(shows) { kept.remove(browser) } else { None }
    }
}
