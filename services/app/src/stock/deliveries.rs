//! What is expected, and how much of it has come.

use chrono::NaiveDate;
use domain::{
    access::Permission,
    ids::DeliveryId,
    schema::FieldError,
    setup::ProjectSetup,
    stock::{Quantity, number},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use store::{PgConnection, deliveries::StoredDelivery};
use utoipa::ToSchema;

use super::{Stamp, views::id_reused};
use crate::{Actor, App, AppError, projects::ProjectEntry, retry::Attempts, setup};

/// How it stands with a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryStatus {
    /// Some of it is still to come.
    Expected,
    /// Nothing more is to come.
    Received,
    /// It will not come.
    Cancelled,
}

impl DeliveryStatus {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Expected => "expected",
            Self::Received => "received",
            Self::Cancelled => "cancelled",
        }
    }
}

/// A new delivery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeliveryAsk {
    /// Id.
    pub id: DeliveryId,
    /// Code of the material.
    pub material: String,
    /// How much, base units.
    pub quantity: Quantity,
    /// The day it is expected.
    pub expected_on: NaiveDate,
    /// The day it was ordered.
    pub ordered_on: Option<NaiveDate>,
    /// From whom.
    pub supplier: Option<String>,
}

/// What a delivery is to be from now on.
#[derive(Debug, Clone)]
pub struct DeliveryChange {
    /// Everything but how much has come.
    pub ask: DeliveryAsk,
    /// How it stands.
    pub status: DeliveryStatus,
}

/// A delivery as it is shown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DeliveryView {
    /// Id.
    pub id: DeliveryId,
    /// Code of the material.
    pub material: String,
    /// How much was ordered, base units.
    pub quantity: f64,
    /// How much has come, base units.
    pub received_quantity: f64,
    /// The base unit: m, L, kg or piece.
    pub unit: Option<&'static str>,
    /// The day it is expected.
    pub expected_on: NaiveDate,
    /// The day it was ordered.
    pub ordered_on: Option<NaiveDate>,
    /// From whom.
    pub supplier: Option<String>,
    /// `expected`, `received` or `cancelled`.
    #[schema(value_type = DeliveryStatus)]
    pub status: String,
    /// Counts its changes.
    pub version: i64,
}

impl DeliveryView {
    fn new(stored: StoredDelivery, setup: &ProjectSetup) -> Self {
        let material = setup.materials.get(&stored.material);
        Self {
            id: stored.id,
            unit: material.map(|it| it.unit().symbol()),
            material: stored.material,
            quantity: number(stored.quantity),
            received_quantity: number(stored.received_quantity),
            expected_on: stored.expected_on,
            ordered_on: stored.ordered_on,
            supplier: stored.supplier,
            status: stored.status,
            version: stored.version,
        }
    }
}

/// Which deliveries.
#[derive(Debug, Clone, Default)]
pub struct DeliveryFilter {
    /// Of this material.
    pub material: Option<String>,
    /// That stand so.
    pub status: Option<DeliveryStatus>,
    /// Those after that one.
    pub after: Option<(NaiveDate, DeliveryId)>,
}

/// At most `limit` deliveries, by the day they are expected.
pub async fn deliveries(
    app: &App,
    project: &ProjectEntry,
    filter: &DeliveryFilter,
    limit: i64,
) -> Result<Vec<DeliveryView>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let by = (filter.material.as_deref(), filter.status.map(DeliveryStatus::name));
    let found = store::deliveries::list(&mut tx, project.id, by, filter.after, limit).await?;
    Ok(found.into_iter().map(|it| DeliveryView::new(it, &setup)).collect())
}

