//! Every operation, one file each, by what it is about.

use utoipa_actix_web::service_config::ServiceConfig;

mod accounts;
mod ambient;
mod audit;
mod calculations;
mod checkpoints;
mod exports;
mod feed;
mod health;
mod imports;
mod jobs;
mod joints;
mod nonconformances;
mod notifications;
mod plan;
mod problems;
mod projects;
mod quality;
mod releases;
mod setup;
mod stock;
mod takeoff;
mod warnings;
mod webhooks;

/// Every route.
pub fn configure(config: &mut ServiceConfig) {
    health::configure(config);
    problems::configure(config);
    accounts::configure(config);
    calculations::configure(config);
    projects::configure(config);
    setup::configure(config);
    stock::configure(config);
    plan::configure(config);
    ambient::configure(config);
    quality::configure(config);
    releases::configure(config);
    nonconformances::configure(config);
    joints::configure(config);
    takeoff::configure(config);
    imports::configure(config);
    jobs::configure(config);
    checkpoints::configure(config);
    audit::configure(config);
    exports::configure(config);
    warnings::configure(config);
    feed::configure(config);
    webhooks::configure(config);
    notifications::configure(config);
}
