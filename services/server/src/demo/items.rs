//! The set-up of the demo.

use anyhow::Context;
use app::{App, setup};
use domain::{
    access::{Role, allows},
    setup::{
        CoatingSystem, Crew, Detector, InspectionPlan, Item, Kind, LinePipe, Location, Lot,
        Material, Person, ProductionPlan, Section, Spread, WorkingCalendar,
    },
};
use serde_json::{Value, json};

use super::{
    actors::{Actors, Someone},
    files,
    shift::Shift,
};
use crate::explain::explain;

/// Whose work a set-up is, those who do only that first.
const KEEPERS: [Role; 3] = [Role::MaterialController, Role::SiteCoordinator, Role::QaManager];

/// Puts every item, each by whom it belongs to.
pub async fn put_all(app: &App, actors: &Actors, shift: Shift) -> anyhow::Result<()> {
    for kind in Kind::ALL {
        let permission = setup::permission_for(kind);
        let role = KEEPERS.into_iter().find(|role| allows(*role, permission));
        let keeper = actors.with_role(role.unwrap_or(Role::Administrator))?;
        for mut item in files::items(kind, shift)? {
            let user = item["code"].as_str().and_then(|code| actors.user_of(code));
            if let (Kind::Person, Some(user)) = (kind, user) {
                item["user"] = json!(user);
            }
            put_one(app, keeper, kind, item).await?;
        }
    }
    Ok(())
}

async fn put_one(app: &App, by: &Someone, kind: Kind, item: Value) -> anyhow::Result<()> {
    match kind {
        Kind::LinePipe => put::<LinePipe>(app, by, item).await,
        Kind::Spread => put::<Spread>(app, by, item).await,
        Kind::Crew => put::<Crew>(app, by, item).await,
        Kind::Section => put::<Section>(app, by, item).await,
        Kind::Material => put::<Material>(app, by, item).await,
        Kind::Lot => put::<Lot>(app, by, item).await,
        Kind::CoatingSystem => put::<CoatingSystem>(app, by, item).await,
        Kind::InspectionPlan => put::<InspectionPlan>(app, by, item).await,
        Kind::Person => put::<Person>(app, by, item).await,
        Kind::Detector => put::<Detector>(app, by, item).await,
        Kind::Location => put::<Location>(app, by, item).await,
        Kind::WorkingCalendar => put::<WorkingCalendar>(app, by, item).await,
        Kind::ProductionPlan => put::<ProductionPlan>(app, by, item).await,
    }
}

async fn put<T: Item>(app: &App, by: &Someone, item: Value) -> anyhow::Result<()> {
    let item: T = serde_json::from_value(item)
        .with_context(|| format!("cannot read a {}", T::KIND.name()))?;
    let code = item.code().to_owned();
    let stored = setup::put(app, &by.actor, &by.project, item, None).await;
    stored
        .map_err(explain)
        .with_context(|| format!("could not store the {} {code}", T::KIND.name()))?;
    Ok(())
}
