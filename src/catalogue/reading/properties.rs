//! Reads specs that a record states one by one, as schema.org's `additionalProperty` does.
//!
//! A name has to be known and a value has to read as that spec's: what is said in other words is
//! left alone. A name such as "capacity per module" is not "capacity", so nothing is found in it.
//! Knows no catalogue; whoever asks says of which kind the part is.

use super::{Place, Reading, Sign, read_title};
use crate::catalogue::Kind;
use crate::catalogue::spec::{Shape, Spec, SpecValue};
use crate::catalogue::units::parse_measure;
use std::collections::BTreeSet;
use unicode_normalization::UnicodeNormalization;

/// One property of a thing, as its seller states it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Property {
    pub name: String,
    pub value: String,
    /// The unit's code (UN/ECE Recommendation 20) or its sign.
    pub unit: Option<String>,
}

/// What shops call the specs. Names are folded: no case, accents, blanks or marks. A spec's own
/// key is a name too. Common practice, no source.
const NAMES: &[(Spec, &str)] = &[
    (
        Spec::Socket,
        "socket cpusocket processorsocket sockettype sockel cpusockel prozessorsockel zocalo \
         zocalodelprocesador soquete socketprocesseur socketprocessore gniazdo gniazdoprocesora \
         patice",
    ),
    (
        Spec::Sockets,
        "socket sockets cpusocket compatiblesockets supportedsockets socketcompatibility \
         sockel kompatiblesockel socketscompatibles",
    ),
    (
        Spec::Chipset,
        "chipset chipsettype chipsatz mainboardchipsatz jeudepuces czipset cipset",
    ),
    (
        Spec::FormFactor,
        "formfactor formfaktor bauform facteurdeforme formatdecarte factordeforma \
         fattorediforma vormfactor format formato",
    ),
    (
        Spec::FormFactors,
        "formfactor formfactors motherboardsupport supportedmotherboards motherboardformfactor \
         motherboardformfactors motherboardcompatibility mainboardformfaktor \
         kompatiblemainboards formatdecartemere",
    ),
    (
        Spec::PsuFormFactors,
        "psuformfactor psuformfactors powersupplyformfactor netzteilformfaktor formatdalimentation",
    ),
    (
        Spec::CapacityGb,
        "capacity totalcapacity memorycapacity storagecapacity memorysize kapazitat \
         gesamtkapazitat speicherkapazitat capacite capacitetotale capacidad capacidadtotal \
         capacita capaciteit pojemnosc kapacita capacidade kapacitet",
    ),
    (
        Spec::Modules,
        "modules numberofmodules modulecount anzahlmodule anzahldermodule nombredemodules \
         numerodemodulos numerodimoduli aantalmodules liczbamodulow",
    ),
    (
        Spec::MemoryGeneration,
        "memorytype memorygeneration ramtype memorytechnology speichertyp typedememoire \
         tipodememoria tipodimemoria geheugentype typpamieci typpameti minnestyp",
    ),
    (
        Spec::MemoryGenerations,
        "memorytype memorytypes supportedmemory supportedmemorytypes speichertyp",
    ),
    (
        Spec::ModuleType,
        "moduletype memoryformfactor memorymoduletype modultyp formfactor formfaktor bauform",
    ),
    (
        Spec::TransferMtS,
        "transferrate memoryspeed ramspeed speed datarate memoryfrequency speichertakt \
         geschwindigkeit frequence frequencememoire vitesse velocidad velocidaddememoria \
         frequenza frecuencia snelheid taktowanie frequencia hastighet",
    ),
    (
        Spec::Latency,
        "latency caslatency cl latenz caslatenz latence latencecas latencia latenciacas latenza \
         latenzacas latentie opoznienie",
    ),
    (
        Spec::RatedW,
        "power wattage outputpower ratedpower totalpower poweroutput psuwattage leistung \
         nennleistung gesamtleistung ausgangsleistung puissance puissancetotale potencia potenza \
         vermogen moc vykon effekt",
    ),
    (
        Spec::Efficiency,
        "efficiency efficiencyrating efficiencylevel 80plus 80pluscertification 80plusrating \
         certification effizienz zertifizierung 80pluszertifizierung certification80plus \
         certificacion certificazione certificering sprawnosc certificacao",
    ),
    (
        Spec::HeatW,
        "tdp thermaldesignpower processorbasepower basepower verlustleistung",
    ),
    (
        Spec::TurboW,
        "maximumturbopower maxturbopower mtp turbopower",
    ),
    (
        Spec::CoolingW,
        "tdp coolingcapacity coolingpower maxtdp kuhlleistung",
    ),
    (
        Spec::Cores,
        "cores corecount numberofcores cpucores kerne anzahlkerne prozessorkerne \
         nombredecoeurs coeurs nucleos numerodenucleos core rdzenie jadra karnor",
    ),
    (
        Spec::BoardPowerW,
        "boardpower totalboardpower tbp tgp totalgraphicspower graphicscardpower tdp",
    ),
    (
        Spec::SupplyWMin,
        "recommendedpsu minimumpsu recommendedpowersupply minimumpowersupply \
         recommendedsystempower minimumsystempower empfohlenesnetzteil \
         alimentationrecommandee fuenterecomendada",
    ),
    (
        Spec::LengthMm,
        "length cardlength gpulength graphicscardlength lange kartenlange longueur longitud \
         lunghezza lengte dlugosc delka comprimento langd",
    ),
    (
        Spec::HeightMm,
        "height coolerheight moduleheight hohe gesamthohe hauteur altura altezza hoogte wysokosc \
         vyska hojd",
    ),
    (
        Spec::SlotsOccupied,
        "slots slotwidth occupiedslots slotsoccupied slotsused slotbreite belegteslots",
    ),
    (
        Spec::Interface,
        "interface drivetype schnittstelle interfaccia interfaz interfejs rozhrani anslutning",
    ),
    (
        Spec::ReadMbS,
        "readspeed sequentialread sequentialreadspeed maxreadspeed lesegeschwindigkeit \
         vitessedelecture velocidaddelectura velocitadilettura leessnelheid",
    ),
    (
        Spec::Colour,
        "colour color farbe couleur colore kleur kolor barva cor farg",
    ),
    (
        Spec::MemorySlots,
        "memoryslots dimmslots ramslots numberofmemoryslots speichersteckplatze speicherslots",
    ),
    (
        Spec::MemoryGbMax,
        "maximummemory maxmemory maxram maximummemorycapacity maximalerspeicher",
    ),
    (
        Spec::GpuLengthMmMax,
        "maxgpulength maximumgpulength gpuclearance maxgraphicscardlength maxvgalength \
         maximalegrafikkartenlange maxgrafikkartenlange longueurmaxcartegraphique",
    ),
    (
        Spec::CoolerHeightMmMax,
        "maxcoolerheight maxcpucoolerheight maximumcpucoolerheight cpucoolerclearance \
         maximalekuhlerhohe maxcpukuhlerhohe hauteurmaxventirad",
    ),
    (
        Spec::PsuLengthMmMax,
        "maxpsulength maximumpsulength maxpowersupplylength maximalenetzteillange",
    ),
    (
        Spec::RadiatorMm,
        "radiatorsize radiator radiatorgrosse tailleduradiateur",
    ),
    (
        Spec::SizeMm,
        "fansize size diameter lufter lufterdurchmesser luftergrosse taille tamano",
    ),
    (
        Spec::SataPorts,
        "sataports numberofsataports sataanschlusse",
    ),
    (Spec::Wifi, "wifi wlan wirelesslan"),
    (
        Spec::Graphics,
        "integratedgraphics igpu integriertegrafik graphiquesintegres",
    ),
    (
        Spec::BoxedCooler,
        "coolerincluded includescooler kuhlerenthalten boxedkuhler",
    ),
    (
        Spec::NoiseDba,
        "noiselevel noise maxnoise lautstarke gerauschpegel niveausonore",
    ),
];

