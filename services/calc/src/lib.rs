//! The calculations: pure, over quantities, each with its source beside it.
//!
//! Provenance is told in four words: *published* (seen at first hand), *second-hand*, *from
//! memory, unverified*, and *common practice, no source*. What follows from stated geometry by
//! arithmetic is *derived by hand*.

mod admissibility;
mod applied_cost;
mod band;
mod buckets;
mod burial_cost;
mod cautions;
mod conditions;
mod control_limits;
mod cost_line;
mod count;
mod dew_point;
mod estimators;
mod holiday_voltage;
mod input;
mod lag;
mod mastic;
mod normal;
mod overlap;
mod pipe_sizes;
mod pressure;
mod primer;
mod proportion;
mod random;
mod reorder_point;
mod rolls;
mod run_out;
mod run_out_simulation;
mod stock;
mod student;
mod surface_grade;
mod system;
mod tally;
mod trench;
mod voltage_method;
mod workable_hours;
mod wrap;

pub use admissibility::{
    Admissibility, BackfillKind, Backing, LayerProperties, Reason, ReasonCode, SectionNeeds,
    StressClass, Suitability, SystemProperties, admissibility,
};
pub use applied_cost::{
    Candidate, Compared, Comparison, CostBasis, Labour, SystemCost, applied_cost,
};
pub use band::{Band, least_lap, wrapped_length};
pub use burial_cost::{Burial, BurialCost, Protection, burial_cost};
pub use cautions::{PRIMER_CAUTIONS, TRENCH_CAUTIONS};
pub use conditions::{Broken, Limits, Reading, Verdict, conditions};
pub use control_limits::{ControlLimits, ControlPoint, Subgroup, control_limits};
pub use cost_line::{CostKind, CostLine};
pub use dew_point::dew_point;
pub use estimators::{
    Estimate, LEAST_RECORDS, NoEstimate, WasteRecord, production_rate, waste_factor,
};
pub use holiday_voltage::{
    AIR_BREAKDOWN_KV_PER_MM, CAUTIONS, RequiredVoltage, TRAVEL_SPEED_MAX_MM_PER_S, VoltageError,
    VoltageRule, VoltageWarning, required_voltage, voltage_warnings,
};
pub use input::{Bounds, Fault, FaultKind, InputError};
pub use lag::{
    HEAT_TRANSFER_W_PER_M2_K, STEEL_DENSITY_KG_PER_M3, STEEL_SPECIFIC_HEAT_J_PER_KG_K, steel_after,
    steel_lag_of_wall_h,
};
pub use mastic::{Fillet, MasticProfile, MasticQuantity, fillet_volume, mastic_quantity};
pub use normal::normal_quantile;
pub use overlap::{
    MeasuredOverlap, OVERLAP_BOUNDS, measured_overlap, neck_down_that_loses_the_double_layer,
    overlap_after_neck_down, width_after_stretch,
};
pub use pipe_sizes::{
    PipeSize, SizeProvenance, pipe_size_by_dn, pipe_size_by_nps, pipe_sizes,
    plain_end_mass_kg_per_m,
};
pub use pressure::contact_pressure;
pub use primer::{PrimerQuantity, primer_quantity};
pub use proportion::{ProportionInterval, wilson_interval};
pub use reorder_point::{ReorderPoint, ReorderPointInput, reorder_point};
pub use rolls::{Cutting, Roll, RollCount, rolls_for, shortest_useful_remnant};
pub use run_out::{ExpiringUnused, RunOut, RunOutInput, run_out};
pub use run_out_simulation::{
    MAX_PATHS, SimulatedRunOut, SimulationInput, simulate_run_out, simulate_run_outs,
};
pub use stock::{MAX_HORIZON_DAYS, StockDelivery, StockLot, StockSource};
pub use student::student_quantile;
pub use surface_grade::SurfaceGrade;
pub use system::{
    LayerTakeoff, MasticFill, PrimerCoat, System, SystemTakeoff, TapeLayer, system_takeoff,
};
pub use tally::{JointRun, Tally, TapeKey, TapeTally, tally};
pub use trench::{Padding, Trench, padding};
pub use voltage_method::{MethodDescription, VoltageMethod, voltage_methods};
pub use workable_hours::{
    JudgedHour, OutlookHour, Window, WorkableHours, WorkableHoursRule, workable_hours,
};
pub use wrap::{WRAP_BOUNDS, Wrap, WrapTakeoff, wrap_takeoff};
