//! The things that addresses name: 'load or not found' once for each.
//!
//! A handler takes `Of(rig): Of<Rig>` and has the row; who is not signed in is told so first.

use std::collections::HashMap;

use axum::extract::{FromRequestParts, Path};
use axum::http::request::Parts;

use super::App;
use super::session::SignedIn;
use crate::store::captures::{self, Capture};
use crate::store::charts::{self, KeptChart};
use crate::store::figures::{self, Figure};
use crate::store::layouts::{self, LayoutRow};
use crate::store::people::{self, Person};
use crate::store::pieces::{self, Piece};
use crate::store::proofs::{self, Proof};
use crate::store::quotes::{self, Quote};
use crate::store::readers::{self, Reader};
use crate::store::readings::{self, Reading};
use crate::store::segments::{self, SegmentRow};
use crate::store::soaks::{self, Soak};
use crate::store::{
    CaptureId, ChartId, Db, LayoutId, PersonId, ProofId, QuoteId, ReaderId, SegmentId, StoreError,
};
use crate::work::{Refusal, Result};

/// A row that an address names.
pub trait Resource: Sized + Send {
    /// The slot of the route: `rig` in `/rigs/{rig}`. Also its word in 'No such rig'.
    const SLOT: &'static str;

    /// Finds it by what stands in the slot. What cannot be a key finds nothing.
    fn find(
        db: &mut Db,
        named: &str,
    ) -> impl Future<Output = std::result::Result<Option<Self>, StoreError>> + Send;
}

/// The row that the address names.
#[derive(Clone, Debug)]
pub struct Of<T>(pub T);

impl<T: Resource> FromRequestParts<App> for Of<T> {
    type Rejection = crate::work::Error;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
        SignedIn::from_request_parts(parts, app).await?;
        let slots = Path::<HashMap<String, String>>::from_request_parts(parts, app).await;
        let named = slots.ok().and_then(|Path(mut slots)| slots.remove(T::SLOT)).unwrap_or_default();
        let found = T::find(&mut *app.store.read().await?, &named).await?;
        found.map(Self).ok_or_else(|| Refusal::missing(T::SLOT, named).into())
    }
}

impl Resource for Person {
    const SLOT: &'static str = "person";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        people::by_id(db, PersonId(id)).await
    }
}

impl Resource for Piece {
    const SLOT: &'static str = "piece";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        pieces::by_key(db, named).await
    }
}

impl Resource for Capture {
    const SLOT: &'static str = "capture";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        captures::by_id(db, CaptureId(id)).await
    }
}

impl Resource for LayoutRow {
    const SLOT: &'static str = "layout";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        layouts::by_id(db, LayoutId(id)).await
    }
}

impl Resource for Quote {
    const SLOT: &'static str = "quote";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        quotes::by_id(db, QuoteId(id)).await
    }
}

impl Resource for SegmentRow {
    const SLOT: &'static str = "log";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        segments::by_id(db, SegmentId(id)).await
    }
}

impl Resource for Reader {
    const SLOT: &'static str = "reader";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        readers::by_id(db, ReaderId(id)).await
    }
}

impl Resource for KeptChart {
    const SLOT: &'static str = "chart";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        charts::by_id(db, ChartId(id)).await
    }
}

impl Resource for Reading {
    const SLOT: &'static str = "reading";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        readings::by_key(db, named).await
    }
}

impl Resource for Soak {
    const SLOT: &'static str = "soak";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        soaks::by_key(db, named).await
    }
}

impl Resource for Proof {
    const SLOT: &'static str = "proof";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        proofs::by_id(db, ProofId(id)).await
    }
}

impl Resource for Figure {
    const SLOT: &'static str = "figure";

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        figures::by_key(db, named).await
    }
}
