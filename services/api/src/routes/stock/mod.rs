//! Materials, what there is of them, and what moves.

use utoipa_actix_web::service_config::ServiceConfig;

mod approve_count;
mod create_count;
mod create_delivery;
mod create_movement;
mod extend_lot;
mod get_issue_proposal;
mod get_lot_trace;
mod get_outlook;
mod lift_lot;
mod list_balances;
mod list_counts;
mod list_deliveries;
mod list_movements;
mod locations;
mod lots;
mod materials;
mod parse_scan;
mod put_delivery;
mod quarantine_lot;
mod receive_delivery_note;

pub(super) fn configure(config: &mut ServiceConfig) {
    materials::configure(config);
    lots::configure(config);
    config.service(get_outlook::get_outlook);
    config.service(parse_scan::parse_scan);
    locations::configure(config);
    config
        .service(list_movements::list_movements)
        .service(create_movement::create_movement)
        .service(get_issue_proposal::get_issue_proposal)
        .service(list_balances::list_balances)
        .service(list_deliveries::list_deliveries)
        .service(create_delivery::create_delivery)
        .service(put_delivery::put_delivery)
        .service(receive_delivery_note::receive_delivery_note)
        .service(list_counts::list_counts)
        .service(create_count::create_count)
        .service(approve_count::approve_count)
        .service(get_lot_trace::get_lot_trace)
        .service(quarantine_lot::quarantine_lot)
        .service(lift_lot::lift_lot)
        .service(extend_lot::extend_lot);
}
