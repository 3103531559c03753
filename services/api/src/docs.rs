//! The description of the API for people, at `/docs`: part of the program, so that it is there
//! where there is no network.

use utoipa_swagger_ui::{Config, SwaggerUi};

/// Where it stands.
pub const PATH: &str = "/docs";

/// It runs its own scripts and styles, and nothing else.
pub const CONTENT_SECURITY_POLICY: &str = "default-src 'self'; style-src 'self' 'unsafe-inline'; \
                                           img-src 'self' data:; frame-ancestors 'none'";

pub fn service() -> SwaggerUi {
    SwaggerUi::new("/docs/{_:.*}").config(Config::from("/openapi.json"))
}
