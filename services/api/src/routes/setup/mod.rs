//! What a project is set up with: the line, the systems, the plan, the people, the instruments.

use utoipa_actix_web::service_config::ServiceConfig;

pub(super) mod resource;

mod coating_systems;
mod crews;
mod detectors;
mod inspection_plans;
mod line_pipes;
mod people;
mod sections;
mod spreads;

pub(super) fn configure(config: &mut ServiceConfig) {
    line_pipes::configure(config);
    spreads::configure(config);
    crews::configure(config);
    sections::configure(config);
    coating_systems::configure(config);
    inspection_plans::configure(config);
    people::configure(config);
    detectors::configure(config);
}
