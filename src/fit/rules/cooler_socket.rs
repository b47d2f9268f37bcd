//! The cooler mounts on the board's socket.

use crate::catalogue::{Kind, Part, Spec, names_include};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct CoolerSocket;

impl FitRule for CoolerSocket {
    fn id(&self) -> &str {
        "cooler-socket"
    }

    fn states(&self) -> &str {
        "The cooler comes with a mount for the processor's socket."
    }

    fn source(&self) -> &str {
        "hole patterns differ between sockets: encyclopaedia article on LGA 1700"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Cpu, Spec::Socket), (Kind::Cooler, Spec::Sockets)]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Cpu,
            right: Kind::Cooler,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (cpu, cooler) in seat_pairs(seats, Kind::Cpu, Kind::Cooler) {
            match (
                cpu.part.text(Spec::Socket),
                cooler.part.texts(Spec::Sockets),
            ) {
                (Some(socket), Some(mounts)) if !names_include(mounts, socket) => {
                    let reason = format!(
                        "the cooler \"{}\" mounts on {}, not on {socket}",
                        cooler.part.name,
                        mounts.join(", ")
                    );
                    findings.push(conflict(self.id(), reason));
                }
                (Some(_), Some(_)) => {}
                (None, _) => findings.push(unproven(self.id(), cpu.part, Spec::Socket)),
                (_, None) => findings.push(unproven(self.id(), cooler.part, Spec::Sockets)),
            }
        }
        findings
    }
}

fn fits(cpu: &Part, cooler: &Part) -> Fit {
    let mounts = cpu.text(Spec::Socket).zip(cooler.texts(Spec::Sockets));
    match mounts.map(|(socket, mounts)| names_include(mounts, socket)) {
        Some(true) => Fit::Yes,
        Some(false) => Fit::No,
        None => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text, texts};

    #[test]
    fn a_cooler_without_the_socket_s_mount_does_not_fit() {
        // Pitfall C10; LGA 1200 and LGA 1700 differ in their hole pattern (75 and 78 mm).
        let cpu = |socket: &str| part(Kind::Cpu, &[(Spec::Socket, text(socket))]);
        let cooler = part(
            Kind::Cooler,
            &[(Spec::Sockets, texts(&["LGA1200", "AM4", "AM5"]))],
        );
        assert_eq!(gravity(&CoolerSocket, &[&cpu("AM5"), &cooler]), None);
        assert_eq!(
            gravity(&CoolerSocket, &[&cpu("LGA1700"), &cooler]),
            Some(Gravity::Conflict)
        );
    }
}
