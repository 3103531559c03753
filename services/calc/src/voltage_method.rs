//! The published rules for the voltage of the holiday test: which there are, and whose.

use serde::{Deserialize, Serialize};

/// The methods, by their codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VoltageMethod {
    /// NACE SP0274: 1250 √mil.
    NaceSp0274,
    /// ASTM G62 method B, editions before 2023.
    AstmG62MethodB,
    /// NACE SP0490: 525 √mil, fusion-bonded epoxy.
    NaceSp0490,
    /// 5 kV and 5 kV more per mm, capped.
    FivePlusFivePerMm,
    /// 10 kV per mm, at most 25 kV.
    TenPerMm,
    /// 5 kV per mm.
    FivePerMm,
    /// A voltage given by the contract.
    FixedBand,
}

impl VoltageMethod {
    /// Whether the method's own scope admits tape systems: ASTM G62-23, 5.3, excludes them
    /// (published).
    pub const fn admits_tape(self) -> bool {
        !matches!(self, Self::AstmG62MethodB)
    }

    /// Every method, in the order in which they are listed.
    pub const ALL: [Self; 7] = [
        Self::FivePlusFivePerMm,
        Self::NaceSp0274,
        Self::TenPerMm,
        Self::FivePerMm,
        Self::FixedBand,
        Self::NaceSp0490,
        Self::AstmG62MethodB,
    ];

    /// The code that requests, answers and records name it by.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NaceSp0274 => "nace_sp0274",
            Self::AstmG62MethodB => "astm_g62_method_b",
            Self::NaceSp0490 => "nace_sp0490",
            Self::FivePlusFivePerMm => "five_plus_five_per_mm",
            Self::TenPerMm => "ten_per_mm",
            Self::FivePerMm => "five_per_mm",
            Self::FixedBand => "fixed_band",
        }
    }
}

/// A method, for a list to choose from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MethodDescription {
    /// Which; [`VoltageMethod::code`] names it.
    pub method: VoltageMethod,
    /// The formula in words of mathematics.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Least thickness it is valid for, mm; 0 = any over 0.
    pub valid_from_mm: f64,
    /// Greatest thickness it is valid for, mm; open if absent.
    pub valid_to_mm: Option<f64>,
    /// The method's own highest voltage, kV, where a rule names no other.
    pub cap_kv: Option<f64>,
    /// Whether its own scope admits tape systems.
    pub admits_tape: bool,
}

/// Every method, described. Their results are not comparable: for one tape of 3 mm they ask for
/// 13.6 to 25 kV (arithmetic by hand).
pub fn voltage_methods() -> [MethodDescription; 7] {
    VoltageMethod::ALL.map(describe)
}

/// Describes a method.
pub(crate) const fn describe(method: VoltageMethod) -> MethodDescription {
    use VoltageMethod as M;
    let (formula, source, valid_from_mm, valid_to_mm, cap_kv) = match method {
        M::NaceSp0274 => (
            "V = 1250 · √(thickness in mil)",
            "NACE SP0274; formula second-hand, from a spark tester's manual; scope over 0.5 mm \
             published",
            0.5,
            None,
            None,
        ),
        M::AstmG62MethodB => (
            "V = 525 · √mil up to 40 mil, 1250 · √mil from 41 mil",
            "ASTM G62 method B, editions to about 2014; constants from memory, unverified; \
             edition 2023 excludes tape",
            0.0,
            None,
            Some(20.0),
        ),
        M::NaceSp0490 => (
            "V = 525 · √(thickness in mil)",
            "NACE SP0490, fusion-bonded epoxy; formula from memory, unverified; range second-hand",
            0.25,
            Some(0.76),
            None,
        ),
        M::FivePlusFivePerMm => (
            "V = 5 kV + 5 kV/mm · thickness, capped",
            "a line-pipe mill's laying instructions: at least 5 kV plus 5 kV per mm up to a \
             maximum of 20 kV (published)",
            0.0,
            None,
            Some(20.0),
        ),
        M::TenPerMm => (
            "V = 10 kV/mm · thickness, at most 25 kV",
            "mill polyolefin coating, after ISO 21809-1; from memory, unverified",
            0.0,
            None,
            Some(25.0),
        ),
        M::FivePerMm => (
            "V = 5 kV/mm · thickness",
            "a site procedure for tapes after IS 10221; second-hand",
            0.0,
            None,
            None,
        ),
        M::FixedBand => ("V as given", "the contract's inspection plan", 0.0, None, None),
    };
    MethodDescription {
        method,
        formula,
        source,
        valid_from_mm,
        valid_to_mm,
        cap_kv,
        admits_tape: method.admits_tape(),
    }
}

#[cfg(test)]
mod tests {
    use serde::de::{IntoDeserializer, value::Error};

    use super::*;

    #[test]
    fn a_code_names_its_method_in_requests_and_lists() {
        for method in VoltageMethod::ALL {
            let text: serde::de::value::StrDeserializer<'_, Error> =
                method.code().into_deserializer();
            assert_eq!(VoltageMethod::deserialize(text), Ok(method));
        }
    }

    #[test]
    fn every_method_is_listed_once_with_its_source() {
        let listed = voltage_methods();
        for method in VoltageMethod::ALL {
            assert_eq!(listed.iter().filter(|it| it.method == method).count(), 1);
        }
        assert!(listed.iter().all(|it| !it.source.is_empty() && !it.formula.is_empty()));
        // ASTM G62-23, 5.3 (published): no tape wraps.
        let without: Vec<_> = listed.iter().filter(|it| !it.admits_tape).collect();
        assert_eq!(without.len(), 1);
        assert_eq!(without[0].method.code(), "astm_g62_method_b");
    }
}
