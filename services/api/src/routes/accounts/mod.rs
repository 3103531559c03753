//! Users and their sessions.

use utoipa_actix_web::service_config::ServiceConfig;

mod create_administrator;
mod create_session;
mod create_user;
mod get_me;
mod refresh_session;
mod views;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(create_session::create_session)
        .service(refresh_session::refresh_session)
        .service(get_me::get_me)
        .service(create_administrator::create_administrator)
        .service(create_user::create_user);
}
