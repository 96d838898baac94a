//! Rigs and their dated bases.

use weighhouse_web::pages::rigs::{self as pages, Base, RigEntry};
use weighhouse_web::pages::{Rig, Rigs};
use weighhouse_web::paths;

use super::App;
use super::registers::{Kind, Open, Top, at};
use super::resources::Of;
use super::session::SignedIn;
use crate::store::RigId;
use crate::store::registers::rigs::{RigBase, RigBaseFields, RigFields};
use crate::work::registers::rigs::{self, NewRig, RigWithBases};
use crate::work::registers::typed::moment_of;
use crate::work::registers::{Entered, Entry};
use crate::work::{Refusal, Result};

/// Label of the register's entry in the frame.
const HERE: &str = "Rigs";

impl Kind for NewRig {
    type Page = Rigs;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Rigs> {
        let frame = who.frame(HERE);
        let rigs = rigs::all(&app.store).await?;
        let newest = rigs.iter().flat_map(|rig| &rig.bases).max_by_key(|base| base.id);
        let zone = newest.map_or("UTC", |base| &base.fields.time_zone).to_owned();
        let new = pages::new_rig(&open.filled(Self::THING, vec![("time_zone", zone)]));
        Ok(Rigs { frame, rigs: rigs.into_iter().map(entry).collect(), new })
    }

    fn place((): (), id: i64) -> String {
        paths::rig(id)
    }

    fn next((): ()) -> String {
        format!("{}#new-rig-name", paths::rigs())
    }
}

impl Kind for RigFields {
    type Page = Rig;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Rig> {
        page(app, who, RigId(open.row().unwrap_or(0)), open).await
    }

    fn place((): (), id: i64) -> String {
        paths::rig(id)
    }

    fn next((): ()) -> String {
        paths::rigs()
    }
}

impl Kind for RigBaseFields {
    type Page = Rig;
    type Owner = Of<Entered<RigFields>>;

    fn under(Of(rig): Self::Owner) -> RigId {
        RigId(rig.id)
    }

    async fn page(app: &App, who: &SignedIn, rig: RigId, open: &Open) -> Result<Rig> {
        page(app, who, rig, open).await
    }

    fn place(rig: RigId, _: i64) -> String {
        paths::rig(rig.0)
    }

    fn next(rig: RigId) -> String {
        format!("{}#base-from", paths::rig(rig.0))
    }
}

/// The page of one rig.
async fn page(app: &App, who: &SignedIn, id: RigId, open: &Open) -> Result<Rig> {
    let frame = who.frame(HERE);
    let rigs = rigs::all(&app.store).await?;
    let found = rigs.into_iter().find(|found| found.rig.id == id);
    let found = found.ok_or_else(|| Refusal::missing(RigFields::THING, id))?;
    // Another base starts as the newest one, from now on; the first from the start.
    let mut usual = found.bases.first().map_or_else(Vec::new, |newest| newest.fields.texts());
    for (_, text) in usual.iter_mut().filter(|(name, _)| *name == "from") {
        *text = moment_of(app.clock.now_us());
    }
    let (action, sending) =
        open.sends(RigBaseFields::THING, paths::bases(id.0), paths::base, paths::rig(id.0));
    let own = open.filled_own(RigFields::THING, found.rig.fields.texts());
    Ok(Rig {
        frame,
        base: pages::base(action, sending, &open.filled(RigBaseFields::THING, usual)),
        edit: pages::edit_rig(id.0, found.rig.version, &own),
        rig: entry(found),
    })
}

fn entry(of: RigWithBases) -> RigEntry {
    let RigWithBases { rig, bases } = of;
    RigEntry {
        id: rig.id.0,
        name: rig.fields.name,
        note: rig.fields.note,
        bases: bases.into_iter().map(base).collect(),
        version: rig.version,
    }
}

fn base(row: RigBase) -> Base {
    let f = row.fields;
    Base {
        id: row.id.0,
        from: at(f.from_us),
        board: f.board,
        processor: f.processor,
        memory: f.memory,
        os_build: f.os_build,
        firmware: f.firmware,
        cooling: f.cooling,
        enclosure: f.enclosure.to_string(),
        time_zone: f.time_zone,
        version: row.version,
    }
}
