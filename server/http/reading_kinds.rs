//! The register of the kinds of reading.

use weighhouse_web::pages::{ReadingKindLine, ReadingKinds, kind_form};
use weighhouse_web::paths;

use super::App;
use super::registers::{Kind, Open, Top};
use super::session::SignedIn;
use crate::store::registers::reading_kinds::{self, ReadAt, ReadingKind, ReadingKindFields};
use crate::work::Result;
use crate::work::registers::Entry;

impl Kind for ReadingKindFields {
    type Page = ReadingKinds;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<ReadingKinds> {
        let all = reading_kinds::all(&mut *app.store.read().await?).await?;
        let usual = vec![("repeats", "3".to_owned())];
        let (action, sending) =
            open.sends(Self::THING, paths::reading_kinds(), paths::reading_kind, paths::reading_kinds());
        Ok(ReadingKinds {
            frame: who.frame(""),
            kinds: all.into_iter().map(line).collect(),
            form: kind_form(action, sending, &open.filled(Self::THING, usual)),
        })
    }

    fn place((): (), _: i64) -> String {
        paths::reading_kinds()
    }

    fn next((): ()) -> String {
        format!("{}#kind-name", paths::reading_kinds())
    }
}

/// What a kind is a number of.
pub(super) fn of(read_at: ReadAt) -> &'static str {
    match read_at {
        ReadAt::Part => "the part",
        ReadAt::Wall => "the whole system, at the wall",
        ReadAt::Air => "the air beside it",
    }
}

fn line(kind: ReadingKind) -> ReadingKindLine {
    let f = kind.fields;
    ReadingKindLine {
        id: kind.id.0,
        name: f.name,
        unit: f.unit,
        better: f.better.to_string(),
        of: of(f.read_at).to_owned(),
        repeats: f.repeats,
        method: f.method,
        version: kind.version,
    }
}
