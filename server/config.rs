//! What a server is started with.

use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

/// Settings of a server; [`Config::default`] is what a team gets that sets nothing.
#[derive(Clone, Debug)]
pub struct Config {
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// Whether other machines may reach it.
    pub allow_network: bool,
    /// The address that people type when a proxy in front does TLS: `https://bench.example`.
    pub public: Option<Public>,
    /// What requests and connections may take.
    pub limits: Limits,
    /// What a password's hash costs.
    pub passwords: PasswordCost,
}

/// The address that people type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Public {
    /// `https://bench.example`, without a slash at the end.
    pub origin: String,
    /// `bench.example`, without a port.
    pub host: String,
}

/// What requests and connections may take.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Connections at once; more wait.
    pub connections: usize,
    /// For a request's header, and between two requests of a connection.
    pub header: Duration,
    /// For the next piece of a body.
    pub body_idle: Duration,
    /// For a whole body, uploads apart.
    pub body_total: Duration,
    /// Bytes of a body, uploads apart.
    pub body_bytes: usize,
    /// Bytes of a body with a draft's text in it.
    pub text_bytes: usize,
    /// For a whole upload.
    pub upload_total: Duration,
    /// Bytes of an upload.
    pub upload_bytes: usize,
    /// For requests that are under way when the server is told to stop.
    pub drain: Duration,
}

/// What Argon2id (RFC 9106) takes for a password.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PasswordCost {
    /// Memory, KiB.
    pub memory_kib: u32,
    /// Rounds over it.
    pub rounds: u32,
    /// Lanes.
    pub lanes: u32,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from(([127, 0, 0, 1], 7300)),
            allow_network: false,
            public: None,
            limits: Limits::default(),
            passwords: PasswordCost::default(),
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connections: 256,
            header: Duration::from_secs(10),
            body_idle: Duration::from_secs(20),
            body_total: Duration::from_secs(60),
            body_bytes: 64 * 1024,
            text_bytes: 4 * 1024 * 1024,
            upload_total: Duration::from_secs(60 * 60),
            upload_bytes: 2 * 1024 * 1024 * 1024,
            drain: Duration::from_secs(8),
        }
    }
}

impl Default for PasswordCost {
    /// RFC 9106, section 4: the second recommended choice, for where memory is not plentiful.
    fn default() -> Self {
        Self { memory_kib: 64 * 1024, rounds: 3, lanes: 4 }
    }
}

/// Why a server is not started with these settings.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfigError {
    /// Other machines could reach it, and nobody said that they may.
    #[error(
        "{0} can be reached from other machines, and what people type would cross the network as plain text. \
         Listen on 127.0.0.1, put a proxy that does TLS in front of it, or add --allow-network"
    )]
    Network(SocketAddr),
    /// Not an address that browsers show.
    #[error("'{0}' is not an address such as https://bench.example (no path, no slash at the end)")]
    Public(String),
}

impl Config {
    /// # Errors
    /// When other machines could reach the server and nobody said that they may.
    pub fn checked(self) -> Result<Self, ConfigError> {
        if self.listen.ip().is_loopback() || self.allow_network {
            Ok(self)
        } else {
            Err(ConfigError::Network(self.listen))
        }
    }

    /// Whether browsers reach it by TLS, as far as it knows.
    pub fn over_tls(&self) -> bool {
        self.public.as_ref().is_some_and(|public| public.origin.starts_with("https:"))
    }

    /// What must be said on every page.
    pub fn warnings(&self) -> Vec<String> {
        if self.listen.ip().is_loopback() || self.over_tls() {
            return Vec::new();
        }
        vec!["This page came over plain http: others on this network can read what you type.".to_owned()]
    }

    /// Whether a request may name this host (no port). A name that somebody else's DNS leads here is not ours; an
    /// address in digits cannot be led here by DNS.
    pub fn answers_to(&self, host: &str) -> bool {
        let bare = host.trim_start_matches('[').trim_end_matches(']');
        if let Ok(ip) = bare.parse::<IpAddr>() {
            return ip.is_loopback() || self.allow_network;
        }
        host.eq_ignore_ascii_case("localhost")
            || self.public.as_ref().is_some_and(|public| host.eq_ignore_ascii_case(&public.host))
    }
}

impl std::str::FromStr for Public {
    type Err = ConfigError;

    fn from_str(origin: &str) -> Result<Self, ConfigError> {
        let wrong = || ConfigError::Public(origin.to_owned());
        let rest =
            origin.strip_prefix("https://").or_else(|| origin.strip_prefix("http://")).ok_or_else(wrong)?;
        let uri: axum::http::Uri = origin.parse().map_err(|_| wrong())?;
        let host = uri.host().ok_or_else(wrong)?;
        if rest.contains(['/', '?', '#', '@']) || rest.chars().any(|c| c.is_ascii_uppercase()) {
            return Err(wrong());
        }
        Ok(Self { origin: origin.to_owned(), host: host.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_this_machine_only_when_told() {
        let open = Config { listen: SocketAddr::from(([0, 0, 0, 0], 7300)), ..Config::default() };
        let error = open.clone().checked().unwrap_err();
        assert!(error.to_string().contains("--allow-network"), "{error}");
        let told = Config { allow_network: true, ..open }.checked().unwrap();
        assert_eq!(told.warnings().len(), 1);
        assert!(Config::default().checked().unwrap().warnings().is_empty());
    }

    #[test]
    fn a_host_that_dns_could_lead_here_is_not_ours() {
        let config = Config::default();
        for host in ["localhost", "LOCALHOST", "127.0.0.1", "[::1]"] {
            assert!(config.answers_to(host), "{host}");
        }
        for host in ["evil.example", "localhost.evil.example", "10.0.0.7", ""] {
            assert!(!config.answers_to(host), "{host}");
        }
        let public = Some("https://bench.example".parse().unwrap());
        let config = Config { allow_network: true, public, ..config };
        assert!(config.answers_to("10.0.0.7") && config.answers_to("bench.example"));
        assert!(!config.answers_to("evil.example"));
    }

    #[test]
    fn a_public_address_is_an_origin() {
        let public: Public = "https://bench.example:8443".parse().unwrap();
        assert_eq!(public.host, "bench.example");
        for wrong in
            ["bench.example", "https://bench.example/", "https://Bench.example", "ftp://x", "https://a@b"]
        {
            assert!(wrong.parse::<Public>().is_err(), "{wrong}");
        }
    }
}
