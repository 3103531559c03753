//! The acceptance tests: what the people who coat, test and bury joints can rely on.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod access;
mod accounts;
mod ambient;
mod audit;
mod calculations;
mod concession;
mod conditional;
mod contradiction;
mod database;
mod edge;
mod export;
mod feed;
mod idempotency;
mod imports;
mod joint_list;
mod lots;
mod mail;
mod model;
mod nonconformances;
mod outlook;
mod properties;
mod quality;
mod quotas;
mod race;
mod readiness;
mod recording;
mod release;
mod scans;
mod seal;
mod signing;
mod spec;
mod stock;
mod stream;
mod takeoff;
mod verify;
mod walls;
mod warnings;
mod webhooks;
