//! Projects and their members.

use utoipa_actix_web::service_config::ServiceConfig;

mod create_project;
mod get_project;
mod list_members;
mod list_projects;
mod put_member;
mod remove_member;
mod views;

pub use views::ProjectView;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_projects::list_projects)
        .service(create_project::create_project)
        .service(get_project::get_project)
        .service(list_members::list_members)
        .service(put_member::put_member)
        .service(remove_member::remove_member);
}