/// Announces a delivery; true if the same was announced already.
pub async fn create_delivery(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    ask: &DeliveryAsk,
) -> Result<(DeliveryView, bool), AppError> {
    project.require(Permission::ManageMaterials)?;
    let mut attempts = Attempts::default();
    loop {
        match create(app, actor, project, ask).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn create(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    ask: &DeliveryAsk,
) -> Result<(DeliveryView, bool), AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    check_material(&ask.material, &setup)?;
    let delivery = stored(ask, DeliveryStatus::Expected, Decimal::ZERO, 1);
    let there = store::deliveries::lock(&mut tx, project.id, &[ask.id]).await?;
    if let Some(there) = there.into_iter().next() {
        // It may have been changed or received since.
        let same = there.material == ask.material && there.ordered_on == ask.ordered_on;
        let unchanged =
            there.version > 1 || StoredDelivery { version: 1, ..there.clone() } == delivery;
        return if same && unchanged {
            Ok((DeliveryView::new(there, &setup), true))
        } else {
            Err(id_reused("delivery"))
        };
    }
    let done = store::deliveries::insert(&mut tx, project.id, &delivery, (actor.user, now)).await;
    done.map_err(|error| match error.constraint() {
        Some("deliveries_key") => AppError::Contended,
        _ => error.into(),
    })?;
    crate::jobs::stock_check_soon(&mut tx, project.id, app.clock.now()).await?;
    app.commit(tx).await?;
    Ok((DeliveryView::new(delivery, &setup), false))
}

/// Changes the delivery seen at `version`.
pub async fn change_delivery(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    change: &DeliveryChange,
    version: i64,
) -> Result<DeliveryView, AppError> {
    project.require(Permission::ManageMaterials)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let id = change.ask.id;
    let there = store::deliveries::lock(&mut tx, project.id, &[id]).await?.into_iter().next();
    let there = there.ok_or_else(|| AppError::not_found(format!("delivery {id}")))?;
    if there.version != version {
        return Err(AppError::stale(version, there.version));
    }
    check_material(&change.ask.material, &setup)?;
    if there.received_quantity > Decimal::ZERO && there.material != change.ask.material {
        let detail = format!("some of it has come, and that was {}", there.material);
        let fault = FieldError::new("/material", "MATERIAL_DIFFERS", detail);
        return Err(AppError::Invalid(vec![fault]));
    }
    let next = stored(&change.ask, change.status, there.received_quantity, version + 1);
    if !store::deliveries::update(&mut tx, project.id, &next, (actor.user, now)).await? {
        return Err(AppError::Internal(format!("delivery {id} changed under a lock")));
    }
    crate::jobs::stock_check_soon(&mut tx, project.id, app.clock.now()).await?;
    app.commit(tx).await?;
    Ok(DeliveryView::new(next, &setup))
}

fn stored(
    ask: &DeliveryAsk,
    status: DeliveryStatus,
    received_quantity: Decimal,
    version: i64,
) -> StoredDelivery {
    StoredDelivery {
        id: ask.id,
        material: ask.material.clone(),
        quantity: ask.quantity.value(),
        expected_on: ask.expected_on,
        ordered_on: ask.ordered_on,
        supplier: ask.supplier.clone(),
        status: status.name().to_owned(),
        received_quantity,
        version,
    }
}

fn check_material(code: &str, setup: &ProjectSetup) -> Result<(), AppError> {
    if setup.materials.contains_key(code) {
        return Ok(());
    }
    let detail = format!("there is no material `{code}`");
    Err(AppError::Invalid(vec![FieldError::new("/material", "UNKNOWN_REFERENCE", detail)]))
}

/// Adds what has come, each with its delivery and the material of its lot.
pub(super) async fn receive_into(
    conn: &mut PgConnection,
    stamp: Stamp,
    arrived: &[(DeliveryId, &str, Quantity)],
) -> Result<(), AppError> {
    let ids: Vec<DeliveryId> = arrived.iter().map(|(id, ..)| *id).collect();
    let mut locked = store::deliveries::lock(conn, stamp.project, &ids).await?;
    for (id, material, quantity) in arrived {
        let Some(delivery) = locked.iter_mut().find(|it| it.id == *id) else {
            let detail = format!("there is no delivery {id}");
            let fault = FieldError::new("/delivery_id", "UNKNOWN_REFERENCE", detail);
            return Err(AppError::Invalid(vec![fault]));
        };
        if delivery.material != *material {
            let detail = format!("delivery {id} is of the material {}", delivery.material);
            let fault = FieldError::new("/delivery_id", "MATERIAL_DIFFERS", detail);
            return Err(AppError::Invalid(vec![fault]));
        }
        if delivery.status == DeliveryStatus::Cancelled.name() {
            let detail = format!("delivery {id} was cancelled: change it first if it came anyway");
            return Err(AppError::Conflict { code: "DELIVERY_CANCELLED", detail });
        }
        delivery.received_quantity += quantity.value();
    }
    save(conn, stamp, locked).await
}

/// Takes off what was reversed.
pub(super) async fn take_back(
    conn: &mut PgConnection,
    stamp: Stamp,
    id: DeliveryId,
    quantity: Quantity,
) -> Result<(), AppError> {
    let mut locked = store::deliveries::lock(conn, stamp.project, &[id]).await?;
    for delivery in &mut locked {
        let was_complete = delivery.received_quantity >= delivery.quantity;
        if was_complete && delivery.status == DeliveryStatus::Received.name() {
            DeliveryStatus::Expected.name().clone_into(&mut delivery.status);
        }
        let left = delivery.received_quantity - quantity.value();
        delivery.received_quantity = left.max(Decimal::ZERO);
    }
    save(conn, stamp, locked).await
}

async fn save(
    conn: &mut PgConnection,
    stamp: Stamp,
    deliveries: Vec<StoredDelivery>,
) -> Result<(), AppError> {
    let by = stamp.by.ok_or_else(|| AppError::Internal("nobody has received it".to_owned()))?;
    for mut delivery in deliveries {
        let complete = delivery.received_quantity >= delivery.quantity;
        // One that somebody closed or cancelled stays so.
        if complete && delivery.status == DeliveryStatus::Expected.name() {
            DeliveryStatus::Received.name().clone_into(&mut delivery.status);
        }
        delivery.version += 1;
        let done =
            store::deliveries::update(conn, stamp.project, &delivery, (by, stamp.now)).await?;
        if !done {
            return Err(AppError::Internal(format!("delivery {} lost its lock", delivery.id)));
        }
    }
    Ok(())
}
