//! Statistics that know no captures: slices in, numbers out.

pub mod block;
pub mod bootstrap;
pub mod changepoint;
pub mod consistency;
pub mod correlation;
pub mod distributions;
pub mod holm;
pub mod limits;
pub mod moderation;
pub mod nnls;
pub mod order;
pub mod periodicity;
pub mod precision;
pub mod rng;
pub mod robust;
pub mod sum;
pub mod trend;
pub mod truncation;
