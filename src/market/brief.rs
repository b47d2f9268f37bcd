//! Briefs: what the author wants of a build.

use super::estimates::Estimates;
use super::need::{Need, Wish, read_needs, read_wishes};
use super::retailer::{read_country, read_currency};
use super::stock::Stock;
use super::wishes::{Bans, read_pin};
use crate::catalogue::table::{Table, nearest};
use crate::catalogue::{Catalogue, Kind, PartId, WorkloadId, read_kind, read_rate_value, text_id};
use crate::fit::{FitTerms, RuleBook};
use crate::money::{Currency, Money};
use crate::rates::{Objective, Weighted};

text_id!(
    /// A brief's name in the configuration.
    BriefId
);
text_id!(
    /// One seat in a build.
    RoleId
);

/// What the author wants: budget, country, workloads, roles, and when to speak.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brief {
    pub id: BriefId,
    pub name: String,
    pub budget: Money,
    pub country: String,
    pub objective: Objective,
    pub roles: Vec<Role>,
    pub terms: FitTerms,
    /// Which parts that nobody measured may be in it.
    pub estimates: Estimates,
    pub bans: Bans,
    /// How long its readers wait for a part.
    pub stock: Stock,
    /// The most retailers that a reader orders from.
    pub most_retailers: Option<u32>,
    /// Rebates that come later count as if they were paid out at once.
    pub counts_rebates: bool,
    /// What it is judged by; the configuration adds rules of its own.
    pub rules: RuleBook,
    pub change: ChangeTerms,
    /// Channels that get its bulletins.
    pub channels: Vec<String>,
}

/// One seat in a build and what may fill it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Role {
    pub id: RoleId,
    pub kind: Kind,
    pub quantity: u32,
    pub needs: Vec<Need>,
    /// What is worth something but not asked for.
    pub wishes: Vec<Wish>,
    /// The only part that may fill it.
    pub pin: Option<PartId>,
    /// The reader has the pinned part: it costs nothing.
    pub is_owned: bool,
}

/// How much better an answer must be before the author hears of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChangeTerms {
    /// Hundredths of a percent of the score.
    pub least_score_hundredths: i64,
    /// An amount in the brief's currency.
    pub least_saving: Money,
}

impl Role {
    /// The eight roles of a complete PC, for briefs that name none.
    pub fn defaults() -> Vec<Role> {
        Kind::CORE
            .into_iter()
            .map(|kind| Role {
                id: default_role_id(kind),
                kind,
                quantity: 1,
                needs: Vec::new(),
                wishes: Vec::new(),
                pin: None,
                is_owned: false,
            })
            .collect()
    }
}

fn default_role_id(kind: Kind) -> RoleId {
    RoleId::new(match kind {
        Kind::Gpu => "graphics",
        Kind::Storage => "drive",
        other => other.noun(),
    })
}

impl Brief {
    /// A brief from the command line: equal weights, the eight usual roles.
    pub fn ad_hoc(budget: Money, country: &str, uses: Vec<Weighted>) -> Brief {
        Brief {
            id: BriefId::new("command line"),
            name: "command line".to_owned(),
            budget,
            country: country.to_owned(),
            objective: Objective { workloads: uses },
            roles: Role::defaults(),
            terms: FitTerms::default(),
            estimates: Estimates::default(),
            bans: Bans::default(),
            stock: Stock::default(),
            most_retailers: None,
            counts_rebates: false,
            rules: RuleBook::default(),
            change: ChangeTerms::none(budget.currency()),
            channels: Vec::new(),
        }
    }

