//! Anything that people on a site may do, in any order, against a model of the rules.
//!
//! The model (`model/rules.rs`, `model/site.rs`) says the rules of a joint again, from the design
//! and not from the code: it keeps a list of entries and asks it plain questions. Each case lets
//! people record, correct, send twice, lose the signal, release and bury, over HTTP and on a
//! database of its own, and after every step everything that can be seen must be what the model
//! says.
//!
//! `JOINTWARD_MODEL_CASES` asks for another number of cases than [`CASES`].

mod entry;
mod helpful;
mod likely;
mod real;
mod rules;
mod sent;
mod site;
mod step;
mod tally;
mod words;

use proptest::test_runner::{Config, TestError, TestRunner};
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest};

use self::{real::Real, site::Site, step::Step};

/// Cases in an ordinary run.
const CASES: u32 = 24;

/// Most steps of a case.
const STEPS: usize = 40;

#[test]
fn whatever_people_do_the_server_says_what_the_rules_say() {
    let cases = std::env::var("JOINTWARD_MODEL_CASES").ok().and_then(|it| it.parse().ok());
    let config = Config {
        cases: cases.unwrap_or(CASES),
        // A seed is only good as long as no step is added to the model: a fault that was found
        // becomes a story of its own, in words, among the other tests.
        failure_persistence: None,
        // Each attempt to shorten a story is a database and up to 40 steps.
        max_shrink_iters: 400,
        ..Config::default()
    };
    let steps = Site::sequential_strategy(1..=STEPS);
    let started = std::time::Instant::now();
    let result = TestRunner::new(config.clone()).run(&steps, |(site, steps, seen)| {
        Real::test_sequential(config.clone(), site, steps, seen);
        Ok(())
    });
    match result {
        Ok(()) => println!("{} in {:.1?}", tally::words(), started.elapsed()),
        Err(TestError::Fail(why, (site, steps, _))) => {
            panic!("{why}\n\nThe shortest story found:\n{}", story(site, &steps))
        }
        Err(TestError::Abort(why)) => panic!("no cases to try: {why}"),
    }
    // Fewer cases, asked for by somebody, may well see none.
    if config.cases >= CASES {
        assert!(tally::of("releases") > 0 && tally::of("contradictions") > 0, "{}", tally::words());
    }
}

/// What happens in `steps`, in trade words.
fn story(mut site: Site, steps: &[Step]) -> String {
    for step in steps {
        site.take(step);
    }
    site.story.join("\n")
}
