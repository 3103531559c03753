//! Joints and the facts recorded on them.

use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

mod get_joint;
mod get_joint_materials;
mod get_joint_proof;
mod get_joint_takeoff;
mod list_events;
mod list_joints;
mod record_event;
mod record_event_batch;

/// A joint.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct JointPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Number or id of the joint.
    joint: String,
}

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_joints::list_joints)
        .service(get_joint::get_joint)
        .service(get_joint_materials::get_joint_materials)
        .service(get_joint_takeoff::get_joint_takeoff)
        .service(get_joint_proof::get_joint_proof)
        .service(record_event::record_event)
        .service(list_events::list_events)
        .service(record_event_batch::record_event_batch);
}