/// What shops call the kind of a thing. Common practice, no source.
const KIND_NAMES: &str = "category productcategory producttype type kategorie produkttyp \
    produktart artikeltyp categorie typedeproduit categoria tipodeproducto tipodiprodotto \
    rodzaj produkttype";

/// UN/ECE Recommendation 20 common codes (from memory) and the signs that they stand for.
const UNITS: &[(&str, &str)] = &[
    ("MMT", "mm"),
    ("CMT", "cm"),
    ("MTR", "m"),
    ("INH", "in"),
    ("4L", "MB"),
    ("E34", "GB"),
    ("E35", "TB"),
    ("WTT", "W"),
    ("KWT", "kW"),
    ("MHZ", "MHz"),
    // "One": a bare number.
    ("C62", ""),
];

/// Categories are named in the plural, titles are not: "Graphics cards", "Netzteile".
const PLURALS: &[(&str, &str)] = &[("ies", "y"), ("s", ""), ("n", ""), ("e", "")];

const YES: &str = "yes true y 1 ja oui si sim tak ano included enthalten inclus";
const NO: &str = "no false n 0 nein non nao nie ne none nee nej without ohne";

/// The specs of a part of this kind that a property states, with the value. Two specs of one kind
/// may go by one name; each is read.
pub fn read_property(property: &Property, kind: Kind) -> Vec<(Spec, SpecValue)> {
    let (name, unit_in_name) = split_unit(&property.name);
    let folded = fold(name);
    let unit = property.unit.as_deref().or(unit_in_name).unwrap_or("");
    let unit = unit.trim();
    let sign = UNITS.iter().find(|(code, _)| *code == unit);
    let unit = sign.map_or(unit, |(_, sign)| sign);
    let specs = crate::catalogue::spec::SPECS.iter();
    let named = specs.filter(|def| def.kinds.contains(&kind) && is_called(def.spec, &folded));
    named
        .filter_map(|def| Some((def.spec, value_of(def.spec, &property.value, unit)?)))
        .collect()
}

