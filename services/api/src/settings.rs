//! What the edge is told at its start; one of each for all workers of a process.

use actix_web::web::{Data, ServiceConfig};

use crate::{Limiter, extract::Proxies, load::Load};

/// How the edge treats those who ask.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// How often an address may ask for calculations.
    pub calculations: Data<Limiter>,
    /// The proxies whose word on a client's address is believed.
    pub proxies: Data<Proxies>,
    /// How many requests are served at once.
    pub load: Data<Load>,
}

impl Settings {
    /// The settings of a server behind `proxies`.
    pub fn new(calculations: Limiter, proxies: Proxies) -> Self {
        Self {
            calculations: Data::new(calculations),
            proxies: Data::new(proxies),
            load: Data::default(),
        }
    }

    pub(crate) fn configure(&self, config: &mut ServiceConfig) {
        config
            .app_data(self.calculations.clone())
            .app_data(self.proxies.clone())
            .app_data(self.load.clone());
    }
}
