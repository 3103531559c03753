//! Who did what in a project, when and from where.

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeZone, Utc};
use chrono_tz::Tz;
use domain::{access::Permission, ids::UserId};
use store::audit::{Deed, DeedFilter};

use crate::{App, AppError, projects::ProjectEntry};

/// Which deeds.
#[derive(Debug, Clone, Default)]
pub struct DeedsAsked {
    /// About the joint of that number or id.
    pub joint: Option<String>,
    /// Of this person.
    pub user: Option<UserId>,
    /// On this day on site.
    pub on: Option<NaiveDate>,
    /// Those before this one.
    pub before: Option<(DateTime<Utc>, String)>,
    /// At most so many.
    pub limit: u32,
}

/// Deeds in a project, newest first.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    asked: DeedsAsked,
) -> Result<Vec<Deed>, AppError> {
    project.require(Permission::ReadAudit)?;
    let mut conn = app.begin_in(project.id).await?;
    let joint = match &asked.joint {
        Some(named) => {
            let found = store::joints::id_of(&mut conn, project.id, named).await?;
            Some(found.ok_or_else(|| AppError::not_found(format!("joint {named}")))?)
        }
        None => None,
    };
    // Nothing was recorded in other years, and the database knows not all days that can be written.
    if asked.on.is_some_and(|on| !(1970..=9999).contains(&on.year())) {
        return Ok(Vec::new());
    }
    let (from, to) = match asked.on {
        Some(on) => {
            let next = on.checked_add_days(Days::new(1)).unwrap_or(on);
            (start_of(on, project.time_zone), start_of(next, project.time_zone))
        }
        None => (DateTime::UNIX_EPOCH, app.clock.now() + chrono::TimeDelta::days(1)),
    };
    let filter = DeedFilter {
        joint,
        user: asked.user,
        from,
        to,
        before: asked.before.filter(|(at, _)| *at < to).map(|(at, key)| (at.max(from), key)),
        limit: asked.limit.into(),
    };
    Ok(store::audit::list(&mut conn, project.id, &filter).await?)
}

/// The first moment of a day. Where the clocks skip midnight, the day begins an hour later.
fn start_of(on: NaiveDate, zone: Tz) -> DateTime<Utc> {
    (0..24)
        .filter_map(|hour| on.and_hms_opt(hour, 0, 0))
        .find_map(|local| zone.from_local_datetime(&local).earliest())
        .map_or_else(|| on.and_time(chrono::NaiveTime::MIN).and_utc(), |at| at.with_timezone(&Utc))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_begins_at_midnight_on_site() {
        let start = |zone: Tz, on: &str| start_of(on.parse().unwrap(), zone).to_rfc3339();
        assert_eq!(start(Tz::Europe__Vienna, "2026-06-10"), "2026-06-09T22:00:00+00:00");
        // In Beirut the clocks went from 0 to 1 o'clock on 31 March 2024 (IANA time zone database).
        assert_eq!(start(Tz::Asia__Beirut, "2024-03-31"), "2024-03-30T22:00:00+00:00");
    }
}
