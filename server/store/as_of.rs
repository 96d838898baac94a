//! What was worked out from the store as it is: kept in memory until the next audit entry.
//!
//! Every change of an audited table makes an entry, and the tables that are not audited hold nothing that a page shows
//! (`audited.rs` gives the reasons): what was read with the same newest entry is the same.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Things kept at once: pieces that a team looks at side by side.
const MOST: usize = 8;

/// Values by type and number, all as of one entry.
#[derive(Debug, Default)]
pub(super) struct AsOf(Mutex<Kept>);

#[derive(Debug, Default)]
struct Kept {
    seq: i64,
    values: HashMap<(TypeId, i64), Arc<dyn Any + Send + Sync>>,
}

impl AsOf {
    /// What was kept under this number as of this entry.
    pub(super) fn recall<T: Any + Send + Sync>(&self, seq: i64, number: i64) -> Option<Arc<T>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let value = kept.values.get(&(TypeId::of::<T>(), number)).filter(|_| kept.seq == seq)?;
        value.clone().downcast().ok()
    }

    /// Keeps a value; what is older than the newest entry seen goes.
    pub(super) fn keep<T: Any + Send + Sync>(&self, seq: i64, number: i64, value: Arc<T>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if seq < kept.seq {
            return;
        }
        if seq > kept.seq || kept.values.len() >= MOST {
            kept.values.clear();
            kept.seq = seq;
        }
        kept.values.insert((TypeId::of::<T>(), number), value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_stands_until_the_next_entry() {
        let as_of = AsOf::default();
        as_of.keep(5, 1, Arc::new("five".to_owned()));
        assert_eq!(as_of.recall::<String>(5, 1).as_deref().map(String::as_str), Some("five"));
        assert!(as_of.recall::<String>(5, 2).is_none(), "another number");
        assert!(as_of.recall::<i64>(5, 1).is_none(), "another type");
        assert!(as_of.recall::<String>(6, 1).is_none(), "a later entry");
        as_of.keep(6, 1, Arc::new("six".to_owned()));
        as_of.keep(5, 1, Arc::new("late".to_owned()));
        assert!(as_of.recall::<String>(5, 1).is_none());
        assert_eq!(as_of.recall::<String>(6, 1).as_deref().map(String::as_str), Some("six"));
    }

    #[test]
    fn no_more_is_kept_than_is_looked_at() {
        let as_of = AsOf::default();
        for number in 0..20 {
            as_of.keep(1, number, Arc::new(number));
        }
        let kept = (0..20).filter(|number| as_of.recall::<i64>(1, *number).is_some()).count();
        assert!((1..=MOST).contains(&kept), "{kept}");
    }
}
