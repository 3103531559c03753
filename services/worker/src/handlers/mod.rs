//! What runs the jobs.

mod ambient_check;
mod ambient_check_of_all;
mod deliver_webhook;
mod digest_of_all;
mod follow_nonconformance;
mod follow_readings;
mod follow_recall;
mod post_consumption;
mod post_consumption_of_all;
mod primer_clock;
mod primer_clock_of_all;
mod release_freshness;
mod release_freshness_of_all;
mod repair_rate;
mod repair_rate_of_each;
mod run_export;
mod run_import;
mod seal;
mod seal_of_each;
mod send_mail;
mod stock_check;
mod stock_check_of_each;
mod upkeep;

use app::AppError;
use jobs::JobError;

pub(crate) use ambient_check::ambient_check;
pub(crate) use ambient_check_of_all::ambient_check_of_all;
pub(crate) use deliver_webhook::deliver_webhook;
pub(crate) use digest_of_all::digest_of_all;
pub(crate) use follow_nonconformance::follow_nonconformance;
pub(crate) use follow_readings::follow_readings;
pub(crate) use follow_recall::follow_recall;
pub(crate) use post_consumption::post_consumption;
pub(crate) use post_consumption_of_all::post_consumption_of_all;
pub(crate) use primer_clock::primer_clock;
pub(crate) use primer_clock_of_all::primer_clock_of_all;
pub(crate) use release_freshness::release_freshness;
pub(crate) use release_freshness_of_all::release_freshness_of_all;
pub(crate) use repair_rate::repair_rate;
pub(crate) use repair_rate_of_each::repair_rate_of_each;
pub(crate) use run_export::run_export;
pub(crate) use run_import::run_import;
pub(crate) use seal::seal;
pub(crate) use seal_of_each::seal_of_each;
pub(crate) use send_mail::send_mail;
pub(crate) use stock_check::stock_check;
pub(crate) use stock_check_of_each::stock_check_of_each;
pub(crate) use upkeep::upkeep;

/// Says whether time will help.
fn failed(error: AppError) -> JobError {
    match error {
        AppError::Internal(cause) => {
            // The record of the attempt is shown to members of the project; the cause is not
            // for them.
            tracing::error!(cause, "a job met a bug: {cause}");
            JobError::retry("something went wrong on the server; its log says what")
        }
        weather @ (AppError::Unavailable { .. } | AppError::Contended) => JobError::retry(weather),
        // Nobody will change what was asked for.
        other => JobError::fail(other),
    }
}

/// A number for people.
fn count(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_helps_against_weather_only() {
        let weather = AppError::Unavailable { detail: "x".to_owned() };
        assert!(matches!(failed(weather), JobError::Retry(_)));
        assert!(matches!(failed(AppError::not_found("import 1")), JobError::Fail(_)));
    }

    #[test]
    fn the_cause_of_a_bug_is_not_shown() {
        let JobError::Retry(shown) = failed(AppError::Internal("secret".to_owned())) else {
            panic!("a bug may pass");
        };
        assert!(!shown.to_string().contains("secret"));
    }
}