    /// Reads a brief's file. Roles that it names replace the default role of their kind.
    pub fn read(id: &str, mut table: Table<'_, '_>, catalogue: &Catalogue) -> Option<Brief> {
        let document = table.document();
        let name = table
            .text("name")
            .map_or_else(|| id.to_owned(), |name| name.value);
        let currency = read_currency(&mut table, "currency");
        table.require("budget");
        let budget = currency
            .and_then(|currency| table.money("budget", currency))
            .map(|at| at.value);
        if currency.is_none() {
            // Without a currency the amount means nothing, but the key is known all the same.
            let _unread = table.decimal("budget");
        }
        let country = table
            .required_text("country")
            .and_then(|country| read_country(&table, &country.value, &country.span));
        let uses: Vec<Weighted> = table
            .tables("workload")
            .into_iter()
            .filter_map(|workload| read_workload(workload, catalogue))
            .collect();
        if !table.has("workload") {
            let message = "no [[workload]]: nothing to optimise for";
            document.fault(
                &table.span(),
                message,
                "add a [[workload]] with `use` and `weight`",
            );
        }
        let roles = read_roles(table.tables("role"), catalogue);
        let terms = table.table("power").map_or(FitTerms::default(), read_power);
        let strict = table.flag("strict").is_some_and(|flag| flag.value);
        let estimates = Estimates::read(&mut table);
        let bans = Bans::read(&mut table, catalogue);
        let stock = Stock::read(&mut table);
        let most_retailers = table.integer("most_retailers", 1..101);
        let counts_rebates = table.flag("count_rebates").is_some_and(|flag| flag.value);
        let change = table.table("change");
        let change = currency.map(|currency| match change {
            Some(table) => read_change(table, currency),
            None => ChangeTerms::none(currency),
        });
        let channels = table
            .texts("channels")
            .map(|texts| texts.value)
            .unwrap_or_default();
        table.finish();
        Some(Brief {
            id: BriefId::new(id),
            name,
            budget: budget?,
            country: country?,
            objective: Objective { workloads: uses },
            roles,
            terms: FitTerms { strict, ..terms },
            estimates,
            bans,
            stock,
            most_retailers: most_retailers.and_then(|at| u32::try_from(at.value).ok()),
            counts_rebates,
            rules: RuleBook::default(),
            change: change?,
            channels: channels.into_iter().map(|channel| channel.value).collect(),
        })
    }
}

impl ChangeTerms {
    /// Every change counts.
    pub fn none(currency: Currency) -> ChangeTerms {
        ChangeTerms {
            least_score_hundredths: 0,
            least_saving: Money::zero(currency),
        }
    }
}

fn read_workload(mut table: Table<'_, '_>, catalogue: &Catalogue) -> Option<Weighted> {
    let name = table.required_text("use");
    table.require("weight");
    let weight = table.integer("weight", 1..1_000_001);
    let floor_milli = read_rate_value(&mut table, "floor");
    let cap_milli = read_rate_value(&mut table, "cap");
    let reference = read_rate_value(&mut table, "reference");
    let document = table.document();
    let span = table.span();
    table.finish();
    if let (Some(floor), Some(cap)) = (floor_milli, cap_milli)
        && floor > cap
    {
        document.fault(
            &span,
            "`floor` is above `cap`",
            "lower the floor or raise the cap",
        );
    }
    let name = name?;
    let Some(workload) = catalogue.workloads.get(&WorkloadId::new(&name.value)) else {
        let known = catalogue.workloads.keys().map(WorkloadId::as_str);
        let remedy = match nearest(&name.value, known) {
            Some(known) => format!("did you mean \"{known}\"?"),
            None => "define it with [[workload]] in a catalogue file".to_owned(),
        };
        document.fault(
            &name.span,
            format!("unknown workload \"{}\"", name.value),
            remedy,
        );
        return None;
    };
    let mut weighted = Weighted::new(workload, weight?.value);
    weighted.floor_milli = floor_milli;
    weighted.cap_milli = cap_milli;
    weighted.reference_milli = reference.unwrap_or(workload.reference_milli);
    Some(weighted)
}

/// Kinds that a build has one of: the fit rules count what they give once.
const ONE_OF_A_KIND: [Kind; 5] = [Kind::Cpu, Kind::Cooler, Kind::Board, Kind::Psu, Kind::Case];