/// The one kind that the properties name, if any does.
pub fn kind_of_properties(properties: &[Property]) -> Option<Kind> {
    let mut kinds = BTreeSet::new();
    for property in properties {
        if has_word(KIND_NAMES, &fold(&property.name)) {
            let value = &property.value;
            kinds.extend(kinds_named(value));
            for (end, instead) in PLURALS {
                kinds.extend(kinds_named(&singular(value, end, instead)));
            }
        }
    }
    let mut kinds = kinds.into_iter();
    kinds.next().filter(|_| kinds.next().is_none())
}

fn kinds_named(text: &str) -> BTreeSet<Kind> {
    let reading = read_title(text);
    let kinds = reading.signs.iter().filter_map(|seen| match seen.sign {
        Sign::Kind(kind) if seen.place == Place::Main => Some(kind),
        _ => None,
    });
    kinds.collect()
}

/// The text with this end of each of its words replaced.
fn singular(text: &str, end: &str, instead: &str) -> String {
    let words = text.split_whitespace().map(|word| {
        let stem = word.strip_suffix(end);
        stem.map_or_else(|| word.to_owned(), |stem| format!("{stem}{instead}"))
    });
    words.collect::<Vec<_>>().join(" ")
}

/// "Length (mm)" and "Length [mm]" carry a unit.
fn split_unit(name: &str) -> (&str, Option<&str>) {
    let name = name.trim().trim_end_matches(':');
    let inner = name.strip_suffix([')', ']']);
    match inner.and_then(|inner| inner.rsplit_once(['(', '['])) {
        Some((before, unit)) if !before.trim().is_empty() => (before, Some(unit)),
        _ => (name, None),
    }
}

fn is_called(spec: Spec, folded: &str) -> bool {
    let known = NAMES.iter().filter(|(one, _)| *one == spec);
    known
        .map(|(_, names)| *names)
        .any(|names| has_word(names, folded))
        || fold(spec.key()) == folded
}

fn has_word(words: &str, word: &str) -> bool {
    words.split_ascii_whitespace().any(|one| one == word)
}

