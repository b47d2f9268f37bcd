//! The list of fit rules. A new rule is one new file in `rules/` and one line here.

use super::own::OwnRule;
use super::rule::{Finding, FitRule, FitTerms, Gravity, Seat};
use super::rules;

/// Every rule, in the order in which findings are reported.
pub static RULES: &[&dyn FitRule] = &[
    &rules::processor_socket::ProcessorSocket,
    &rules::processor_chipset::ProcessorChipset,
    &rules::board_power::BoardPower,
    &rules::memory_generation::MemoryGeneration,
    &rules::memory_type::MemoryType,
    &rules::memory_ecc::MemoryEcc,
    &rules::memory_slots::MemorySlots,
    &rules::memory_capacity::MemoryCapacity,
    &rules::module_capacity::ModuleCapacity,
    &rules::memory_rate::MemoryRate,
    &rules::board_form::BoardForm,
    &rules::board_depth::BoardDepth,
    &rules::rear_connectors::RearConnectors,
    &rules::front_usb::FrontUsb,
    &rules::graphics_length::GraphicsLength,
    &rules::graphics_height::GraphicsHeight,
    &rules::graphics_slots::GraphicsSlots,
    &rules::graphics_plugs::GraphicsPlugs,
    &rules::network_slot::NetworkSlot,
    &rules::cooler_present::CoolerPresent,
    &rules::cooler_socket::CoolerSocket,
    &rules::cooler_height::CoolerHeight,
    &rules::cooler_capacity::CoolerCapacity,
    &rules::radiator_mount::RadiatorMount,
    &rules::fan_mounts::FanMounts,
    &rules::fan_headers::FanHeaders,
    &rules::fan_lights::FanLights,
    &rules::drive_slots::DriveSlots,
    &rules::drive_bays::DriveBays,
    &rules::drive_power::DrivePower,
    &rules::boot_drive::BootDrive,
    &rules::supply_form::SupplyForm,
    &rules::supply_length::SupplyLength,
    &rules::supply_power::SupplyPower,
    &rules::supply_minimum::SupplyMinimum,
    &rules::supply_peaks::SupplyPeaks,
    &rules::processor_plugs::ProcessorPlugs,
    &rules::display_source::DisplaySource,
];

/// The rules that a build is judged by: all of [`RULES`], and the author's own.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RuleBook {
    pub own: Vec<OwnRule>,
}

impl RuleBook {
    /// Every rule, in the order in which findings are reported.
    pub fn iter(&self) -> impl Iterator<Item = &dyn FitRule> {
        let own = self.own.iter().map(|rule| rule as &dyn FitRule);
        RULES.iter().copied().chain(own)
    }

    /// Everything that the rules have to say of a build.
    pub fn check(&self, seats: &[Seat<'_>], terms: &FitTerms) -> Vec<Finding> {
        self.iter()
            .flat_map(|rule| rule.check(seats, terms))
            .collect()
    }
}

/// True when a finding rules the build out under these terms.
pub fn is_blocking(finding: &Finding, terms: &FitTerms) -> bool {
    match finding.gravity {
        Gravity::Conflict => true,
        Gravity::Unproven => terms.strict,
        Gravity::Caution => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Kind, Spec};
    use crate::fit::sample::{part, texts};
    use std::collections::BTreeSet;

    #[test]
    fn every_rule_states_itself_and_reads_specs_that_exist_for_the_kind() {
        let mut ids = BTreeSet::new();
        for rule in RULES {
            assert!(ids.insert(rule.id()), "{} is registered twice", rule.id());
            assert!(
                rule.states().ends_with('.') && !rule.source().is_empty(),
                "{}",
                rule.id()
            );
            assert!(!rule.reads().is_empty(), "{}", rule.id());
            for (kind, spec) in rule.reads() {
                assert!(
                    spec.def().kinds.contains(kind),
                    "{}: {kind} has no {spec}",
                    rule.id()
                );
            }
        }
    }

    #[test]
    fn a_missing_spec_is_listed_allowed_when_lenient_and_refused_when_strict() {
        // Pitfall C40.
        let cooler = part(Kind::Cooler, &[(Spec::Sockets, texts(&["AM5"]))]);
        let silent = part(Kind::Cpu, &[]);
        let seats = [&cooler, &silent].map(|part| Seat {
            role: part.kind.name(),
            part,
            quantity: 1,
        });
        for strict in [false, true] {
            let terms = FitTerms {
                strict,
                ..FitTerms::default()
            };
            let findings = RuleBook::default().check(&seats, &terms);
            let socket = findings
                .iter()
                .find(|one| one.rule == "cooler-socket")
                .unwrap();
            assert_eq!(
                socket.reason,
                "\"sample cpu\" has no `socket` in the catalogue"
            );
            assert_eq!(is_blocking(socket, &terms), strict);
        }
    }
}
