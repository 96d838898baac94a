//! Bench sessions: a session is one part in one rig between two swaps. [`sessions`] orders what is missing into
//! sessions, [`drift`] tests on the control scene whether a rig drifted during one that was run.
//!
//! Times are whole seconds; parts, tunings, scenes, settings and cells are named by the caller's ids.

mod ask;
pub mod drift;
pub mod sessions;

/// What the steps of a session take, in seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Costs {
    /// Taking a part out and putting another one in, up to the running system.
    pub swap_s: u32,
    /// Installing another driver.
    pub driver_s: u32,
    /// A restart: after another driver, and with another tuning.
    pub restart_s: u32,
    /// Loading a scene at a setting.
    pub load_s: u32,
    /// Running warm before anything counts.
    pub soak_s: u32,
    /// Handling a pass: starting it, keeping and sending its log; its recording comes on top.
    pub pass_s: u32,
}

impl Default for Costs {
    /// Common practice, no source: 10 to 15 minutes of soak before counting; the others are a tidy bench's.
    fn default() -> Self {
        Costs { swap_s: 900, driver_s: 600, restart_s: 180, load_s: 90, soak_s: 720, pass_s: 60 }
    }
}
