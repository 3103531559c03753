//! What the edge is told at its start; one of each for all workers of a process.

use actix_web::web::{Data, ServiceConfig};

use crate::{Limiter, Quotas, Readiness, extract::Proxies, load::Load};

/// How the edge treats those who ask.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// How often an address may ask for calculations.
    pub calculations: Data<Limiter>,
    /// The proxies whose word on a client's address is believed.
    pub proxies: Data<Proxies>,
    /// How many requests are served at once.
    pub load: Data<Load>,
    /// How often a user may ask; without a limit unless told.
    pub quotas: Data<Quotas>,
    /// Whether more requests are asked for.
    pub readiness: Data<Readiness>,
}

impl Settings {
    /// The settings of a server behind `proxies`.
    pub fn new(calculations: Limiter, proxies: Proxies) -> Self {
        Self {
            calculations: Data::new(calculations),
            proxies: Data::new(proxies),
            ..Self::default()
        }
    }

    /// The same with limits for each user.
    #[must_use]
    pub fn with_quotas(self, quotas: Quotas) -> Self {
        Self { quotas: Data::new(quotas), ..self }
    }

    /// The same for a process of this readiness.
    #[must_use]
    pub fn with_readiness(self, readiness: Readiness) -> Self {
        Self { readiness: Data::new(readiness), ..self }
    }

    pub(crate) fn configure(&self, config: &mut ServiceConfig) {
        config
            .app_data(self.calculations.clone())
            .app_data(self.proxies.clone())
            .app_data(self.load.clone())
            .app_data(self.quotas.clone())
            .app_data(self.readiness.clone());
    }
}
