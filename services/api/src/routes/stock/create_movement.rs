use actix_web::{
    Either, post,
    web::{Data, Json},
};
use app::{
    App,
    stock::{IssueOrder, Move, MoveOrder, NewLot, Recorded, ReverseOrder},
};
use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::{DeliveryId, MovementId},
    schema::{FieldError, Validate},
    stock::{MovementKind, Quantity},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
    reply::{Created, segment},
};

/// What a person records. Consumption follows from facts, corrections from counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecordedKind {
    /// From the supplier to `to`.
    Receive,
    /// From one location to another.
    Transfer,
    /// To the location of a crew: of `material` what expires first, or of `lot`.
    Issue,
    /// From the location of a crew to a yard or container.
    Return,
    /// From `from` into the scrap.
    Scrap,
    /// The movement `reverses` the other way round.
    Reverse,
}

/// A lot that is not set up yet, as its label says.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLotRequest {
    /// Code of its material.
    material: String,
    /// Production date.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    produced_on: Option<NaiveDate>,
    /// Last day it may be used, in the project's time zone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    expires_on: Option<NaiveDate>,
}

/// A movement to record.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MovementRequest {
    /// Made by the client (UUIDv7): the same again is the same movement.
    id: MovementId,
    /// What kind.
    kind: RecordedKind,
    /// When it happened.
    occurred_at: DateTime<Utc>,
    /// Code of the lot; an `issue` may name the `material` instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 60)]
    lot: Option<String>,
    /// Code of the material; of an `issue` alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    /// How much, base units of the material; of every kind but `reverse`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    quantity: Option<Quantity>,
    /// Code of the place it leaves; `supplier` if a `receive` says nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    from: Option<String>,
    /// Code of the place it reaches; `scrap` if a `scrap` says nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    to: Option<String>,
    /// The delivery that a `receive` came with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    delivery_id: Option<DeliveryId>,
    /// Why; needed to scrap, to reverse, and to issue a lot before its turn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 3, max_length = 2000)]
    reason: Option<String>,
    /// What the lot of a `receive` is, if it is not set up yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    new_lot: Option<NewLotRequest>,
    /// The movement to undo; of `reverse` alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reverses: Option<MovementId>,
}

impl Validate for MovementRequest {
    fn faults(&self) -> Vec<FieldError> {
        use RecordedKind::{Issue, Receive, Reverse, Scrap};
        let kind = self.kind;
        let is = |kinds: &[RecordedKind]| kinds.contains(&kind);
        // Each field: is it given, must it be, may it be.
        let fields = [
            ("lot", self.lot.is_some(), !is(&[Issue, Reverse]), kind != Reverse),
            ("material", self.material.is_some(), false, kind == Issue),
            ("quantity", self.quantity.is_some(), kind != Reverse, kind != Reverse),
            ("from", self.from.is_some(), !is(&[Receive, Reverse]), kind != Reverse),
            ("to", self.to.is_some(), !is(&[Scrap, Reverse]), kind != Reverse),
            ("delivery_id", self.delivery_id.is_some(), false, kind == Receive),
            ("reason", self.reason.is_some(), is(&[Scrap, Reverse]), true),
            ("new_lot", self.new_lot.is_some(), false, kind == Receive),
            ("reverses", self.reverses.is_some(), kind == Reverse, kind == Reverse),
        ];
        let mut faults: Vec<FieldError> = fields
            .into_iter()
            .filter_map(|(name, given, must, may)| match (given, must, may) {
                (false, true, _) => {
                    let detail = format!("`{name}` is missing");
                    Some(FieldError::new(&format!("/{name}"), "REQUIRED", detail))
                }
                (true, _, false) => {
                    let detail = format!("leave `{name}` out of this kind of movement");
                    Some(FieldError::new(&format!("/{name}"), "NOT_ALLOWED", detail))
                }
                _ => None,
            })
            .collect();
        if kind == Issue && self.lot.is_none() && self.material.is_none() {
            let detail = "say of which `material`, or of which `lot`";
            faults.push(FieldError::new("/material", "REQUIRED", detail));
        }
        faults
    }
}

