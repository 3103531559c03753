//! What the queue promises, against a real PostgreSQL: one test per trap that is known of it.

#[cfg(test)]
mod support;

#[cfg(test)]
mod asking;
#[cfg(test)]
mod failures;
#[cfg(test)]
mod leases;
#[cfg(test)]
mod processes;
#[cfg(test)]
mod running;
#[cfg(test)]
mod schedules;
#[cfg(test)]
mod upkeep;
