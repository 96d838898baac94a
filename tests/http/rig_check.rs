//! How the rigs of a piece agree, over HTTP: the empty state, choices, who may read.

use weighhouse::store::registers::parts::PartKind;
use weighhouse::store::{Actor, pieces};
use weighhouse_web::paths;

use crate::harness::House;

#[tokio::test]
async fn without_a_second_rig_the_page_says_what_to_record() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    let fields = pieces::PieceFields::usual("A piece", PartKind::Card);
    house.store.write(Actor::Server, async move |tx| pieces::add(tx, "k1", &fields).await).await.unwrap();
    let at = paths::rig_check("k1");
    for reader in [&owner, &guest] {
        let page = reader.get(&at).await;
        assert_eq!((page.status, page.texts("h1")), (200, vec!["How the rigs agree".to_owned()]));
        assert_eq!(page.texts(".empty b"), ["No cell ran in two rigs"]);
    }
    let units = owner.get(&paths::with_query(&at, &[("among", "units")])).await;
    assert_eq!((units.status, units.texts("h1")), (200, vec!["How the units agree".to_owned()]));
    assert_eq!(units.texts(".empty b"), ["No cell ran with two units in one rig"]);
    assert_eq!(owner.get(&paths::with_query(&at, &[("among", "cats")])).await.status, 422);
    let unknown = owner.get(&paths::with_query(&at, &[("measure", "speed")])).await;
    assert_eq!(
        (unknown.status, unknown.texts(".says")),
        (422, vec!["'speed' is no measure of this piece.".to_owned()])
    );
    assert_eq!(owner.get(&paths::rig_check("none")).await.status, 404);
    assert_eq!(house.anonymous().get(&paths::api(&at)).await.status, 401);
}
