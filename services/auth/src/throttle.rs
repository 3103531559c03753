//! How long a guesser waits.

use chrono::TimeDelta;

/// The longest pause. It ends; nobody is locked out for ever.
pub const LONGEST_PAUSE: TimeDelta = TimeDelta::minutes(15);

/// Wrong passwords from one address before the first pause: a site office has one address for
/// everybody, and everybody mistypes.
pub const FREE_PER_ADDRESS: i32 = 20;

/// The pause after so many wrong passwords in a row on one account: none after the first, then
/// 2 s, doubled each time, at most [`LONGEST_PAUSE`]. At most ten passwords are looked at in the
/// first quarter of an hour, and a hundred a day.
pub fn account_pause(failures: i32) -> TimeDelta {
    doubled(failures - 1)
}

/// The pause after so many wrong passwords in a row from one address.
pub fn address_pause(failures: i32) -> TimeDelta {
    doubled(failures - FREE_PER_ADDRESS)
}

fn doubled(times: i32) -> TimeDelta {
    match u32::try_from(times) {
        Ok(0) | Err(_) => TimeDelta::zero(),
        Ok(times) => {
            let seconds = 1_i64.checked_shl(times).filter(|it| *it > 0).unwrap_or(i64::MAX);
            LONGEST_PAUSE.min(TimeDelta::seconds(seconds.min(LONGEST_PAUSE.num_seconds())))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_and_end() {
        let seconds: Vec<i64> = (1..=12).map(|it| account_pause(it).num_seconds()).collect();
        assert_eq!(seconds, [0, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900]);
        assert_eq!(account_pause(i32::MAX), LONGEST_PAUSE);
        assert_eq!(account_pause(64 + 1), LONGEST_PAUSE);
    }

    #[test]
    fn ten_guesses_in_the_first_quarter_of_an_hour() {
        let (mut now, mut guesses) = (TimeDelta::zero(), 0);
        while now < TimeDelta::minutes(15) {
            guesses += 1;
            now += account_pause(guesses);
        }
        assert_eq!(guesses, 10);
    }

    #[test]
    fn an_office_mistypes_without_waiting() {
        assert_eq!(address_pause(FREE_PER_ADDRESS), TimeDelta::zero());
        assert_eq!(address_pause(FREE_PER_ADDRESS + 1), TimeDelta::seconds(2));
    }
}
