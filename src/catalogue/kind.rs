//! Kinds: what a part is.

use std::fmt;

/// What a part is. The first eight make a complete PC; the others add to one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    Cpu,
    Cooler,
    Board,
    Memory,
    Gpu,
    Storage,
    Psu,
    Case,
    Fan,
    Os,
    Display,
    Network,
}

impl Kind {
    /// Every kind with the name that files and reports use.
    pub const NAMES: &[(&str, Kind)] = &[
        ("cpu", Kind::Cpu),
        ("cooler", Kind::Cooler),
        ("board", Kind::Board),
        ("memory", Kind::Memory),
        ("gpu", Kind::Gpu),
        ("storage", Kind::Storage),
        ("psu", Kind::Psu),
        ("case", Kind::Case),
        ("fan", Kind::Fan),
        ("os", Kind::Os),
        ("display", Kind::Display),
        ("network", Kind::Network),
    ];

    /// The kinds that every complete PC has.
    pub const CORE: [Kind; 8] = [
        Kind::Cpu,
        Kind::Cooler,
        Kind::Board,
        Kind::Memory,
        Kind::Gpu,
        Kind::Storage,
        Kind::Psu,
        Kind::Case,
    ];

    pub fn parse(name: &str) -> Option<Kind> {
        Kind::NAMES
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, kind)| *kind)
    }

    /// The name in files: `gpu`.
    pub fn name(self) -> &'static str {
        // `NAMES` lists every variant; a test holds that.
        Kind::NAMES
            .iter()
            .find(|(_, kind)| *kind == self)
            .map_or("", |(name, _)| name)
    }

    /// The name in sentences: `graphics card`.
    pub fn noun(self) -> &'static str {
        match self {
            Kind::Cpu => "processor",
            Kind::Cooler => "cooler",
            Kind::Board => "board",
            Kind::Memory => "memory",
            Kind::Gpu => "graphics card",
            Kind::Storage => "drive",
            Kind::Psu => "power supply",
            Kind::Case => "case",
            Kind::Fan => "fan",
            Kind::Os => "operating system",
            Kind::Display => "display",
            Kind::Network => "network adapter",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_name_that_reads_back() {
        for (name, kind) in Kind::NAMES {
            assert_eq!(Kind::parse(name), Some(*kind));
            assert_eq!(kind.name(), *name);
        }
        assert_eq!(Kind::NAMES.len(), Kind::Network as usize + 1);
    }
}
