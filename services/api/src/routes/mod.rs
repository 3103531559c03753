//! Every operation, one file each, by what it is about.

use utoipa_actix_web::service_config::ServiceConfig;

mod accounts;
mod health;
mod releases;
mod nonconformances;
mod joints;
mod projects;
mod setup;
mod stock;

/// Every route.
pub fn configure(config: &mut ServiceConfig) {
    health::configure(config);
    accounts::configure(config);
    projects::configure(config);
    setup::configure(config);
    stock::configure(config);
    releases::configure(config);
    nonconformances::configure(config);
    joints::configure(config);
}
