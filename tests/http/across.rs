//! One setting against another over HTTP: the empty state, the step that is asked for, who may read.

use weighhouse_web::paths;

use crate::against::piece;
use crate::harness::{House, chart};

#[tokio::test]
async fn two_settings_that_differ_in_one_option_are_asked_for_until_there_are_passes() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    piece(&house).await;
    let at = paths::across("k1");
    for reader in [&owner, &guest] {
        let page = reader.get(&at).await;
        assert_eq!((page.status, page.texts("h1")), (200, vec!["One option on and off".to_owned()]));
        assert_eq!(page.texts(".empty b"), ["No two settings to compare yet"]);
    }
    for step in ["1-1", "2-1", "cake"] {
        let unknown = owner.get(&paths::with_query(&at, &[("step", step)])).await;
        assert_eq!(unknown.status, 422, "{step}");
        assert!(unknown.texts(".says")[0].starts_with(&format!("'{step}' is no step")));
    }
    assert_eq!(owner.get(&chart("across", &[])).await.status, 404);
    assert_eq!(owner.get(&paths::across("none")).await.status, 404);
    assert_eq!(house.anonymous().get(&paths::api(&at)).await.status, 401);
    assert_eq!(
        owner.get(&paths::against("k1")).await.attribute(&format!("a[href='{at}']"), "href"),
        Some(at)
    );
}
