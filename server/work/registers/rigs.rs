//! Rigs and their dated bases.

use super::typed::moment_of;
use super::{Add, Edit, Entered, Entry, Texts, Typed};
use crate::store::registers::rigs::{self, Enclosure, Rig, RigBase, RigBaseFields, RigFields};
use crate::store::{Db, RigBaseId, RigId, Store, StoreError, Tx};
use crate::work::Result;

/// A new rig with its first base.
#[derive(Clone, Debug)]
pub struct NewRig {
    rig: RigFields,
    base: RigBaseFields,
}

/// A rig with its bases, newest first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RigWithBases {
    /// The rig.
    pub rig: Rig,
    /// Its bases.
    pub bases: Vec<RigBase>,
}

/// All rigs by name, in one view of the store.
///
/// # Errors
/// When the store fails.
pub async fn all(store: &Store) -> Result<Vec<RigWithBases>> {
    let mut db = store.read().await?;
    let bases = rigs::bases(&mut db).await?;
    let with_bases = |rig: Rig| RigWithBases {
        bases: bases.iter().filter(|base| base.fields.rig_id == rig.id).cloned().collect(),
        rig,
    };
    Ok(rigs::all(&mut db).await?.into_iter().map(with_bases).collect())
}

impl Entry for NewRig {
    const THING: &'static str = "rig";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let rig = rig_fields(&mut typed);
        // The id is filled in when the rig has one.
        let base = base_fields(RigId(0), &mut typed);
        typed.done()?;
        Ok(NewRig { rig, base })
    }

    fn texts(&self) -> Texts {
        let mut texts = self.rig.texts();
        texts.extend(self.base.texts());
        texts
    }

    fn called(&self) -> String {
        self.rig.called()
    }
}

impl Add for NewRig {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        let rig_id = rigs::add(tx, &self.rig).await?;
        rigs::add_base(tx, &RigBaseFields { rig_id, ..self.base }).await?;
        Ok(rig_id.0)
    }
}

fn rig_fields(typed: &mut Typed<'_>) -> RigFields {
    RigFields { name: typed.name("name", "The rig's name"), note: typed.free("note") }
}

fn base_fields(rig_id: RigId, typed: &mut Typed<'_>) -> RigBaseFields {
    RigBaseFields {
        rig_id,
        from_us: typed.moment("from"),
        board: typed.free("board"),
        processor: typed.free("processor"),
        memory: typed.free("memory"),
        os_build: typed.free("os_build"),
        firmware: typed.free("firmware"),
        cooling: typed.free("cooling"),
        enclosure: typed.word("enclosure", Enclosure::ALL, Enclosure::NotSaid),
        time_zone: typed.zone("time_zone"),
    }
}

impl Entry for RigFields {
    const THING: &'static str = "rig";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let fields = rig_fields(&mut typed);
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![("name", self.name.clone()), ("note", self.note.clone())]
    }

    fn called(&self) -> String {
        format!("Rig {}", self.name)
    }
}

impl Edit for RigFields {
    fn of(&self) {}

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = rigs::by_id(db, RigId(id)).await?;
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(rigs::edit(tx, RigId(id), version, &self).await?)
    }
}

impl Entry for RigBaseFields {
    const THING: &'static str = "base";
    type Of = RigId;

    fn read(rig_id: RigId, mut typed: Typed<'_>) -> Result<Self> {
        let fields = base_fields(rig_id, &mut typed);
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("from", moment_of(self.from_us)),
            ("board", self.board.clone()),
            ("processor", self.processor.clone()),
            ("memory", self.memory.clone()),
            ("os_build", self.os_build.clone()),
            ("firmware", self.firmware.clone()),
            ("cooling", self.cooling.clone()),
            ("enclosure", self.enclosure.to_string()),
            ("time_zone", self.time_zone.clone()),
        ]
    }

    fn called(&self) -> String {
        let from = moment_of(self.from_us);
        if from.is_empty() { "The first base".to_owned() } else { format!("The base from {from} UTC") }
    }
}

impl Add for RigBaseFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(rigs::add_base(tx, &self).await?.0)
    }
}

impl Edit for RigBaseFields {
    fn of(&self) -> RigId {
        self.rig_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = rigs::base(db, RigBaseId(id)).await?;
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(rigs::edit_base(tx, RigBaseId(id), version, &self).await?)
    }
}
