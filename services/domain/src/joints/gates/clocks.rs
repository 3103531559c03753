//! The times between works: preparation, flash-off, open time, wrap and test.

use chrono::TimeDelta;

use super::{Reasons, View};
use crate::{
    joints::state::{Applied, Mark},
    setup::{Assignment, Material, ProjectSetup},
};

/// No work came too late after the one before it, and none too early. Exactly on a limit is inside.
pub(super) fn clocks(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(assigned) = view.assigned else { return reasons };
    let coat = &view.state.coat;
    if let (Some((prepared, _)), Some(first)) = (&coat.prepared, coat.layers.first()) {
        preparation(assigned, *prepared, first, &mut reasons);
    }
    for pair in coat.layers.windows(2) {
        if let [below, above] = pair {
            layer_on_layer(view, assigned, below, above, &mut reasons);
        }
    }
    test(view, assigned, &mut reasons);
    reasons
}

/// Bare steel rusts.
fn preparation(assigned: Assignment<'_>, prepared: Mark, first: &Applied, reasons: &mut Reasons) {
    let (waited, plan) = (first.mark.at - prepared.at, assigned.plan);
    let longest = plan.preparation_valid_min;
    if waited > TimeDelta::minutes(longest) {
        let detail = format!(
            "the {} came {} after the preparation of the steel, {} allows {}",
            first.role.words(),
            time(waited),
            plan.code,
            minutes(longest)
        );
        reasons.shut("PREPARATION_TOO_OLD", detail, &[prepared, first.mark]);
    }
}

/// Flash-off and open time of the layer below. The same layer once more renews it: it ends no open
/// time and waits for no flash-off.
fn layer_on_layer(
    view: &View<'_>,
    assigned: Assignment<'_>,
    below: &Applied,
    above: &Applied,
    reasons: &mut Reasons,
) {
    if below.role == above.role {
        return;
    }
    let times = times_of(view.setup, assigned, below);
    let waited = above.mark.at - below.mark.at;
    let (over, under) = (above.role.words(), below.role.words());
    let marks = [below.mark, above.mark];
    if let Some((least, code)) = times.flash_off
        && waited < TimeDelta::minutes(least)
    {
        let (waited, least) = (time(waited), minutes(least));
        let detail = format!("the {over} came {waited} after the {under}, {code} asks for {least}");
        reasons.shut("FLASH_OFF_TOO_SHORT", detail, &marks);
    }
    if let Some((longest, code)) = times.open_time
        && waited > TimeDelta::minutes(longest)
    {
        let (waited, longest) = (time(waited), minutes(longest));
        let detail =
            format!("the {over} came {waited} after the {under}, {code} stays open for {longest}");
        reasons.shut("OPEN_TIME_EXCEEDED", detail, &marks);
    }
}

/// Minutes that a layer asks for, each with the code of the material that asks.
pub(in crate::joints) struct Times<'a> {
    /// Least before the next layer.
    pub flash_off: Option<(i64, &'a str)>,
    /// Longest before the next layer.
    pub open_time: Option<(i64, &'a str)>,
}

/// What a layer asks for: the strictest of the materials of its lots, and where none of them is
/// known, that of the system.
pub(in crate::joints) fn times_of<'a>(
    setup: &'a ProjectSetup,
    assigned: Assignment<'a>,
    layer: &Applied,
) -> Times<'a> {
    let lots = layer.lots.iter().filter_map(|code| setup.lots.get(code));
    let mut codes: Vec<&String> = lots.map(|lot| &lot.material).collect();
    if codes.is_empty() {
        let planned = assigned.system.layers.iter().filter(|it| it.role == layer.role);
        codes.extend(planned.map(|it| &it.material));
    }
    let of: Vec<&Material> = codes.into_iter().filter_map(|it| setup.materials.get(it)).collect();
    let flash_off = of.iter().filter_map(|it| Some((it.flash_off_min?, it.code.as_str())));
    let open_time = of.iter().filter_map(|it| Some((it.open_time_min?, it.code.as_str())));
    Times { flash_off: flash_off.max(), open_time: open_time.min() }
}

/// The newest test against the layer that was put on before it.
fn test(view: &View<'_>, assigned: Assignment<'_>, reasons: &mut Reasons) {
    let newest = view.state.newest_test().filter(|test| test.stale_since.is_none());
    let (Some(test), Some(last)) = (newest, view.state.coat.layers.last()) else { return };
    let (waited, plan) = (test.mark.at - last.mark.at, assigned.plan);
    let (role, told) = (last.role.words(), time(waited));
    let marks = [last.mark, test.mark];
    if let Some(least) = plan.test_after_wrap_min
        && waited < TimeDelta::minutes(least)
    {
        let least = minutes(least);
        let detail = format!(
            "the holiday test came {told} after the {role}, {} asks for {least}",
            plan.code
        );
        reasons.shut("TESTED_TOO_SOON", detail, &marks);
    }
    if let Some(most) = plan.test_within_wrap_min
        && waited > TimeDelta::minutes(most)
    {
        let most = minutes(most);
        let detail =
            format!("the holiday test came {told} after the {role}, {} allows {most}", plan.code);
        reasons.shut("TESTED_TOO_LATE", detail, &marks);
    }
}

fn minutes(count: i64) -> String {
    time(TimeDelta::minutes(count))
}

/// Hours, minutes and seconds; those that are nought are left out.
pub(crate) fn time(span: TimeDelta) -> String {
    let whole = span.num_seconds();
    let parts = [(whole / 3600, "h"), (whole / 60 % 60, "min"), (whole % 60, "s")];
    let told = parts.iter().filter(|(count, _)| *count != 0);
    let told: Vec<String> = told.map(|(count, unit)| format!("{count} {unit}")).collect();
    if told.is_empty() { "0 min".to_owned() } else { told.join(" ") }
}