fn read_roles(tables: Vec<Table<'_, '_>>, catalogue: &Catalogue) -> Vec<Role> {
    let mut roles = Role::defaults();
    let mut named: Vec<Role> = Vec::new();
    for mut table in tables {
        let document = table.document();
        let kind = table
            .required_text("kind")
            .and_then(|kind| read_kind(&table, &kind));
        let id = table.text("id");
        let quantity = table.integer("quantity", 1..65);
        let needs = match (table.table("needs"), kind) {
            (Some(needs), Some(kind)) => read_needs(needs, kind),
            _ => Vec::new(),
        };
        let wishes = match (table.table("wishes"), kind) {
            (Some(wishes), Some(kind)) => read_wishes(wishes, kind),
            _ => Vec::new(),
        };
        let (pin, is_owned) = read_pin(&mut table, catalogue);
        let span = table.span();
        table.finish();
        let Some(kind) = kind else { continue };
        let id = id.map_or_else(|| default_role_id(kind), |id| RoleId::new(id.value));
        if named.iter().any(|role| role.id == id) {
            document.fault(
                &span,
                format!("role \"{id}\" is named twice"),
                "give it another `id`",
            );
            continue;
        }
        let quantity = quantity
            .and_then(|at| u32::try_from(at.value).ok())
            .unwrap_or(1);
        if ONE_OF_A_KIND.contains(&kind)
            && (quantity > 1 || named.iter().any(|role| role.kind == kind))
        {
            let message = format!("a build has one {}, not several", kind.noun());
            document.fault(&span, message, "keep one role of this kind, once");
            continue;
        }
        named.push(Role {
            id,
            kind,
            quantity,
            needs,
            wishes,
            pin,
            is_owned,
        });
    }
    roles.retain(|role| named.iter().all(|named| named.kind != role.kind));
    roles.extend(named);
    // Kinds in their usual order; roles of one kind as the author wrote them.
    roles.sort_by_key(|role| role.kind);
    roles
}

fn read_power(mut table: Table<'_, '_>) -> FitTerms {
    let defaults = FitTerms::default();
    let headroom = table.integer("headroom_percent", 0..301);
    let rest = table.integer("rest_w", 0..2_001);
    let reserve = table.integer("reserve_w", 0..2_001);
    table.finish();
    FitTerms {
        headroom_percent: headroom.map_or(defaults.headroom_percent, |at| at.value),
        rest_w: rest.map_or(defaults.rest_w, |at| at.value),
        reserve_w: reserve.map_or(defaults.reserve_w, |at| at.value),
        ..defaults
    }
}

fn read_change(mut table: Table<'_, '_>, currency: Currency) -> ChangeTerms {
    let score = table
        .scaled("least_score_percent", 2)
        .filter(|at| at.value >= 0);
    let saving = table.money("least_saving", currency);
    table.finish();
    ChangeTerms {
        least_score_hundredths: score.map_or(0, |at| at.value),
        least_saving: saving.map_or(Money::zero(currency), |at| at.value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    fn faults_of(roles: &str) -> Vec<String> {
        let text = format!(
            "budget = \"900\"\ncurrency = \"EUR\"\ncountry = \"DE\"\n[[workload]]\nuse = \"cut\"\n\
             weight = 1\n{roles}"
        );
        let document = Document::parse("b.toml", &text);
        let mut catalogue = Catalogue::default();
        let workload = crate::catalogue::Workload {
            id: WorkloadId::new("cut"),
            name: "cut".to_owned(),
            unit: "jobs/h".to_owned(),
            limited_by: vec![Kind::Cpu],
            reference_milli: 1,
            tests: Vec::new(),
        };
        catalogue.workloads.insert(workload.id.clone(), workload);
        let _brief = Brief::read("b", document.root(), &catalogue);
        let faults = document.into_faults();
        faults.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn two_drives_are_a_build_and_two_supplies_are_not() {
        let drives = "[[role]]\nid = \"a\"\nkind = \"storage\"\nquantity = 2\n[[role]]\nid = \"b\"\n\
            kind = \"storage\"\n";
        assert_eq!(faults_of(drives), Vec::<String>::new());
        let one = "[[role]]\nid = \"a\"\nkind = \"psu\"\n";
        assert_eq!(faults_of(one), Vec::<String>::new());
        let remedy = "keep one role of this kind, once";
        for two in [
            "[[role]]\nkind = \"psu\"\nquantity = 2\n".to_owned(),
            format!("{one}[[role]]\nid = \"b\"\nkind = \"psu\"\n"),
        ] {
            let faults = faults_of(&two);
            assert_eq!(faults.len(), 1, "{faults:?}");
            assert!(
                faults[0].contains("a build has one power supply, not several")
                    && faults[0].ends_with(remedy),
                "{faults:?}"
            );
        }
    }
}
