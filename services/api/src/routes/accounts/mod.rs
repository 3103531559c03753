//! Users and their sessions.

use actix_web::web;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::edge;

mod change_password;
mod create_administrator;
mod create_password_reset;
mod create_session;
mod create_user;
mod end_session;
mod get_me;
mod list_sessions;
mod list_users;
mod refresh_session;
mod reset_password;
mod set_user_status;
mod views;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(create_session::create_session)
        .service(refresh_session::refresh_session)
        // Else `refresh` would be taken for the id of a session.
        .route("/v1/sessions/refresh", web::to(edge::unknown))
        .service(list_sessions::list_sessions)
        .service(end_session::end_session)
        .service(get_me::get_me)
        .service(change_password::change_password)
        .service(reset_password::reset_password)
        .service(create_administrator::create_administrator)
        .service(list_users::list_users)
        .service(create_user::create_user)
        .service(set_user_status::set_user_status)
        .service(create_password_reset::create_password_reset);
}