/// Record a movement of stock.
///
/// Stock moves in the base unit of its material: m, L, kg or piece, with at most 3 decimals.
/// What a location does not hold cannot leave it: 409 `NOT_ENOUGH` with what is `left`.
///
/// An `issue` of a `material` takes the lots that expire first, in as many movements as it takes.
/// An `issue` of a `lot` that is not the one to go first needs a `reason`: 422 `REASON_REQUIRED`.
/// What must not be handed out is refused with every reason at once: 409 `ISSUE_REFUSED` with
/// `LOT_EXPIRED`, `LOT_QUARANTINED`, `NOT_IN_SYSTEM` or `NOT_ENOUGH`.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath),
    request_body = MovementRequest,
    responses(
        (status = 201, body = Recorded),
        (status = 200, body = Recorded, description = "It was recorded already"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/movements")]
pub async fn create_movement(
    app: Data<App>,
    permit: Permit<can::MoveStock>,
    body: Body<MovementRequest>,
) -> Result<Either<Created<Recorded>, Json<Recorded>>, Problem> {
    let Permit { actor, project, .. } = permit;
    let request = body.0;
    let recorded = match request.order()? {
        Order::Move(order) => app::stock::record_movement(&app, &actor, &project, &order).await?,
        Order::Issue(order) => app::stock::issue(&app, &actor, &project, &order).await?,
        Order::Reverse(order) => app::stock::reverse(&app, &actor, &project, &order).await?,
    };
    if recorded.repeated {
        return Ok(Either::Right(Json(recorded)));
    }
    let location = format!("/v1/projects/{}/stock/movements", segment(&project.code));
    Ok(Either::Left(Created::at(location, recorded)))
}

enum Order {
    Move(MoveOrder),
    Issue(IssueOrder),
    Reverse(ReverseOrder),
}

impl MovementRequest {
    /// What is to be done; everything that the kind needs is there.
    fn order(self) -> Result<Order, Problem> {
        let asked = serde_json::to_value(&self).map_err(|it| Problem::internal(it.to_string()))?;
        let Self { id, occurred_at, reason, .. } = self;
        let moves = match self.kind {
            RecordedKind::Issue => {
                return Ok(Order::Issue(IssueOrder {
                    id,
                    material: self.material,
                    lot: self.lot,
                    quantity: given(self.quantity, "quantity")?,
                    from: given(self.from, "from")?,
                    to: given(self.to, "to")?,
                    reason,
                    occurred_at,
                    asked,
                }));
            }
            RecordedKind::Reverse => {
                let reverses = given(self.reverses, "reverses")?;
                let reason = given(reason, "reason")?;
                return Ok(Order::Reverse(ReverseOrder {
                    id,
                    reverses,
                    reason,
                    occurred_at,
                    asked,
                }));
            }
            RecordedKind::Receive => (MovementKind::Receive, Some("supplier"), None),
            RecordedKind::Transfer => (MovementKind::Transfer, None, None),
            RecordedKind::Return => (MovementKind::Return, None, None),
            RecordedKind::Scrap => (MovementKind::Scrap, None, Some("scrap")),
        };
        let (kind, from, to) = moves;
        let what = Move {
            kind,
            lot: given(self.lot, "lot")?,
            quantity: given(self.quantity, "quantity")?,
            from: given(self.from.or(from.map(str::to_owned)), "from")?,
            to: given(self.to.or(to.map(str::to_owned)), "to")?,
            delivery: self.delivery_id,
            new_lot: self.new_lot.map(|it| NewLot {
                material: it.material,
                produced_on: it.produced_on,
                expires_on: it.expires_on,
            }),
        };
        Ok(Order::Move(MoveOrder { id, what, reason, occurred_at, asked }))
    }
}

fn given<T>(value: Option<T>, name: &str) -> Result<T, Problem> {
    let missing =
        || FieldError::new(&format!("/{name}"), "REQUIRED", format!("`{name}` is missing"));
    value.ok_or_else(|| Problem::invalid(vec![missing()]))
}