/// Letters and digits, without case and accents.
fn fold(text: &str) -> String {
    text.nfkd()
        .filter(|one| one.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

fn value_of(spec: Spec, text: &str, unit: &str) -> Option<SpecValue> {
    match &spec.def().shape {
        Shape::Number { unit: own, .. } => {
            let measure = parse_measure(text, own).ok().filter(|_| unit.is_empty());
            let with_unit = || parse_measure(&format!("{text} {unit}"), own).ok();
            let measure = measure.or_else(with_unit).map(SpecValue::Number);
            measure.or_else(|| claimed(spec, text))
        }
        Shape::Text => claimed(spec, text),
        Shape::Flag => {
            let folded = fold(text);
            let is_set = has_word(YES, &folded);
            (is_set || has_word(NO, &folded)).then_some(SpecValue::Flag(is_set))
        }
        Shape::Texts => {
            let one = one_of(spec)?;
            let mut values = Vec::new();
            for piece in text.split([',', ';', '/', '|', '\n']) {
                // A list that is not understood as a whole would claim that there is no more.
                if let SpecValue::Text(value) = claimed(one, piece)? {
                    let value = value.to_string();
                    if !values.contains(&value) {
                        values.push(value);
                    }
                }
            }
            Some(SpecValue::Texts(values.into()))
        }
        Shape::Numbers { .. } | Shape::Entries(_) => None,
    }
}

/// The spec of one thing that a list spec lists.
fn one_of(spec: Spec) -> Option<Spec> {
    match spec {
        Spec::Sockets => Some(Spec::Socket),
        Spec::FormFactors | Spec::PsuFormFactors => Some(Spec::FormFactor),
        Spec::MemoryGenerations => Some(Spec::MemoryGeneration),
        _ => None,
    }
}

/// What the text claims of the spec, read as a title is, so that it is spelt as a title's is.
fn claimed(spec: Spec, text: &str) -> Option<SpecValue> {
    let reading: Reading = read_title(text);
    let claims = reading.claims.into_iter();
    let values: BTreeSet<SpecValue> = claims
        .filter(|claim| claim.what.spec() == Some(spec) && claim.place == Place::Main)
        .map(|claim| claim.value)
        .collect();
    let mut values = values.into_iter();
    values.next().filter(|_| values.next().is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn property(name: &str, value: &str, unit: &str) -> Property {
        Property {
            name: name.to_owned(),
            value: value.to_owned(),
            unit: Some(unit.to_owned()).filter(|unit| !unit.is_empty()),
        }
    }

    /// Kind, name, value, unit, and the spec that they state.
    const STATED: &str = "
        gpu     | Length              | 305          | MMT | length_mm = 305
        gpu     | Länge               | 30,5         | CMT | length_mm = 305
        gpu     | Card length (mm)    | 305          |     | length_mm = 305
        gpu     | Longueur :          | 30.5 cm      |     | length_mm = 305
        gpu     | Recommended PSU     | 750 W        |     | supply_w_min = 750
        gpu     | length_mm           | 305          | C62 | length_mm = 305
        psu     | Leistung            | 850          | WTT | rated_w = 850
        psu     | Certification       | 80 PLUS Gold |     | efficiency = Gold
        memory  | Capacité            | 32 Go        |     | capacity_gb = 32
        memory  | Memory type         | DDR5 SDRAM   |     | memory_generation = DDR5
        memory  | CAS latency         | CL30         |     | latency_cl = 30
        memory  | Speed               | 6000 MHz     |     | transfer_mt_s = 6000
        storage | Speicherkapazität   | 2            | E35 | capacity_gb = 2000
        cpu     | TDP                 | 65 W         |     | heat_w = 65
        cooler  | TDP                 | 220          | W   | cooling_w = 220
        cpu     | Integrated graphics | Nein         |     | graphics = false
        cpu     | CPU socket          | Socket AM5   |     | socket = AM5
        cooler  | Socket              | AM4, AM5     |     | sockets = AM4 AM5";

    fn shown((spec, value): &(Spec, SpecValue)) -> String {
        let value = match value {
            SpecValue::Number(number) => number.to_string(),
            SpecValue::Flag(is_set) => is_set.to_string(),
            SpecValue::Text(text) => text.to_string(),
            SpecValue::Texts(texts) => texts.join(" "),
            SpecValue::Numbers(_) | SpecValue::Entries(_) => format!("{value:?}"),
        };
        format!("{spec} = {value}")
    }

    #[test]
    fn a_known_name_and_a_value_of_its_kind_give_a_spec() {
        for line in STATED.trim().lines() {
            let cells: Vec<&str> = line.split('|').map(str::trim).collect();
            let [kind, name, value, unit, expected] = cells[..] else {
                panic!("{line}");
            };
            let mut kinds = Kind::NAMES.iter();
            let (_, kind) = kinds.find(|(known, _)| *known == kind).unwrap();
            let found = read_property(&property(name, value, unit), *kind);
            let found: Vec<String> = found.iter().map(shown).collect();
            assert_eq!(found, [expected], "{line}");
        }
    }

    #[test]
    fn what_is_said_in_other_words_is_left_alone() {
        for (kind, name, value) in [
            (Kind::Memory, "Capacity per module", "16 GB"),
            (Kind::Psu, "Cable length", "650 mm"),
            (Kind::Gpu, "Length", "long"),
            (Kind::Gpu, "Length", "5 W"),
            (Kind::Cooler, "Socket", "AM5, and many more"),
            (Kind::Cpu, "Integrated graphics", "Fenrir 610"),
            (Kind::Gpu, "", "305 mm"),
        ] {
            assert_eq!(
                read_property(&property(name, value, ""), kind),
                [],
                "{name}: {value}"
            );
        }
    }

    #[test]
    fn a_category_names_the_kind_unless_it_names_two() {
        let category = |value: &str| kind_of_properties(&[property("Category", value, "")]);
        assert_eq!(category("Components > Graphics cards"), Some(Kind::Gpu));
        assert_eq!(category("Graphics cards and power supplies"), None);
        assert_eq!(category("Garden"), None);
    }

    #[test]
    fn every_name_is_folded_as_it_is_looked_up() {
        for (spec, names) in NAMES {
            for name in names.split_ascii_whitespace() {
                assert_eq!(fold(name), name, "{spec}");
            }
        }
        let singles: BTreeSet<Spec> = NAMES.iter().map(|(spec, _)| *spec).collect();
        assert_eq!(singles.len(), NAMES.len());
    }

    proptest::proptest! {
        #[test]
        fn no_property_panics(name in "\\PC{0,30}", value in "\\PC{0,40}", unit in "\\PC{0,6}") {
            for (_, kind) in Kind::NAMES {
                let _read = read_property(&property(&name, &value, &unit), *kind);
                let _known = read_property(&property("length", &value, &unit), *kind);
            }
        }
    }
}
