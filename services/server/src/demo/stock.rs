//! The stock of the demo: what was ordered, what came, who took it, what was counted.

use anyhow::{Context, bail};
use app::{
    App,
    stock::{self, CountAsk, CountedLot, DeliveryAsk, IssueOrder, Move, MoveOrder},
};
use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::{CountId, DeliveryId, MovementId},
    stock::{MovementKind, Quantity},
};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::Value;

use super::{actors::Someone, files::SentLine};
use crate::explain::explain;

#[derive(Deserialize)]
struct MovementBody {
    id: MovementId,
    kind: MovementKind,
    occurred_at: DateTime<Utc>,
    lot: String,
    quantity: Quantity,
    from: String,
    to: String,
    reason: Option<String>,
}

#[derive(Deserialize)]
struct DeliveryBody {
    id: DeliveryId,
    material: String,
    quantity: Quantity,
    expected_on: NaiveDate,
    ordered_on: Option<NaiveDate>,
    supplier: Option<String>,
}

#[derive(Deserialize)]
struct CountBody {
    id: CountId,
    location: String,
    counted_at: DateTime<Utc>,
    lines: Vec<CountedBody>,
}

#[derive(Deserialize)]
struct CountedBody {
    lot: String,
    quantity: Decimal,
}

/// Sends one line, as the material controller does.
pub async fn send(app: &App, by: &Someone, line: SentLine) -> anyhow::Result<()> {
    let SentLine { to, body, .. } = line;
    let shown = body.to_string();
    let sent = match to.as_str() {
        "movements" => movement(app, by, body).await,
        "deliveries" => delivery(app, by, body).await,
        "counts" => count(app, by, body).await,
        other => bail!("stock.ndjson sends something to `{other}`"),
    };
    sent.with_context(|| format!("could not send {shown}"))
}

async fn movement(app: &App, by: &Someone, asked: Value) -> anyhow::Result<()> {
    let body: MovementBody = serde_json::from_value(asked.clone())?;
    if body.kind == MovementKind::Issue {
        let order = IssueOrder {
            id: body.id,
            material: None,
            lot: Some(body.lot),
            quantity: body.quantity,
            from: body.from,
            to: body.to,
            reason: body.reason,
            occurred_at: body.occurred_at,
            asked,
        };
        stock::issue(app, &by.actor, &by.project, &order).await.map_err(explain)?;
        return Ok(());
    }
    let what = Move {
        kind: body.kind,
        lot: body.lot,
        quantity: body.quantity,
        from: body.from,
        to: body.to,
        delivery: None,
        new_lot: None,
    };
    let order =
        MoveOrder { id: body.id, what, reason: body.reason, occurred_at: body.occurred_at, asked };
    stock::record_movement(app, &by.actor, &by.project, &order).await.map_err(explain)?;
    Ok(())
}

async fn delivery(app: &App, by: &Someone, asked: Value) -> anyhow::Result<()> {
    let body: DeliveryBody = serde_json::from_value(asked)?;
    let ask = DeliveryAsk {
        id: body.id,
        material: body.material,
        quantity: body.quantity,
        expected_on: body.expected_on,
        ordered_on: body.ordered_on,
        supplier: body.supplier,
    };
    stock::create_delivery(app, &by.actor, &by.project, &ask).await.map_err(explain)?;
    Ok(())
}

async fn count(app: &App, by: &Someone, asked: Value) -> anyhow::Result<()> {
    let body: CountBody = serde_json::from_value(asked.clone())?;
    let lines = body.lines.into_iter().map(|it| CountedLot { lot: it.lot, quantity: it.quantity });
    let ask = CountAsk {
        id: body.id,
        location: body.location,
        counted_at: body.counted_at,
        lines: lines.collect(),
        asked,
    };
    stock::record_count(app, &by.actor, &by.project, &ask).await.map_err(explain)?;
    Ok(())
}
